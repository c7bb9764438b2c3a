"""Hands at the keys: a scanner's, which are fast, and a person's, which are not."""

import time

from playwright.sync_api import Locator, Page

SCANNER_GAP_MS = 5
HAND_GAP_MS = 60
ENDINGS = {"Enter": (13, "\r"), "Tab": (9, "")}


def scan(page: Page, code: str, *ends: str) -> None:
    """Type a code as a keyboard wedge does, 5 ms a key, with Enter or the keys named behind it.

    The keys carry the moment at which the device sent them, as real ones do, so that a busy
    computer does not turn a scanner into a slow typist.
    """
    page.wait_for_load_state()
    wire = page.context.new_cdp_session(page)
    at = time.time()

    def press(key: str, **more: object) -> None:
        nonlocal at
        event = {"key": key, "timestamp": at, **more}
        wire.send("Input.dispatchKeyEvent", {"type": "keyDown", **event})
        wire.send("Input.dispatchKeyEvent", {"type": "keyUp", "key": key, "timestamp": at})
        at += SCANNER_GAP_MS / 1000

    for sign in code:
        press(sign, text=sign)
    for end in ends or ("Enter",):
        number, text = ENDINGS[end]
        press(end, code=end, windowsVirtualKeyCode=number, text=text)
    wire.detach()


def write(page: Page, text: str) -> None:
    """Type at the pace of a quick hand."""
    page.wait_for_load_state()
    page.keyboard.type(text, delay=HAND_GAP_MS)


def has_focus(target: Locator) -> bool:
    return bool(target.evaluate("element => element === document.activeElement"))


def tab_to(page: Page, target: Locator, *, at_most: int = 60) -> None:
    """Go on with Tab until the target has the focus."""
    page.wait_for_load_state()
    for _ in range(at_most):
        page.keyboard.press("Tab")
        if has_focus(target):
            return
    raise AssertionError(f"{target} is not reached with {at_most} Tabs")
