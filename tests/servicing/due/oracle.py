"""A second, independent reading of due/README: due dates, exactly.

Nothing here is imported from the product. The product's engine and this page were written apart,
from the same text; where they disagree on any fleet, one of them misreads the text, or the text
leaves room. It is written to be read beside the text, clause by clause, not to be fast.

Readings
========
Where the text leaves room, this page reads it as follows.

R1   `unless` excludes when all of its keys match. An absent or empty `unless` excludes nothing; an
     absent or empty `when` matches every item.
R2   Range bounds (`min`, `max`) are inclusive: "max = 56" says that 56 itself is allowed. Numbers
     compare as decimals. Any other key in a range is an error, not silently ignored.
R3   An attribute that is missing or empty matches no range, and a list only when the list has "".
     `marks` is a set: it matches a list when any of its marks is in the list. Text compares
     exactly, case included. Any register column may be named in a condition; date columns compare
     with dates, a made date known to the month as the month's first day.
R4   Tables of a site and of all sites above it are united; adopting one twice changes nothing.
R5   "In force on `on`" looks only at `on`: not at the day of the base, nor at the due date.
R6   A made date known only to the month is the month's first day everywhere: for "made after
     `on`", under `same-day`, under `month-end` (there it differs only for weeks and days), for a
     service life, and in `basis_on`.
R7   A known made date alone decides whether the item exists yet: made on or before `on` but put
     in service later, it has obligations. With neither date known it exists.
R8   `from` not given means `made`: the earliest of the starting points, so safe.
R9   `from = "made"` without a made date is undetermined even where an in-service date is known:
     clause 7 says "no record and no made date", and the in-service date is later, so unsafe.
R10  `from = "in-service"` falls back on the made date and then says `made`; `at-once` falls back
     the same way and still says `at-once`. Neither known: undetermined.
R11  `at-once` without a record is due "on the in-service date itself": neither `month-end` nor a
     calendar period moves it. This holds for `every` and `calendar` rows alike.
R12  `from = "part-made"`: the latest pass decides. If that record gives no part date, the record's
     own day counts, even where an older record gave one. Without a record the made date counts
     (the part inside is as old as the item) and `counted_from` says `made`. A part date given by a
     record that satisfies the task counts too. A part date is ignored under any other `from`.
R13  A `calendar` row without a record applies its rule to the starting day: the last day of the
     period after the one that contains the starting day. `due` does not matter there.
R14  `after`, `counts` and failures are due on the day itself; `month-end` does not move it. A
     `life` date is moved by `month-end`.
R15  For `after` and `counts` a record of a named task counts whatever its outcome: the text says
     "such a record". A failed check that happened is still an event.
R16  "Newer" compares (day performed, order entered). A record that is both an event and the last
     pass is not newer than itself.
R17  The first event newer than the last pass makes an `after` row due, not the latest one.
R18  `satisfied_by` concerns passes only, is not followed further (the tasks that satisfy a
     satisfying task do not count), and belongs to its own row: of two rows of one task, only the
     one that names the other task is satisfied, or has its failure cleared, by it.
R19  The earliest failure newer than the row's last pass is a further candidate of every row of
     that task. `after` and `counts` rows ask for the task even where no event is pending, so a
     failure has a row to stand on. An `as-marked` row of an item without a design life does not
     ("nothing is asked"): there the failure only takes the item out of service.
R20  If the failure falls on the very day the row itself computes, `counted_from` is `failure`,
     because clause 6 says that the failure makes the task due (FAILURE_WINS_TIES).
R21  An undetermined candidate is earlier than every date. A failure gives its own row a date:
     "makes the task due on the day of the failure", so that row is undetermined no more.
     Among undetermined candidates level and id decide. Its `due_on`, `counted_from` and `basis_on`
     are empty; rule, level and source are those of the row.
R22  Service life counts from made (in-service where `from` says so, with the fallback of R10),
     never from a record; any other `from` means made there. This holds for `life`, and for a
     `service-life` row written with `every`. Its `counts` are since ever. A passed `service-life`
     record therefore moves no `life` date; it clears a failure and an `after` row.
R23  The cap is the date of the governing service-life obligation. If that is undetermined there
     is no date and nothing is dropped, even where another service-life row has a date.
     Undetermined obligations of other tasks are never dropped. Failures and events that fall after
     the cap are dropped like the rest: clause 5 says "every task". One of the very day of the cap
     stays where that day is still a good one for the service life: clause 7 wants the item not
     ready from the moment of the record, and dropping it would call it ready until midnight.
R24  A condemned record of any task, on or before `on`, ends all obligations. One after `on` does
     not exist yet, like every later record.
R25  `due - notice` clamps as due dates do (31 March - 1 month = 28 or 29 February). The notice is
     that of the governing row.
R26  In an interval of mixed units, years and months are added first (and clamped), then weeks and
     days.
R27  Out-of-service items are listed with the same states as others (clause 8).
R29  Clause 6 says "out of service" of failures alone, and section 2 only that standing is derived
     from the ledger. A `withdrawal` or `quarantine`, whatever its outcome, takes the item out of
     service until a passed `return-to-service` newer than it; it asks for no task, moves no date
     and is no failure of its own task. A return ends no failure: only a pass of the failed task,
     or of one that some rule of the item for that task names as satisfying it, does. A failed
     return is a failure like any other. Standing is as of the day: the earliest thing that holds
     the item back says since when; condemnation goes before all.
R30  `clock.late` stands on `every` rows alone. A pass is late when its day is after the date this
     row gave before it, failures left aside. A late pass makes that date the new base:
     `counted_from` is `due-date` and `basis_on` that date. The date a row gave before a pass
     follows from the passes on earlier days, so several passes on one day are one, and none of
     them is early beside another. `at-once`: the first date it gave is the starting day.
     `within` (and the old word `late_counts_back`, which is the same): late only until the last
     day of the month that holds that date plus the span; later still the pass is its own base.
     Without it: however late (BetrSichV 14(5), sentence 2). Where dates that would have come
     after it, period by period, went by too, the pass is late for the last of them, or counts as
     early or on time for the one it opens. Where no earlier pass is known and the pass lies
     nearer to the date after the first one than to that first one, it is its own base: that
     nothing was done before it is not known.
R32  `out_of_service = "test"` (sentence 5): withdrawn or quarantined by the end of the due date,
     and no passed return since, neither on that date nor on a day before the pass: then the late
     pass is its own base. What failed, without anybody having withdrawn it, was not put out of use.
R33  `clock.early` (sentence 4): a pass before the date this row gave, by `within` at the most,
     makes that date its base. Where due dates are months, so is the span: from the first day of
     the month that lies `within` before; and a pass in the due month itself is its own base.
R34  `clock.due`: sentence 1, due by month and year: the same as `due = "month-end"`.
R35  `clock.start` (Japan, container safety rules, art. 24): the period runs from the last day of
     the month before the one of the made date or the pass; `basis_on` stays that date or pass.
     `first_day = "counts"`: that last day is the first day of the period (Civil Code, art. 143(2),
     read in a public mirror): it ends on the day before the one that corresponds, or at the end
     of the month that has no such day.
R36  `clock.other`: of two dates the sooner or the later. `record` counts from what the row itself
     counts from; `made` and `in-service` from there in the first period, and after a pass the
     row's own clock is alone. A date that nobody knows is the sooner and not the later.
R37  Clause 14: what a passed `hydrostatic-retest` says was marked (`stamped_next`, `stamped_end`; a
     month as on metal or as ISO 8601 has it) is good through the day, or through the month's last
     day. One more candidate, `stamp`, based on the day of that retest: of the next test for each
     `every` or `calendar` row of that task whose last pass is that very record, and not another
     that satisfies the row; of the end of life for each `life` row, `as-marked` without a design
     life too, from the latest retest that says one. Of one date in one row the row's own is told,
     and of several rows with that mark the one whose own date is the earliest.
     A mark gives an undetermined row no date. What was late or early goes by rows alone (R30).
R38  Clause 15: `clock.hours` on an `every` row; `reading:hours-run` of any record, whatever its
     outcome, is the meter. At the pass: the newest reading that is not newer than it; no pass:
     nought. From there on, reading by reading: one that is less than the one before makes the row
     undetermined, and no later reading mends it; the first that has grown by the limit is one more
     candidate, `event`, of that day, and what comes after it doesn't matter. No reading at or
     before the pass, or none at all: undetermined. The first of an `at-once` row: as without hours.
R31  Clause 7: overdue begins on the due date itself where the date is counted from `event` or
     `failure`, for `counts` rows too; else on the day after, `at-once` among them. Of candidates
     of one date inside one task the one that is overdue first governs, before level and id: else
     a periodic date of today would hide that today's event has no last good day.
R32  A table's `includes` names tables whose rows hold wherever it is adopted, as if those were
     adopted too, on the same days; a row that comes in by two ways is one row. What an included
     table includes itself is not followed.
R38  What a row bars: what it says; else the end of a life, and what an event asks for, bars use
     and filling whoever tells it; else a text that was read bars both; second-hand or from memory
     bars use alone; practice bars nothing; at level local both. A pressure check bars no filling.
     What a failure asks for bars both. A row of a site's own table that doesn't say it bars both.
R39  A task bars what any of its rows bars whose own date is past or not to be told, whichever row
     governs: no row hides another. A task dropped for the end of a life bars nothing.
R40  At the filling point alone: what is wanted at once and was never done bars on its day already;
     a look of which there is no pass on record (a retest may have counted for it), that was due
     before the item came into the register or that nobody can date, bars only after it would
     have been due again, had it been passed on the day the item came in. That day unknown,
     nothing is excused, nor what is wanted at once, nor what an event or a failure asks for.
R28  Lists sort by plain text: an empty date comes first, ISO dates sort by day, then site, tag and
     task by code point.
"""

