"""At 200 % on a common screen: nothing sideways, everything within reach of Tab. D16, D18.

A screen of 1280 px at 200 % has 640 px of room at two pixels each.
"""

from django.contrib.auth.models import User

from tests.browser.conftest import Fleet, OpenPage, sign_in
from tests.browser.looking import SIDEWAYS

# What can be reached, in the order of the page. Of a group of choices one is, until one is made.
STOPS = """
() => {
  const wanted = 'a[href], button, input:not([type=hidden]), select, textarea, summary, '
    + '[tabindex="0"]';
  const stops = [...document.querySelectorAll(wanted)]
    .filter(e => e.checkVisibility({visibilityProperty: true}))
    .filter((e, at, all) => e.type !== 'radio' || all.findIndex(o => o.name === e.name) === at);
  stops.forEach((e, at) => { e.dataset.stop = at; });
  stops[0].focus();
  return stops.length;
}
"""
# Where the focus is, and whether it can be seen there and is not covered.
FOCUS = """
() => {
  const e = document.activeElement, box = e.getBoundingClientRect();
  const x = Math.max(0, Math.min(box.left + Math.min(box.width, 40) / 2, innerWidth - 1));
  const y = box.top + Math.min(box.height, 24) / 2;
  const top = document.elementFromPoint(x, y);
  const shown = box.top > -1 && box.top < innerHeight && box.left > -1 && box.left < innerWidth;
  const marked = parseFloat(getComputedStyle(e).outlineWidth) >= 2;
  return [Number(e.dataset.stop), shown && marked && Boolean(top) && (e.contains(top))];
}
"""


def test_everything_is_reached_at_twice_the_size(
    open_page: OpenPage, fleet: Fleet, technician: User
) -> None:
    page = open_page(640, scale=2)
    sign_in(page, technician)
    history = fleet.path("history")
    for path in ("/", "/due/", history, f"{history}service/", f"{history}records/1/"):
        page.goto(path)
        assert page.evaluate(SIDEWAYS) == [], path
        count = page.evaluate(STOPS)
        reached = [page.evaluate(FOCUS)]
        for _ in range(count - 1):
            page.keyboard.press("Tab")
            reached.append(page.evaluate(FOCUS))
        assert reached == [[at, True] for at in range(count)], path
