"""Every form that takes work is kept when its session has ended, or it is said why not. D26."""

import re
from pathlib import Path

TEMPLATES = Path(__file__).resolve().parents[3] / "templates"
NOTHING_TYPED = "a press and nothing typed: it is pressed again"
SCANNED = "one scan and nothing else: it is scanned again"
A_FILE = "a file or photo is chosen again; the browser keeps no file for anybody"
SECRET = "it takes passwords, which are never kept"
SHORT = "a few words of the office, written at a desk and not at a bench"
NOT_KEPT = {
    "registration/login.html": SECRET,
    "base.html": NOTHING_TYPED,
    "desk/people/account.html": SECRET,
    "desk/people/person_form.html": SECRET,
    "desk/people/review.html": NOTHING_TYPED,
    "desk/filling/source.html": NOTHING_TYPED,
    "desk/bench/throw.html": NOTHING_TYPED,
    "desk/bench/thrown_list.html": NOTHING_TYPED,
    "desk/bench/batch.html": SCANNED,
    "desk/bench/batch_setting.html": SCANNED,
    "desk/sets/set_parts.html": SCANNED,
    "desk/sets/set_fit.html": "ticks made in front of the part; it is scanned again",
    "desk/retests/results_file.html": A_FILE,
    "desk/item/photo_form.html": A_FILE,
    "desk/retests/consignment.html": SCANNED,
    "desk/retests/consignment_move.html": NOTHING_TYPED,
    "desk/bench/type_limits.html": SHORT,
    "desk/bench/type_serving.html": SHORT,
    "desk/item/item_form.html": "not yet: its choices of several marks are lists",
    "desk/item/item_check.html": "as the form before it",
    "desk/item/type_form.html": "not yet: its choices of several types are lists",
    "desk/sites/site_form.html": SHORT,
    "desk/rules/local_rule_form.html": "not yet: its choices of several kinds are lists",
    "desk/rules/local_rule_end.html": SHORT,
    "desk/rules/local_rule_check.html": NOTHING_TYPED,
    "desk/rules/local_rule_proposal.html": SHORT,
}


def test_each_form_that_is_sent_is_kept_or_it_is_said_why_not() -> None:
    kept: set[str] = set()
    others: set[str] = set()
    for path in sorted(TEMPLATES.rglob("*.html")):
        name = path.relative_to(TEMPLATES).as_posix()
        for form in re.findall(r"<form\b[^>]*method=\"post\".*?</form>", path.read_text(), re.S):
            keeps = "{% keeps" in form or "filling/reading.html" in form
            (kept if keeps else others).add(name)
    assert others == NOT_KEPT.keys()
    assert {
        "desk/bench/step.html",
        "desk/filling/point.html",
        "desk/filling/rack.html",
        "desk/retests/own_form.html",
        "desk/retests/result_form.html",
    } <= kept