import re
import tomllib
from calendar import monthrange
from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal
from typing import Any

from dateutil.relativedelta import relativedelta

Row = dict[str, str]
Rule = dict[str, Any]
Table = dict[str, Any]

COLUMNS = (
    "tag",
    "serial",
    "maker",
    "kind",
    "site",
    "task",
    "due_on",
    "state",
    "rule",
    "level",
    "source",
    "counted_from",
    "basis_on",
)
LEVELS = ("law", "standard", "maker", "local")
PERIOD_MONTHS = {"month": 1, "quarter": 3, "half-year": 6, "year": 12}
FAILURE_WINS_TIES = True  # R20

_DURATION = re.compile(r"P(?=\d)(?:(\d+)Y)?(?:(\d+)M)?(?:(\d+)W)?(?:(\d+)D)?")


# --- reading what is given ------------------------------------------------------------------------


def read_tables(texts: Iterable[str]) -> dict[str, Table]:
    """Rule tables by their name, from the text of TOML files."""
    tables: dict[str, Table] = {}
    for text in texts:
        table = tomllib.loads(text)
        if table["table"] in tables:
            raise ValueError(f"table {table['table']} is given twice")
        tables[table["table"]] = table
    return tables


def duration(text: str) -> relativedelta:
    match = _DURATION.fullmatch(text)
    if match is None:
        raise ValueError(f"not a duration of years, months, weeks or days: {text!r}")
    years, months, weeks, days = (int(part or 0) for part in match.groups())
    return relativedelta(years=years, months=months, days=7 * weeks + days)


