"""May this cylinder be filled: yes or no, and why. The heart of the filling point.

Plain values in, a verdict out; no database, no clock, and no equation of state either, so
that the answer comes at once. What is not known counts as no.
"""

from collections.abc import Iterable, Iterator
from dataclasses import asdict, dataclass
from datetime import date, timedelta
from decimal import Decimal
from enum import IntEnum

from registry.items.pure import Kind, a_kind
from registry.wording.pure.dates import day_words
from servicing.away.pure import Away
from servicing.due.pure import owed as due
from servicing.due.pure.barring import excused_until
from servicing.due.pure.charge import Debt
from servicing.due.pure.event_words import undated_words
from servicing.due.pure.happened import not_yet
from servicing.due.pure.obligations import CountedFrom, StandingWord, State
from servicing.rules.pure.bars import Bars
from servicing.rules.pure.rule import SERVICE_LIFE, Rule
from servicing.rules.pure.tasks import RETEST, TAKES_OUT

AIR_TEST = "air-quality-test"
SHARE_OF_TEST = Decimal(2) / 3
GAUGE_STEP_BAR = Decimal(1)
"""Working and test pressures are rounded to whole bars from other units now and then."""
HAIR_BAR = 1e-6
"""What a computed 200 bar may lack of 200 bar."""
ADR, DAMAGED = "ADR 4.1.6.10; 49 CFR 180.205(c)", "ADR 4.1.6.11; 49 CFR 180.205(d)"
OUR_OWN = "Rule of this register: what is not known counts as no"


class Weight(IntEnum):
    """How bad a reason is; the worst comes first and is the one shown large."""

    UNKNOWN_CODE = 1
    NOT_A_CYLINDER = 2
    CONDEMNED = 3
    LIFE_OVER = 4
    OUT_OF_SERVICE = 5
    AWAY = 6
    AFTER_EVENT = 7
    RETEST_OVERDUE = 8
    OVERDUE = 9
    IN_DOUBT = 10
    UNDETERMINED = 11
    ABOVE_RATING = 12
    RATING_UNKNOWN = 13
    COMPRESSOR = 14
    NO_COMPRESSOR = 15


@dataclass(frozen=True, slots=True)
class Reason:
    """Why not: a few words to be read from afar, the sentence, the clause, and the day.

    source: clause or rule with its clause. on: the day it hangs on, where there is one.
    """

    weight: Weight
    word: str
    sentence: str
    source: str
    on: date | None = None


@dataclass(frozen=True, slots=True)
class Owed(Debt):
    """One obligation with the rule that decides its date.

    seen: how the rule's value was checked. bars_by: the text by which it bars, where it names one.
    """

    rule: str = ""
    source: str = ""
    seen: str = "text"
    bars_by: str = ""

    @property
    def by(self) -> str:
        """The row and its source, how that was seen where it was not read, and what bars."""
        seen = "" if self.seen == "text" else f" (seen: {self.seen})"
        barred = f"; it bars by {self.bars_by}" if self.bars_by and Bars(self.bars).filling else ""
        return f"{self.rule}: {self.source}{seen}{barred}"


def owed_by_rule(owed: due.Owed, rule: Rule, jurisdiction: str, entered_on: date | None) -> Owed:
    """Return what is owed as the filling point takes it.

    jurisdiction: of the rule's table. entered_on: the day the item came into the register.
    """
    return Owed(
        **asdict(owed),
        jurisdiction=jurisdiction,
        excused_until=excused_until(rule, owed.due_on, entered_on, unwritten=owed.unwritten),
        rule=rule.id,
        source=rule.source,
        seen=rule.seen,
        bars_by=rule.bars_by,
    )


@dataclass(frozen=True, slots=True)
class Subject:
    """A cylinder or compressor as the filling point knows it.

    today: the day at its site. standing: None where nothing says, which counts as no.
    failed_task: what took it out of service, or condemned it, on `since_on`. away: where it
    is by the register, where that is not here. doubt: why it is in doubt, in words. for_oxygen:
    it bears the mark of what never takes air.
    """

    tag: str
    kind: str
    today: date
    standing: StandingWord | None
    since_on: date | None = None
    failed_task: str = ""
    owed: tuple[Owed, ...] = ()
    working_pressure_bar: Decimal | None = None
    test_pressure_bar: Decimal | None = None
    away: Away | None = None
    doubt: str = ""
    for_oxygen: bool = False


