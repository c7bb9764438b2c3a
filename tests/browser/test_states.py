"""A state is a word and a shape before it is a colour. D17."""

from django.contrib.auth.models import User
from playwright.sync_api import Page

from tests.browser.conftest import Fleet, OpenPage, sign_in

WORDS = {
    "overdue",
    "due soon",
    "current",
    "undetermined",
    "in service",
    "out of service",
    "condemned",
}
# Each state on the page: its word, whether both word and shape are seen, and the shape.
STATES = """
() => [...document.querySelectorAll('.state')].map(state => {
  const word = state.querySelector('.state-word'), shape = state.querySelector('svg');
  const seen = [word, shape].every(e => {
    const box = e.getBoundingClientRect();
    return e.checkVisibility({visibilityProperty: true}) && box.width > 9 && box.height > 9;
  });
  return [word.innerText, seen, shape.innerHTML];
})
"""
# What has a state's colour, and not that state's word in it or right behind it.
BARE = """
words => words.flatMap(word => [...document.querySelectorAll('.' + word.replaceAll(' ', '-'))]
  .filter(e => ![e, e.nextElementSibling].some(near =>
      near && [...near.querySelectorAll('.state-word')].some(w => w.innerText === word))
    && !(e.nextElementSibling?.matches('.track-rule')
      && e.nextElementSibling.innerText.startsWith(word + ',')))
  .map(e => e.outerHTML.slice(0, 120)))
"""


def shapes_on(page: Page) -> set[tuple[str, str]]:
    states = page.evaluate(STATES)
    assert all(seen for _, seen, _ in states), page.url
    return {(word, shape) for word, _, shape in states}


def test_a_state_can_be_told_without_its_colour(
    open_page: OpenPage, fleet: Fleet, manager: User, technician: User
) -> None:
    found: set[tuple[str, str]] = set()
    items = [fleet.path(name) for name in ("overdue", "failed", "condemned", "undetermined")]
    for person, paths in ((technician, ["/"]), (manager, ["/due/", "/items/", *items])):
        page = open_page()
        sign_in(page, person)
        for path in paths:
            page.goto(path)
            found |= shapes_on(page)
            assert page.evaluate(BARE, sorted(WORDS)) == [], path
    # Every word was seen, with one shape each, and no shape stands for two words.
    assert {word for word, _ in found} == WORDS
    assert len({shape for _, shape in found}) == len(found) == len(WORDS)
    assert all("currentColor" in shape for _, shape in found)