def day(text: str | None) -> date | None:
    """A day; a month alone is its first day (R6); nothing is None."""
    if not text:
        return None
    return date.fromisoformat(text if len(text) > len("2020-01") else text + "-01")


@dataclass(frozen=True)
class Entry:
    """One record. `place` is its place in the order that "newer" speaks of (R16)."""

    place: tuple[date, int]
    task: str
    outcome: str
    part_made_on: date | None
    next_marked: date | None = None
    life_marked: date | None = None
    meter: Decimal | None = None

    @property
    def on(self) -> date:
        return self.place[0]


def entries_by_tag(history: list[Row], on: date) -> dict[str, list[Entry]]:
    """Records performed on or before `on`, oldest first; those of one day as entered."""
    by_tag: dict[str, list[Entry]] = {}
    for number, row in enumerate(history):
        done = date.fromisoformat(row["done_on"])
        if done <= on:
            entry = Entry(
                (done, number),
                row["task"],
                row["outcome"],
                day(row.get("part_made_on")),
                marked(row.get("stamped_next")),
                marked(row.get("stamped_end")),
                Decimal(row["reading:hours-run"]) if row.get("reading:hours-run") else None,
            )
            by_tag.setdefault(row["tag"], []).append(entry)
    for entries in by_tag.values():
        entries.sort(key=lambda entry: entry.place)
    return by_tag