@dataclass(frozen=True, slots=True)
class FillAnswer:
    """Yes or no, with every reason for no, the worst first.

    fill_to_bar: the gauge pressure settled at 15 °C to fill to; None where the answer is
    no. soon: what falls due within its notice. warns: what is overdue or not known and bars no
    filling, each by name, with its row and what would settle it.
    """

    reasons: tuple[Reason, ...]
    fill_to_bar: Decimal | None = None
    soon: tuple[Owed, ...] = ()
    warns: tuple[Reason, ...] = ()

    @property
    def fill(self) -> bool:
        """Whether it may be filled."""
        return not self.reasons

    @property
    def open(self) -> bool:
        """Whether nothing is known against the cylinder and only the compressor is not chosen.

        That is no verdict on the cylinder, and no leave to fill it either.
        """
        return self.worst is not None and self.worst.weight is Weight.NO_COMPRESSOR

    @property
    def worst(self) -> Reason | None:
        """The reason that is shown first and large."""
        return self.reasons[0] if self.reasons else None


def may_fill(
    cylinder: Subject, compressor: Subject | None, wanted_bar: Decimal | None = None
) -> FillAnswer:
    """Return whether a cylinder may be filled from a compressor, and why not.

    wanted_bar: the gauge pressure in bar asked for, settled at 15 °C; None for as much as
    it is rated for. Where it stands (its site) is no reason either way.
    """
    if cylinder.kind != Kind.CYLINDER:
        what = cylinder.kind.replace("-", " ")
        sentence = f"{cylinder.tag} is {a_kind(what)}; scan a cylinder."
        return FillAnswer((Reason(Weight.NOT_A_CYLINDER, "Not a cylinder", sentence, OUR_OWN),))
    if cylinder.for_oxygen:
        return FillAnswer((_oxygen(cylinder.tag),))
    reasons = [
        *_standing(cylinder),
        *_away(cylinder),
        *_doubt(cylinder),
        *_debts(cylinder),
        *_rating(cylinder, wanted_bar),
        *_air(compressor),
    ]
    warns = warnings_of(cylinder)
    if compressor is not None:
        warns += warnings_of(compressor)
    if reasons:
        return FillAnswer(worst_first(reasons), warns=warns)
    today = cylinder.today
    soon = tuple(o for o in cylinder.owed if o.state(today) is State.DUE_SOON)
    return FillAnswer((), wanted_bar or cylinder.working_pressure_bar, soon, warns)


def unknown_code(code: str) -> FillAnswer:
    """Return the verdict on a code that nothing in the register carries."""
    sentence = f"Nothing carries the mark {code}. Who fills it knows neither its test nor its age."
    return FillAnswer((Reason(Weight.UNKNOWN_CODE, "Unknown code", sentence, OUR_OWN),))


def several_items(code: str) -> FillAnswer:
    """Return the verdict on a serial number that several makers have stamped."""
    sentence = f"Several items have the serial {code}. Scan the tag instead."
    return FillAnswer((Reason(Weight.UNKNOWN_CODE, "Which one?", sentence, OUR_OWN),))


def too_full(pressure_bar: Decimal, at_c: Decimal, ceiling_bar: float, set_by: str) -> Reason:
    """Return the reason why a gauge reading in bar at a temperature in °C is too high."""
    return Reason(
        Weight.ABOVE_RATING,
        "Too full",
        f"{_plain(pressure_bar)} bar at {_plain(at_c)} °C is more than its {set_by} "
        f"allows. Let it down to {int(ceiling_bar + HAIR_BAR)} bar at that temperature, then "
        "log what the gauge shows.",
        "UN P200(4); 49 CFR 173.302b(b)",
    )


def _oxygen(tag: str) -> Reason:
    sentence = (
        f"{tag} is marked for oxygen. The oil in compressed air can burn in it: have it filled "
        "where oxygen is filled."
    )
    source = "The mark oxygen in the register; that no air goes in is common practice"
    return Reason(Weight.NOT_A_CYLINDER, "For oxygen, not air", sentence, source)


def _standing(cylinder: Subject) -> Iterator[Reason]:
    since = f" since {day_words(cylinder.since_on)}" if cylinder.since_on else ""
    task = cylinder.failed_task.replace("-", " ")
    if cylinder.standing is StandingWord.CONDEMNED:
        yield Reason(
            Weight.CONDEMNED,
            "Condemned",
            f"Condemned{since} ({task}). It never comes back.",
            "49 CFR 180.205(i) of 2015, now (j); ADR 4.1.6.11",
            cylinder.since_on,
        )
    elif cylinder.standing is StandingWord.OUT_OF_SERVICE:
        if cylinder.failed_task in TAKES_OUT:
            word = "Out of service"
            sentence = f"Taken out of service{since} ({task}), and not returned to it since."
        else:
            word = f"{task.capitalize()} failed"
            sentence = f"Out of service{since}: {task} failed and has not passed since."
        yield Reason(Weight.OUT_OF_SERVICE, word, sentence, DAMAGED, cylinder.since_on)
    elif cylinder.standing is None:
        sentence = "Nothing says whether it is in service. Ask the fleet manager."
        yield Reason(Weight.UNDETERMINED, "Not known", sentence, OUR_OWN)


