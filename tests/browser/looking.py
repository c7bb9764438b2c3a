"""What must hold on whatever page is open; each finding is a sentence that names the page."""

import re
from typing import Literal

from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page

from tests.browser.conftest import NARROWEST, PHONE, WIDE

Scheme = Literal["light", "dark"]
AXE = Axe()
CAUTION = "A pass here never overrules a doubt at the bench."
WORDS = """
caution => {
  document.querySelectorAll('details').forEach(d => { d.open = true; });
  const section = document.querySelector('.caution');
  return {
    title: document.title,
    headings: document.querySelectorAll('h1').length,
    caution: Boolean(section && section.checkVisibility() && section.innerText.includes(caution)),
    head: document.querySelector('.head').outerHTML,
    sheet: document.querySelector('.sheet').outerHTML + document.querySelector('.foot').outerHTML,
  };
}
"""
AXE_RUN = """
exclude => axe.run({exclude}, {resultTypes: ['violations'], preload: false})
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
    return box.height < least - 0.01 || box.width < 24
      ? [`${box.width.toFixed()} x ${box.height.toFixed()} px: ${e.outerHTML.slice(0, 120)}`] : [];
  });
}
"""
# Choices that exclude each other, pass and fail among them, stand 8 px apart: below each other,
# or side by side where there are columns of them.
CROWDED = """
() => [...document.querySelectorAll('.choices')].flatMap(choices => {
  const boxes = [...choices.querySelectorAll('label')].map(e => e.getBoundingClientRect());
  const near = (one, next) => next.top - one.bottom < 8 && one.top - next.bottom < 8
    && next.left - one.right < 8 && one.left - next.right < 8;
  return boxes.slice(1).filter((box, at) => near(boxes[at], box))
    .map(box => `choices stand too close: ${choices.innerText.slice(0, 80)}`);
})
"""
# By how much the page is wider than the screen, and what sticks out.
SIDEWAYS = """
() => {
  const room = document.documentElement.clientWidth;
  const over = document.documentElement.scrollWidth - room;
  if (over <= 0) return [];
  const out = [...document.querySelectorAll('body *')]
    .filter(e => e.getBoundingClientRect().right > room + 0.5);
  return [`scrolls sideways by ${over} px: `
    + out.slice(-3).map(e => e.outerHTML.slice(0, 80)).join(' | ')];
}
"""
PARTS = {"head": [[".head"]], "sheet": [[".sheet"], [".foot"]]}
OF_THE_MOMENT = re.compile(
    r'name="csrfmiddlewaretoken" value="\w+"|value="[0-9a-f]{32}"|made on [^<]*|value="\S+:\S+:\S+"'
    r'|aria-current="\w+"'
)


class Looker:
    """Looks at pages one after the other and gathers what is wrong with them.

    axe is the slow part. Where two roles see the same sheet, or one role the same head
    above many sheets, it looks at that part the first time. Colours depend on the scheme
    and layout on the width, so two opposite corners of the four show all there is.
    """

    CORNERS: tuple[tuple[int, Scheme], ...] = ((WIDE, "light"), (PHONE, "dark"))

    def __init__(self) -> None:
        self.findings: list[str] = []
        self._seen: set[str] = set()

    def look(self, page: Page, where: str) -> None:
        """Check the open page: words, sizes and axe, light and dark, wide and narrow."""
        known = self._known_parts(page, where)
        if len(known) == len(PARTS):
            return
        page.evaluate(AXE.axe_script)
        excluded = [selector for part in known for selector in PARTS[part]]
        for width, scheme in self.CORNERS:
            page.set_viewport_size({"width": width, "height": 800})
            page.emulate_media(color_scheme=scheme)
            seen_at = f"{where}, {width} px, {scheme}"
            for question in (SMALL_TARGETS, CROWDED, SIDEWAYS):
                self._note(seen_at, page.evaluate(question))
            self._note(seen_at, page.evaluate(AXE_RUN, excluded))
        page.set_viewport_size({"width": NARROWEST, "height": 800})
        self._note(f"{where}, {NARROWEST} px", page.evaluate(SIDEWAYS))

    def _known_parts(self, page: Page, where: str) -> list[str]:
        """Check the words of the page; return its parts that were looked at before."""
        page.wait_for_load_state()  # a click may have brought only the first half of it yet
        words = page.evaluate(WORDS, CAUTION)
        if not re.fullmatch(r"\S.* - Neckring", words["title"]):
            self._note(where, [f"the title is {words['title']!r}"])
        if words["headings"] != 1:
            self._note(where, [f"{words['headings']} headings of the first level"])
        if not words["caution"]:
            self._note(where, ["no caution"])
        parts = {part: OF_THE_MOMENT.sub("", words[part]) for part in PARTS}
        known = [part for part, text in parts.items() if text in self._seen]
        self._seen.update(parts.values())
        return known

    def _note(self, where: str, found: list[str]) -> None:
        self.findings += [f"{where}: {sentence}" for sentence in found]