def marked(text: str | None) -> date | None:
    """The last good day of a mark (R37)."""
    parts = [int(part) for part in re.findall(r"\d+", text or "")]
    if not parts:
        return None
    if len(parts) == 3:
        return date(*parts)
    month, year = sorted(parts)
    return month_end(date(year, month, 1))


# --- clause 1: the rules of an item ---------------------------------------------------------------


def _adopted(site: str, sites: dict[str, Row]) -> set[str]:
    names: set[str] = set()
    while site:
        row = sites[site]
        names |= {name.strip() for name in (row.get("rule_tables") or "").split(";")} - {""}
        site = row.get("parent") or ""
    return names


def in_range(value: str, bounds: dict[str, Any]) -> bool:
    if set(bounds) - {"min", "max"}:
        raise ValueError(f"a range has min and max only: {bounds!r}")
    if value == "":
        return False
    for name, bound in bounds.items():
        if isinstance(bound, date):
            known = day(value)
            assert known is not None
            outside = known < bound if name == "min" else known > bound
        else:
            number, limit = Decimal(value), Decimal(str(bound))
            outside = number < limit if name == "min" else number > limit
        if outside:
            return False
    return True


def _same(value: str, wanted: Any) -> bool:
    if isinstance(wanted, int | float) and not isinstance(wanted, bool):
        return value != "" and Decimal(value) == Decimal(str(wanted))
    if isinstance(wanted, date):
        return day(value) == wanted
    return value == str(wanted)


def _key_matches(item: Row, key: str, wanted: Any) -> bool:
    value = (item.get(key) or "").strip()
    if isinstance(wanted, dict):
        return in_range(value, wanted)
    choices = wanted if isinstance(wanted, list) else [wanted]
    values = [value]
    if key == "marks":
        values = [mark.strip() for mark in value.split(";") if mark.strip()] or [""]
    return any(_same(one, choice) for one in values for choice in choices)


def matches(rule: Rule, item: Row) -> bool:
    """Whether the row's `when` and `unless` let it speak of the item (R1 to R3)."""
    when, unless = rule.get("when") or {}, rule.get("unless") or {}
    if not all(_key_matches(item, key, wanted) for key, wanted in when.items()):
        return False
    return not unless or not all(_key_matches(item, key, wanted) for key, wanted in unless.items())


def _in_force(rule: Rule, on: date) -> bool:
    first: date = rule.get("valid_from", date.min)
    end: date = rule.get("valid_until", date.max)
    return first <= on < end


def rules_of(item: Row, sites: dict[str, Row], tables: dict[str, Table], on: date) -> list[Rule]:
    adopted = _adopted(item["site"], sites)
    along = {other for name in adopted for other in tables[name].get("includes", [])}  # R32
    return [
        rule
        for name in sorted(adopted | along)
        for rule in tables[name].get("rule", [])
        if _in_force(rule, on) and matches(rule, item)
    ]


def exists(item: Row, on: date) -> bool:
    begun = day(item.get("made_on")) or day(item.get("in_service_on"))
    return begun is None or begun <= on


# --- clauses 2, 3 and 6: the candidates of one rule -----------------------------------------------


@dataclass(frozen=True)
class Candidate:
    rule: Rule
    due: date | None  # None: undetermined
    counted_from: str = ""
    basis: date | None = None
    alone: date | None = None  # the row's own date beside a mark (R37)

    @property
    def no_last_good_day(self) -> bool:
        """Clause 7: what an event or a failure asks for (R31)."""
        return self.counted_from in ("event", "failure")

    def overdue(self, on: date) -> bool:
        if self.due is None:
            return False
        return self.due <= on if self.no_last_good_day else self.due < on

    def rank(self) -> tuple[date, bool, date, int, str, bool, bool]:
        """Clause 4: the earliest, then R31, then the level, then the id; then R20 and R37."""
        return (
            self.due or date.min,
            not self.no_last_good_day,
            self.alone or self.due or date.min,
            LEVELS.index(self.rule["level"]),
            self.rule["id"],
            (self.counted_from == "failure") != FAILURE_WINS_TIES,
            self.counted_from == "stamp",
        )