def _away(cylinder: Subject) -> Iterator[Reason]:
    if (away := cylinder.away) is None:
        return
    sentence = (
        f"By the register it is {away.words}. If you have it in your hands, the register is "
        "behind and may lack what was found there: have it received, and its result entered, "
        "then scan it again."
    )
    yield Reason(Weight.AWAY, "Away by the register", sentence, OUR_OWN, away.since)


def _doubt(cylinder: Subject) -> Iterator[Reason]:
    if cylinder.doubt and cylinder.standing is not StandingWord.CONDEMNED:
        sentence = f"It is {cylinder.doubt}. Have it tested again, or ask the fleet manager."
        yield Reason(Weight.IN_DOUBT, "In doubt", sentence, OUR_OWN)


def _debts(cylinder: Subject) -> Iterator[Reason]:
    if cylinder.standing is StandingWord.CONDEMNED:
        return
    if not cylinder.owed:
        sentence = (
            "No rule asks anything of it, so nobody has looked. Check the rule tables of its site."
        )
        yield Reason(Weight.UNDETERMINED, "No rule known", sentence, OUR_OWN)
    for owed in closing(cylinder):
        yield from _debt(owed, cylinder.today)


def closing(subject: Subject) -> list[Owed]:
    """Return what closes the filling point today: of each task the first row that does."""
    first: dict[str, Owed] = {}
    for owed in due.in_order(subject.owed):
        if owed.closes(subject.today):
            first.setdefault(owed.task, owed)
    return list(first.values())


def warnings_of(subject: Subject) -> tuple[Reason, ...]:
    """Return what is overdue or not known and closes nothing, each task by name.

    Of several rows of a task the one that will bar filling one day is spoken of.
    """
    if subject.standing is StandingWord.CONDEMNED:
        return ()
    closed, today = {owed.task for owed in closing(subject)}, subject.today
    first: dict[str, Owed] = {}
    ordered = due.in_order(subject.owed)
    for owed in sorted(ordered, key=lambda each: not Bars(each.bars).filling):
        if owed.state(today) in due.LATE and owed.task not in closed:
            first.setdefault(owed.task, owed)
    return worst_first(_warning(owed, subject) for owed in first.values())


def _warning(owed: Owed, subject: Subject) -> Reason:
    task = owed.task.replace("-", " ").capitalize()
    whose = "" if subject.kind == Kind.CYLINDER else f"Compressor {subject.tag}: "
    if owed.excused_until is not None and Bars(owed.bars).filling:
        sentence = (
            f"{whose}{task}: none is on record. Enter the last one from its papers, or have it "
            f"done; from {day_words(owed.excused_until + timedelta(days=1))} it bars filling."
        )
        return Reason(Weight.UNDETERMINED, f"{task} not known", sentence, owed.by)
    use = " It is not to be used before that is done." if Bars(owed.bars).use else ""
    if owed.due_on is None:
        sentence = f"{whose}{task}: {undated_words(owed.event)}. Enter what is known of it."
        return Reason(Weight.UNDETERMINED, f"{task} not known", f"{sentence}{use}", owed.by)
    sentence = f"{whose}{task} was due on {day_words(owed.due_on)}; that bars no filling.{use}"
    return Reason(Weight.OVERDUE, f"{task} overdue", sentence, owed.by, owed.due_on)


def _debt(owed: Owed, today: date) -> Iterator[Reason]:
    task, by = owed.task.replace("-", " "), owed.by
    if owed.due_on is None or owed.excused_until is not None:
        why = undated_words(owed.event)
        if owed.excused_until is not None:
            why = "none is on record, and one was due since it came into the register"
        sentence = f"{task.capitalize()}: {why}."
        yield Reason(Weight.UNDETERMINED, f"{task.capitalize()} not known", sentence, by)
        return
    stamped = ", as stamped on it" if owed.counted_from == CountedFrom.STAMP else ""
    day = f"{day_words(owed.due_on)}{stamped}"
    if owed.task == SERVICE_LIFE:
        sentence = f"Its service life ended on {day}. Take it out of service."
        yield Reason(Weight.LIFE_OVER, "Service life over", sentence, by, owed.due_on)
    elif owed.happened:
        said = not_yet([owed], today)
        sentence = f"{said[:1].upper()}{said[1:]}."
        yield Reason(Weight.AFTER_EVENT, f"{task.capitalize()} due", sentence, by, owed.due_on)
    elif owed.never_done:
        sentence = f"{task.capitalize()}: none is on record; it is wanted before the first filling."
        yield Reason(Weight.OVERDUE, f"{task.capitalize()} not done", sentence, by, owed.due_on)
    else:
        retest = owed.task == RETEST
        weight = Weight.RETEST_OVERDUE if retest else Weight.OVERDUE
        word = "Retest" if retest else task.capitalize()
        sentence = f"{task.capitalize()} was due on {day}."
        source = f"{by}; {ADR}" if retest and not owed.bars_by else by
        yield Reason(weight, f"{word} overdue", sentence, source, owed.due_on)


