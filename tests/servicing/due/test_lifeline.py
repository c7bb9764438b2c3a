"""The life line places what happened on one scale, and says the same in words."""

from datetime import date

import pytest

from servicing.due.pure.lifeline import WIDTH, LifeLine, lifeline
from servicing.due.pure.obligations import Item, Record, obligations
from servicing.rules.pure.tables import rule_from_row

ROW: dict[str, object] = {
    "id": "five",
    "task": "hydrostatic-retest",
    "level": "law",
    "source": "49 CFR 180.209(a)",
    "seen": "text",
    "when": {"kind": ["cylinder"]},
    "every": "P5Y",
    "from": "made",
}
LIFE: dict[str, object] = {
    **ROW,
    "id": "life",
    "task": "service-life",
    "life": "P15Y",
    "from": "made",
}
LIFE.pop("every")
MADE, ON = date(2015, 1, 1), date(2026, 11, 25)
CYLINDER = Item({"kind": "cylinder"}, MADE, None)
LATE = [Record("hydrostatic-retest", date(2020, 2, 27), "pass")]
COUNTS_BACK = rule_from_row("t", {**ROW, "late_counts_back": "P2M"})
RECORDS = [Record("hydrostatic-retest", date(2022, 7, 2), "pass")]


def life_of(*rows: dict[str, object]) -> LifeLine:
    rules = [rule_from_row("t", row) for row in rows]
    life = lifeline(MADE, RECORDS, obligations(CYLINDER, RECORDS, rules, ON), ON)
    assert life is not None
    return life


def test_made_is_the_left_end_and_the_end_of_life_the_right_one() -> None:
    life = life_of(ROW, LIFE)
    assert (life.made, life.ends) == ("made 1 Jan 2015", "end of life 1 Jan 2030")
    track = next(t for t in life.tracks if t.task == "service-life")
    assert (track.arc_from, track.arc_to) == (0, WIDTH)


def test_the_middle_of_the_life_is_the_middle_of_the_line() -> None:
    # 2 Jul 2022 is day 2739 of the 5479 days from 1 Jan 2015 to 1 Jan 2030 (datetime's count).
    track = next(t for t in life_of(ROW, LIFE).tracks if t.task == "hydrostatic-retest")
    share = (date(2022, 7, 2) - MADE) / (date(2030, 1, 1) - MADE)
    assert track.ticks == (round(WIDTH * share),) == (500,)


def test_the_words_say_what_the_picture_shows() -> None:
    track = next(t for t in life_of(ROW).tracks)
    assert track.words == (
        "hydrostatic retest: 1 passed, the last 2 Jul 2022; "
        "from 2 Jul 2022 to 2 Jul 2027 by five: current"
    )


def test_today_stays_on_the_line_when_everything_is_past() -> None:
    old = lifeline(MADE, [], obligations(CYLINDER, [], [rule_from_row("t", ROW)], ON), ON)
    assert old is not None
    assert old.today == WIDTH


def test_where_no_day_is_known_there_is_no_line() -> None:
    undetermined = obligations(
        Item({"kind": "cylinder"}, None, None), [], [rule_from_row("t", ROW)], ON
    )
    assert undetermined[0].due_on is None
    assert lifeline(None, [], undetermined, ON) is None
    assert lifeline(None, [], [], ON) is None


@pytest.mark.parametrize("made", [None, MADE])
def test_a_task_that_nothing_asks_for_keeps_its_records(made: date | None) -> None:
    life = lifeline(made, RECORDS, [], ON)
    assert life is not None
    assert [(t.task, t.arc_from, len(t.ticks)) for t in life.tracks] == [
        ("hydrostatic-retest", None, 1)
    ]
    words = "hydrostatic retest: 1 passed, the last 2 Jul 2022; no period runs"
    assert life.tracks[0].words == words


def test_a_condemned_item_keeps_its_line_and_the_cross_that_ended_it() -> None:
    ended = [*RECORDS, Record("hydrostatic-retest", date(2025, 3, 4), "condemned")]
    owed = obligations(CYLINDER, ended, [rule_from_row("t", ROW)], ON)
    assert owed == ()
    life = lifeline(MADE, ended, owed, ON)
    assert life is not None
    (track,) = life.tracks
    assert (len(track.ticks), len(track.crosses)) == (1, 1)
    assert "1 not, the last on 4 Mar 2025: condemned; no period runs" in track.words


def test_every_other_rule_has_its_own_arc_and_is_named() -> None:
    ten = {**ROW, "id": "ten", "every": "P10Y"}
    (track,) = life_of(ROW, ten).tracks
    assert [arc.rule for arc in track.others] == ["ten"]
    assert track.words.endswith("by five: current; asked too: 2 Jul 2032 by ten")


def test_the_day_in_service_and_the_end_of_life_have_places() -> None:
    rules = [rule_from_row("t", LIFE)]
    owed = obligations(CYLINDER, [], rules, ON)
    life = lifeline(MADE, [], owed, ON, date(2015, 6, 1))
    assert life is not None
    assert (life.in_service_words, life.life) == ("in service 1 Jun 2015", WIDTH)
    assert 0 < (life.in_service or 0) < 40


def test_a_life_that_is_over_is_not_called_the_right_end() -> None:
    on = date(2031, 6, 1)
    life = lifeline(MADE, [], obligations(CYLINDER, [], [rule_from_row("t", LIFE)], on), on)
    assert life is not None
    assert (life.ends, life.today) == ("last date 1 Jun 2031", WIDTH)
    assert 0 < (life.life or 0) < WIDTH
    assert life.marks_in_words == (
        "Left: made 1 Jan 2015. Right: last date 1 Jun 2031. "
        "Between: end of life 1 Jan 2030 (heavy), 1 Jun 2031 (dashed)."
    )


def test_a_made_date_known_to_the_month_is_said_as_a_month() -> None:
    owed = obligations(CYLINDER, [], [rule_from_row("t", ROW)], ON)
    life = lifeline(MADE, [], owed, ON, made_to_month=True)
    assert life is not None
    assert life.made == "made Jan 2015"


def test_the_line_of_a_late_pass_begins_at_the_date_it_was_late_for() -> None:
    life = lifeline(MADE, LATE, obligations(CYLINDER, LATE, [COUNTS_BACK], ON), ON)
    assert life is not None
    (track,) = life.tracks
    assert track.words == (
        "hydrostatic retest: 1 passed, the last 27 Feb 2020; "
        "from 1 Jan 2020, the due date it was late for, to 1 Jan 2025 by five: overdue"
    )
    assert track.arc_from is not None
    assert track.arc_from < track.ticks[0]