def month_end(of: date) -> date:
    return of.replace(day=monthrange(of.year, of.month)[1])


def _by_month(rule: Rule) -> bool:
    """R34."""
    return rule.get("due") == "month-end" or "due" in rule.get("clock", {})


def _moved(rule: Rule, due: date) -> date:
    return month_end(due) if _by_month(rule) else due


def period_after(base: date, calendar: str) -> date:
    """The last day of the calendar period after the one that `base` lies in."""
    months = PERIOD_MONTHS[calendar]
    first_month = (base.month - 1) // months * months + 1
    first_day = date(base.year, first_month, 1)
    return first_day + relativedelta(months=2 * months) - relativedelta(days=1)


def last_pass(rule: Rule, entries: list[Entry]) -> Entry | None:
    tasks = {rule["task"], *rule.get("satisfied_by", [])}
    passed = [entry for entry in entries if entry.task in tasks and entry.outcome == "pass"]
    return passed[-1] if passed else None


def _newer(entries: list[Entry], than: Entry | None) -> list[Entry]:
    return [entry for entry in entries if than is None or entry.place > than.place]


def _start(item: Row, start_from: str) -> tuple[date | None, str]:
    """The day the first period counts from, and what to call it."""
    made, in_service = day(item.get("made_on")), day(item.get("in_service_on"))
    if start_from == "at-once":
        return in_service or made, "at-once"
    if start_from == "in-service" and in_service:
        return in_service, "in-service"
    return made, "made"


def _of_period(rule: Rule, item: Row, last: Entry | None) -> Candidate:
    """`every` and `calendar` rows."""
    start_from = rule.get("from", "made")
    if last is None:
        base, counted_from = _start(item, start_from)
        if base is None:
            return Candidate(rule, None)
        if start_from == "at-once":
            return Candidate(rule, base, counted_from, base)
    elif start_from == "part-made" and last.part_made_on:
        base, counted_from = last.part_made_on, "part-made"
    else:
        base, counted_from = last.on, "record"
    if "calendar" in rule:
        return Candidate(rule, period_after(base, rule["calendar"]), counted_from, base)
    return Candidate(rule, _ends(rule, base), counted_from, base)


def _ends(rule: Rule, stamped: date) -> date:
    """The end of a period that begins with a made date or a pass (R35)."""
    start = rule.get("clock", {}).get("start")
    if start is None:
        return _moved(rule, stamped + duration(rule["every"]))
    first = date(stamped.year, stamped.month, 1) - relativedelta(days=1)
    end = first + duration(rule["every"])
    if start.get("first_day") == "counts" and end.day == first.day:
        end -= relativedelta(days=1)
    return _moved(rule, end)


def _of_two_clocks(own: Candidate, item: Row, last: Entry | None) -> Candidate:
    """R36."""
    rule = own.rule
    other = rule["clock"]["other"]
    if other["from"] == "record":
        base, counted_from = (last.on, "record") if last else _start(item, rule["from"])
    elif last:
        return own
    else:
        base, counted_from = _start(item, other["from"])
    second = Candidate(rule, None)
    if base:
        due = _moved(rule, base + duration(other["every"]))
        second = Candidate(rule, due, counted_from, base)
    known = [found for found in (own, second) if found.due]
    if other["governs"] == "later":
        return max(known, key=lambda found: found.due or date.min, default=own)
    if len(known) < 2:
        return Candidate(rule, None)
    return min(known, key=lambda found: found.due or date.max)


def forms(rule: Rule) -> dict[str, Any]:
    """The forms of a row's clock, the old word for one of them among them."""
    if "late_counts_back" in rule:
        return {"late": {"within": rule["late_counts_back"]}}
    clock: dict[str, Any] = rule.get("clock", {})
    return clock


def opens(rule: Rule, due: date) -> date:
    """The first day of which a pass belongs to this due date (R33)."""
    early = forms(rule).get("early")
    first = due - duration(early["within"]) if early else due
    return date(first.year, first.month, 1) if _by_month(rule) else first


