"""What must hold on whatever page is open; each finding is a sentence that names the page."""

import re
from typing import Any

from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page

from tests.browser.conftest import NARROWEST, PHONE, WIDE

AXE = Axe()
CONTRAST = "color-contrast"
CAUTION = "A pass here never overrules a doubt at the bench."
VIOLATIONS = """
([context, options]) => axe.run(context || document, {resultTypes: ['violations'], preload: false, ...options})
  .then(answer => answer.violations.flatMap(v => v.nodes.map(n => `${v.id}: ${n.html}`)))
"""
# A link inside a sentence may be as low as its line (WCAG 2.5.8, exception "inline").
SMALL_TARGETS = """
() => {
  const wanted = 'a[href], button, input:not([type=hidden]), select, textarea, summary';
  const inSentence = e => e.matches('a') && getComputedStyle(e).display === 'inline'
    && e.parentElement.textContent.trim() !== e.textContent.trim();
  return [...document.querySelectorAll(wanted)].flatMap(e => {
    if (!e.checkVisibility({visibilityProperty: true}) || inSentence(e)) return [];
    const box = (e.matches('[type=radio], [type=checkbox]') ? e.closest('label') : e)
      .getBoundingClientRect();
    const least = e.closest('form.bench') ? 44 : 24;
    return Math.min(box.height, e.closest('form.bench') ? 44 : box.width) < least - 0.01
      ? [`${box.width.toFixed()} x ${box.height.toFixed()} px: ${e.outerHTML.slice(0, 120)}`] : [];
  });
}
"""
# By how much the page is wider than the screen, and what sticks out.
SIDEWAYS = """
() => {
  const room = document.documentElement.clientWidth;
  const over = document.documentElement.scrollWidth - room;
  if (over <= 0) return '';
  const out = [...document.querySelectorAll('body *')].filter(e => {
    const box = e.getBoundingClientRect();
    return box.right > room + 0.5 && !e.closest('.scroll') && !e.matches('.vh, .skip');
  });
  return `${over} px: ` + out.slice(0, 3).map(e => e.outerHTML.slice(0, 80)).join(' | ');
}
"""
CHANGING = re.compile(r'name="csrfmiddlewaretoken" value="\w+"|value="[0-9a-f]{32}"|made on [^<]*')


class Looker:
    """Looks at pages one after the other and gathers what is wrong with them.

    Colours are checked by far the slowest. Where two roles see the same sheet, the second
    time only the head above it is new, and only its colours are checked again.
    """

    def __init__(self) -> None:
        self.findings: list[str] = []
        self._seen: set[str] = set()

    def look(self, page: Page, where: str) -> None:
        """Check the open page: words, sizes and axe, light and dark, wide and narrow."""
        page.evaluate("document.querySelectorAll('details').forEach(d => { d.open = true; })")
        sheet = CHANGING.sub("", page.inner_html("main") + page.inner_html("footer"))
        new = sheet not in self._seen
        self._seen.add(sheet)
        self._words(page, where)
        page.evaluate(AXE.axe_script)
        for width in (WIDE, PHONE):
            page.set_viewport_size({"width": width, "height": 800})
            seen_at = f"{where}, {width} px"
            self._note(seen_at, page.evaluate(SMALL_TARGETS))
            self._sideways(page, where, width)
            self._axe(page, seen_at, rules={CONTRAST: {"enabled": False}})
            for scheme in ("light", "dark"):
                page.emulate_media(color_scheme=scheme)
                context = None if new else {"exclude": [["main"], ["footer"]]}
                self._axe(page, f"{seen_at}, {scheme}", context=context, runOnly=[CONTRAST])
        self._sideways(page, where, NARROWEST)
        page.set_viewport_size({"width": WIDE, "height": 800})
        page.emulate_media(color_scheme="light")

    def _words(self, page: Page, where: str) -> None:
        if not re.fullmatch(r"\S.* - Neckring", page.title()):
            self.findings.append(f"{where}: the title is {page.title()!r}")
        if (count := page.locator("h1").count()) != 1:
            self.findings.append(f"{where}: {count} headings of the first level")
        if not page.locator(".caution").get_by_text(CAUTION).is_visible():
            self.findings.append(f"{where}: no caution")

    def _sideways(self, page: Page, where: str, width: int) -> None:
        page.set_viewport_size({"width": width, "height": 800})
        if out := page.evaluate(SIDEWAYS):
            self.findings.append(f"{where}, {width} px: scrolls sideways by {out}")

    def _axe(
        self, page: Page, where: str, *, context: dict[str, Any] | None = None, **options: Any
    ) -> None:
        self._note(where, page.evaluate(VIOLATIONS, [context, options]))

    def _note(self, where: str, found: list[str]) -> None:
        self.findings += [f"{where}: {sentence}" for sentence in found]