def _rating(cylinder: Subject, wanted_bar: Decimal | None) -> Iterator[Reason]:
    working, test = cylinder.working_pressure_bar, cylinder.test_pressure_bar
    if working is None:
        sentence = "Its working pressure is not in the register. Read it off the shoulder first."
        yield Reason(Weight.RATING_UNKNOWN, "Working pressure unknown", sentence, OUR_OWN)
        return
    wanted = wanted_bar or working
    if wanted > working:
        sentence = f"{_plain(wanted)} bar asked for; its working pressure is {_plain(working)} bar."
        source = "The working pressure stamped on it, at 15 °C: UN P200(4)"
        yield Reason(Weight.ABOVE_RATING, f"Only {_plain(working)} bar", sentence, source)
    elif test is not None and wanted > test * SHARE_OF_TEST + GAUGE_STEP_BAR:
        sentence = (
            f"{_plain(wanted)} bar is more than two thirds of its test pressure, "
            f"{_plain(test)} bar. One of the two is entered wrongly; read the shoulder."
        )
        source = "UN P200(4); 49 CFR 173.302b(b)"
        yield Reason(Weight.ABOVE_RATING, "Test pressure too low", sentence, source)


def _air(compressor: Subject | None) -> Iterator[Reason]:
    """Yield why the air of a compressor may not be breathed."""
    if compressor is None:
        sentence = "Nobody has said which compressor fills here. Scan it or choose it first."
        yield Reason(Weight.NO_COMPRESSOR, "Which compressor?", sentence, OUR_OWN)
        return
    tag = compressor.tag
    if compressor.standing is not StandingWord.IN_SERVICE:
        word = (compressor.standing or "not known").replace("-", " ")
        sentence = f"Compressor {tag} is {word}: fill from another one."
        yield Reason(
            Weight.COMPRESSOR,
            f"Compressor {tag} {word}",
            sentence,
            OUR_OWN,
            compressor.since_on,
        )
    if compressor.doubt:
        sentence = f"Compressor {tag} is {compressor.doubt}. Fill from another one."
        yield Reason(Weight.COMPRESSOR, f"Compressor {tag} in doubt", sentence, OUR_OWN)
    tests = [owed for owed in compressor.owed if owed.task == AIR_TEST]
    if not tests:
        sentence = f"No rule asks for an air test of compressor {tag}: its air is not known."
        yield Reason(Weight.COMPRESSOR, f"Air of {tag} not known", sentence, OUR_OWN)
    for owed in due.in_order(tests):
        yield from _air_test(tag, owed, compressor.today)
    for owed in closing(compressor):
        if owed.task != AIR_TEST:
            yield from _of_compressor(tag, owed)


def _air_test(tag: str, owed: Owed, today: date) -> Iterator[Reason]:
    if owed.due_on is None or (owed.never_done and owed.due_on <= today):
        sentence = f"Compressor {tag}: no air test is on record."
        yield Reason(Weight.COMPRESSOR, f"Air of {tag} not known", sentence, owed.by)
    elif owed.closes(today):
        sentence = (
            f"Compressor {tag}: the air test was due on {day_words(owed.due_on)}. "
            "Test its air, or fill from another one."
        )
        yield Reason(Weight.COMPRESSOR, "Air test overdue", sentence, owed.by, owed.due_on)


def _of_compressor(tag: str, owed: Owed) -> Iterator[Reason]:
    """Yield what else of a compressor its rules bar filling by."""
    task = owed.task.replace("-", " ")
    word = f"{task.capitalize()} of {tag}"
    if owed.due_on is None:
        sentence = f"Compressor {tag}: nobody knows when its {task} is due."
    else:
        sentence = f"Compressor {tag}: its {task} was due on {day_words(owed.due_on)}."
    sentence = f"{sentence} Fill from another one."
    yield Reason(Weight.COMPRESSOR, word, sentence, owed.by, owed.due_on)


def _plain(number: Decimal) -> str:
    return format(number.normalize(), "f")


def worst_first(reasons: Iterable[Reason]) -> tuple[Reason, ...]:
    """Return reasons in the order they are shown: by weight, then by day."""
    return tuple(sorted(reasons, key=lambda reason: (reason.weight, reason.on or date.min)))