def _kept_out(entries: list[Entry], since: date, until: date) -> bool:
    """R32."""
    back = [e for e in entries if e.task == "return-to-service" and e.outcome == "pass"]
    out = [e for e in entries if e.task in ("withdrawal", "quarantine") and e.on <= since]
    if any(since < e.on < until for e in back):
        return False
    before = [e for e in back if e.on <= since]
    return bool(_newer(out, before[-1] if before else None))


def _of_chain(rule: Rule, item: Row, entries: list[Entry], days: list[date]) -> Candidate:
    """R30, R32 and R33, from the last day of passing back to the first."""
    if not days:
        return _of_period(rule, item, None)
    before, passed = _of_chain(rule, item, entries, days[:-1]), days[-1]
    due, every = before.due, duration(rule["every"])
    if due and passed > due:
        due = _late_for(rule, entries, due, passed, first=len(days) == 1)
    in_its_month = due and _by_month(rule) and month_end(passed) == month_end(due)
    on_time = passed == due or (due and passed < due and in_its_month)
    if due is None or on_time or passed < opens(rule, due):
        return Candidate(rule, _moved(rule, passed + every), "record", passed)
    return Candidate(rule, _moved(rule, due + every), "due-date", due)


def _late_for(
    rule: Rule, entries: list[Entry], due: date, passed: date, *, first: bool
) -> date | None:
    """The due date that a late pass belongs to; None where it is its own base (R30, R32)."""
    late = forms(rule).get("late")
    if late is None or (late.get("out_of_service") and _kept_out(entries, due, passed)):
        return None
    if "within" in late:
        return due if passed <= month_end(due + duration(late["within"])) else None
    after = _moved(rule, due + duration(rule["every"]))
    if first and after - passed < passed - due:
        return None
    while opens(rule, after) <= passed:
        due, after = after, _moved(rule, after + duration(rule["every"]))
    return due


def _of_life(rule: Rule, item: Row, life: relativedelta) -> Candidate:
    wanted = "in-service" if rule.get("from") == "in-service" else "made"
    base, counted_from = _start(item, wanted)
    if base is None:
        return Candidate(rule, None)
    return Candidate(rule, _moved(rule, base + life), counted_from, base)


def _as_marked(rule: Rule, item: Row) -> list[Candidate]:
    years = (item.get("design_life_years") or "").strip()
    return [_of_life(rule, item, relativedelta(years=int(years)))] if years else []


def named(tasks: str | list[str]) -> list[str]:
    return [tasks] if isinstance(tasks, str) else tasks


def _of_events(rule: Rule, tasks: list[str], limit: int, among: list[Entry]) -> list[Candidate]:
    events = [entry for entry in among if entry.task in tasks]
    if len(events) < limit:
        return []
    reached = events[limit - 1].on
    return [Candidate(rule, reached, "event", reached)]


def _of_marks(rule: Rule, entries: list[Entry], last: Entry | None) -> list[Candidate]:
    """R37."""
    if "life" in rule:
        telling = [e for e in entries if e.life_marked and e.outcome == "pass"]
        return [Candidate(rule, e.life_marked, "stamp", e.on) for e in telling[-1:]]
    if last is None or not last.next_marked or not {"every", "calendar"} & rule.keys():
        return []
    if rule["task"] != last.task or rule["task"] != "hydrostatic-retest":
        return []
    return [Candidate(rule, last.next_marked, "stamp", last.on)]


def _of_hours(rule: Rule, entries: list[Entry], last: Entry | None) -> list[Candidate] | None:
    """R38; None: undetermined."""
    if last is None and rule["from"] == "at-once":
        return []
    newer = _newer(entries, last)
    since = [entry.meter for entry in newer if entry.meter is not None]
    until = [e.meter for e in entries if e not in newer and e.meter is not None]
    if (last and not until) or not until + since:
        return None
    start = until[-1] if until else Decimal(0)
    limit = start + rule["clock"]["hours"]["limit"]
    for before, shows in zip([start, *since], since, strict=False):
        if shows < before:
            return None
        if shows >= limit:
            reached = next(e for e in newer if e.meter is not None and e.meter >= limit)
            return [Candidate(rule, reached.on, "event", reached.on)]
    return []


def _sooner_by_hours(
    rule: Rule, found: list[Candidate], entries: list[Entry], last: Entry | None
) -> list[Candidate]:
    """R38. What nobody can date might be past already; so the row's own unknown day stays too."""
    if "hours" not in forms(rule):
        return found
    run = _of_hours(rule, entries, last)
    if run is None:
        return [Candidate(rule, None)]
    return found + run if found[0].due else found


