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
    "servicing/oversight/account.html": SECRET,
    "servicing/oversight/person_form.html": SECRET,
    "servicing/oversight/review.html": NOTHING_TYPED,
    "servicing/filling/source.html": NOTHING_TYPED,
    "servicing/bench/throw.html": NOTHING_TYPED,
    "servicing/bench/thrown_list.html": NOTHING_TYPED,
    "servicing/bench/batch.html": SCANNED,
    "servicing/bench/batch_setting.html": SCANNED,
    "servicing/due/set_parts.html": SCANNED,
    "servicing/due/set_fit.html": "ticks made in front of the part; it is scanned again",
    "servicing/hydrostatic/results_file.html": A_FILE,
    "servicing/due/photo_form.html": A_FILE,
    "servicing/hydrostatic/consignment.html": SCANNED,
    "servicing/hydrostatic/consignment_move.html": NOTHING_TYPED,
    "servicing/bench/type_limits.html": SHORT,
    "servicing/bench/type_serving.html": SHORT,
    "servicing/due/item_form.html": "not yet: its choices of several marks are lists",
    "servicing/due/item_check.html": "as the form before it",
    "servicing/due/type_form.html": "not yet: its choices of several types are lists",
    "servicing/due/site_form.html": SHORT,
    "servicing/due/local_rule_form.html": "not yet: its choices of several kinds are lists",
    "servicing/due/local_rule_end.html": SHORT,
    "servicing/due/local_rule_check.html": NOTHING_TYPED,
    "servicing/due/local_rule_proposal.html": SHORT,
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
        "servicing/bench/step.html",
        "servicing/filling/point.html",
        "servicing/filling/rack.html",
        "servicing/hydrostatic/own_form.html",
        "servicing/hydrostatic/result_form.html",
    } <= kept