def candidates(rule: Rule, item: Row, entries: list[Entry]) -> list[Candidate]:
    """What one row asks: nothing, a date, no date (undetermined), and what a failure adds."""
    last = last_pass(rule, entries)
    newer = _newer(entries, last)
    retirement = rule["task"] == "service-life"
    if "after" in rule:
        found = _of_events(rule, named(rule["after"]), 1, newer)
    elif "counts" in rule:
        among = entries if retirement else newer
        found = _of_events(rule, named(rule["counts"]), rule["limit"], among)
    elif rule.get("life") == "as-marked":
        found = _as_marked(rule, item)
        if not found + _of_marks(rule, entries, last):
            return []
    elif "life" in rule:
        found = [_of_life(rule, item, duration(rule["life"]))]
    elif retirement:
        found = [_of_life(rule, item, duration(rule["every"]))]
    elif {"late", "early"} & forms(rule).keys():
        tasks = {rule["task"], *rule.get("satisfied_by", [])}
        days = {entry.on for entry in entries if entry.task in tasks and entry.outcome == "pass"}
        found = [_of_chain(rule, item, entries, sorted(days))]
    elif "other" in forms(rule):
        found = [_of_two_clocks(_of_period(rule, item, last), item, last)]
    else:
        found = [_of_period(rule, item, last)]
    found = _sooner_by_hours(rule, found, entries, last)
    if all(candidate.due for candidate in found):
        alone = found[0].due if found else None
        found += [replace(mark, alone=alone) for mark in _of_marks(rule, entries, last)]
    return _with_failure(rule, found, newer)


def _with_failure(rule: Rule, found: list[Candidate], newer: list[Entry]) -> list[Candidate]:
    """Clause 6 and R21."""
    failed = [e for e in newer if e.task == rule["task"] and e.outcome == "fail"]
    if not failed:
        return found
    dated = [candidate for candidate in found if candidate.due is not None]
    return [*dated, Candidate(rule, failed[0].on, "failure", failed[0].on)]


# --- clauses 4 to 7: what governs -----------------------------------------------------------------


def governing(rules: list[Rule], item: Row, entries: list[Entry], on: date) -> list[Candidate]:
    """One candidate for each task that is asked for."""
    kept = asked(rules, item, entries, on)
    return [min(found, key=Candidate.rank) for found in kept.values()]


def asked(
    rules: list[Rule], item: Row, entries: list[Entry], on: date
) -> dict[str, list[Candidate]]:
    """Every candidate of each task that the end of a life doesn't drop."""
    if not exists(item, on) or any(entry.outcome == "condemned" for entry in entries):
        return {}
    by_task: dict[str, list[Candidate]] = {}
    for rule in rules:
        for candidate in candidates(rule, item, entries):
            by_task.setdefault(rule["task"], []).append(candidate)
    first = {task: min(found, key=Candidate.rank) for task, found in by_task.items()}
    retirement = first.get("service-life")
    cap = retirement.due if retirement else None
    return {
        task: by_task[task]
        for task, candidate in first.items()
        if task == "service-life"
        or not cap
        or not candidate.due
        or candidate.due < cap
        or (candidate.overdue(cap) and not (retirement and retirement.overdue(cap)))
    }


# --- what being overdue forbids -------------------------------------------------------------------

WORDS = {
    "use-and-filling": {"use", "filling"},
    "use": {"use"},
    "filling": {"filling"},
    "nothing": set(),
}
LOOKS = (
    "internal-inspection",
    "external-inspection",
    "visual-inspection",
    "periodic-inspection",
    "filling-station-inspection",
    "yearly-service",
)


def bars(rule: Rule) -> set[str]:
    """R38."""
    if "bars" in rule:
        return WORDS[rule["bars"]]
    if rule["task"] == "service-life" or "after" in rule:
        return {"use", "filling"}
    found = {"text": {"use", "filling"}, "practice": set[str]()}.get(rule["seen"], {"use"})
    if rule["level"] == "local":
        found = {"use", "filling"}
    return found & {"use"} if rule["task"] == "pressure-check" else found


def barred(found: list[Candidate]) -> set[str]:
    """What the rows of a task forbid between them."""
    both = {"use", "filling"}
    return set().union(*(both if c.counted_from == "failure" else bars(c.rule) for c in found))


def not_used_for(kept: dict[str, list[Candidate]], on: date) -> set[str]:
    """The tasks that take readiness on a day (R39)."""
    return {
        task
        for task, found in kept.items()
        if any("use" in barred([c]) and (c.due is None or c.overdue(on)) for c in found)
    }


def not_filled_for(
    kept: dict[str, list[Candidate]], entries: list[Entry], on: date, came_in: date | None
) -> set[str]:
    """The tasks that bar filling on a day (R39, R40)."""
    passed = {entry.task for entry in entries if entry.outcome == "pass"}
    return {
        task
        for task, found in kept.items()
        if any(
            "filling" in barred([c]) and _wanted(c, on, None if task in passed else came_in)
            for c in found
        )
    }


def _wanted(found: Candidate, on: date, came_in: date | None) -> bool:
    """R40."""
    excusable = found.counted_from not in ("event", "failure", "at-once")
    if (
        excusable
        and found.rule["task"] in LOOKS
        and came_in
        and (found.due is None or found.due < came_in)
    ):
        return on > _of_two_clocks_or_one(found.rule, came_in)
    if found.due is None or found.overdue(on):
        return True
    return found.counted_from == "at-once" and found.due == on


def _of_two_clocks_or_one(rule: Rule, passed: date) -> date:
    """When a row is due again after a pass on a day."""
    own = period_after(passed, rule["calendar"]) if "calendar" in rule else _ends(rule, passed)
    other = forms(rule).get("other")
    if not other or other["from"] != "record":
        return own
    second = _moved(rule, passed + duration(other["every"]))
    return max(own, second) if other["governs"] == "later" else min(own, second)


def standing(rules: list[Rule], entries: list[Entry]) -> tuple[str, date | None]:
    """Whether the item may be used, and since when not (R24, R29). `entries` end with the day."""
    for entry in entries:
        if entry.outcome == "condemned":
            return "condemned", entry.on
    back = [e for e in entries if e.task == "return-to-service" and e.outcome == "pass"]
    out = [e for e in entries if e.task in ("withdrawal", "quarantine")]
    held = [entry.on for entry in _newer(out, back[-1] if back else None)]
    for failed in (e for e in entries if e.outcome == "fail" and e not in out):
        clears = {failed.task}.union(
            *(r.get("satisfied_by", []) for r in rules if r["task"] == failed.task)
        )
        later = _newer(entries, failed)
        if not any(e.task in clears and e.outcome == "pass" for e in later):
            held.append(failed.on)
    return ("out-of-service", min(held)) if held else ("in-service", None)


def state(candidate: Candidate, on: date) -> str:
    if candidate.due is None:
        return "undetermined"
    if candidate.overdue(on):
        return "overdue"
    if on >= candidate.due - duration(candidate.rule.get("notice", "P1M")):
        return "due-soon"
    return "current"


def due_list(
    sites: list[Row],
    register: list[Row],
    history: list[Row],
    tables: dict[str, Table],
    on: date,
) -> list[Row]:
    """What `manage.py due --on DATE --format csv` must print, row by row."""
    sites_by_code = {site["code"]: site for site in sites}
    entries = entries_by_tag(history, on)
    rows: list[Row] = []
    for item in register:
        rules = rules_of(item, sites_by_code, tables, on)
        kept = asked(rules, item, entries.get(item["tag"], []), on)
        for found in (min(all_of, key=Candidate.rank) for all_of in kept.values()):
            row = {name: item.get(name) or "" for name in COLUMNS[:5]}
            row["task"] = found.rule["task"]
            row["due_on"] = found.due.isoformat() if found.due else ""
            row["state"] = state(found, on)
            row["rule"] = found.rule["id"]
            row["level"] = found.rule["level"]
            row["source"] = found.rule["source"]
            row["counted_from"] = found.counted_from
            row["basis_on"] = found.basis.isoformat() if found.basis else ""
            rows.append(row)
    return sorted(rows, key=lambda row: (row["due_on"], row["site"], row["tag"], row["task"]))
