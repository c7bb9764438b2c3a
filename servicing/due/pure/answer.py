"""The first line of an item's sheet: whether it is ready, and why."""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import date

from registry.wording.pure.dates import day_words
from registry.wording.pure.spans import how_far
from servicing.due.pure.event_words import undated_words, what_settles
from servicing.due.pure.happened import must_be, not_yet
from servicing.due.pure.obligations import Obligation, Standing, StandingWord, State
from servicing.due.pure.owed import Owed, for_use, owed_of, warning_words, warnings, worst_first
from servicing.due.pure.readiness import IN_DOUBT, INCOMPLETE, READY, Readiness
from servicing.rules.pure.rule import SERVICE_LIFE
from servicing.rules.pure.tasks import QUARANTINE, WITHDRAWAL

NOT_IN_SERVICE = (StandingWord.OUT_OF_SERVICE, StandingWord.CONDEMNED)


@dataclass(frozen=True, slots=True)
class Answer:
    """The first line of an item's sheet: its worst state, a sentence, and the reason.

    also: what else keeps a set from being ready, each in words without a full stop. warns: what
    is overdue or undetermined and doesn't bar its use, likewise. away: the sentence says where
    it is, for it is not at its site.
    """

    state: str
    sentence: str
    reason: str
    also: tuple[str, ...] = ()
    warns: tuple[str, ...] = ()
    away: bool = False

    @property
    def ready(self) -> bool:
        """Whether it may be used. What is not known, or not here, is not ready."""
        return self.state in READY and not self.away

    @property
    def beside(self) -> tuple[str, ...]:
        """What stands under the line, on screen and on paper, each without a full stop."""
        return (
            *(f"Also: {why}" for why in self.also),
            *(f"Warning: {why}" for why in self.warns),
        )

    @property
    def mark(self) -> str:
        """The state whose mark the sentence carries; of what is away that of what is incomplete."""
        return INCOMPLETE if self.away and self.state not in NOT_IN_SERVICE else self.state


def of_set(ready: Readiness) -> Answer:
    """Return the first line of a set's sheet."""
    reason = "" if ready.reasons else "Nothing in it is overdue."
    return Answer(ready.state, ready.sentence, reason, ready.reasons[1:], ready.warns)


def doubted(found: Answer, tag: str, doubt: str) -> Answer:
    """Return the first line of an item's sheet; of one in doubt, first why, in words."""
    if not doubt:
        return found
    state = found.state if found.state in NOT_IN_SERVICE else IN_DOUBT
    reason = f"Apart from that: {found.sentence} {found.reason}"
    return Answer(state, f"{tag} is not ready: {doubt}.", reason, warns=found.warns)


def placed(found: Answer, tag: str, where: str) -> Answer:
    """Return the first line of an item's sheet; of one that is away, first where it is."""
    if not where:
        return found
    reason = f"{found.sentence} {found.reason}"
    return Answer(found.state, f"{tag} is {where}.", reason, warns=found.warns, away=True)


def answer(
    tag: str,
    standing: Standing,
    owed: Iterable[Obligation],
    on: date,
    today: date | None = None,
) -> Answer:
    """Say whether an item is ready on a day, by the worst of its standing and obligations.

    An item that no rule asks anything of is not ready either: nobody has looked. today: the
    day on which it is read; None where it is kept.
    """
    if standing.word is not StandingWord.IN_SERVICE:
        since = f" since {day_words(standing.since_on)}" if standing.since_on else ""
        word = standing.word.replace("-", " ")
        return Answer(standing.word, f"{tag} is not ready: {word}{since}.", _held_back(standing))
    everything = owed_of(owed)
    if not everything:
        why = "No rule asks anything of it on this day. Check the rule tables its site follows."
        return Answer(State.UNDETERMINED, f"{tag} is not known to be ready.", why)
    said = _by_what_bars(tag, worst_first(for_use(everything), on), on, today)
    return replace(said, warns=tuple(warning_words(each) for each in warnings(everything, on)))


def _by_what_bars(tag: str, tasks: list[Owed], on: date, today: date | None) -> Answer:
    """Say whether an item is ready by the tasks that bar its use, the worst first."""
    if not tasks:
        why = "What its rules ask bars nothing when it is overdue."
        return Answer(State.CURRENT, f"{tag} has nothing overdue that bars its use.", why)
    first = tasks[0]
    state = first.state(on)
    if first.due_on is None:
        why = "There is no record and no made date to count from."
        if first.event:
            said = undated_words(first.event)
            why = f"{said[:1].upper()}{said[1:]}: {what_settles(first.event)}."
        return Answer(state, f"{tag} is not known to be ready: {_task(first)}.", why)
    if state is State.OVERDUE:
        late = [each for each in tasks if each.overdue(on)]
        return _overdue(tag, late, first.due_on, on, today)
    return _ready(tag, tasks, first.due_on, on)


def _overdue(tag: str, late: list[Owed], due_on: date, on: date, today: date | None) -> Answer:
    first = late[0]
    if first.happened:
        said = [each for each in late if each.happened]
        sentence = f"{tag} is not ready: {not_yet(said, today)}."
        ended = any(each.task == SERVICE_LIFE for each in said)
        why = "It can't come back." if ended else f"Before it is used it must be {must_be(said)}."
    else:
        said = [first]
        sentence = f"{tag} is not ready: {_task(first)} is overdue."
        why = f"It was due on {day_words(due_on)}: {how_far(due_on, on)}."
    others = len(late) - len(said)
    more = f" {others} more overdue." if others else ""
    return Answer(State.OVERDUE, sentence, f"{why}{more}")


def _ready(tag: str, tasks: list[Owed], due_on: date, on: date) -> Answer:
    """Speak of what is first by its state: what is due soon goes before what is earlier."""
    first, state = tasks[0], tasks[0].state(on)
    next_is = all(due_on <= (each.due_on or due_on) for each in tasks)
    word = "Next" if next_is else "Due soon"
    why = f"{word}: {_task(first)}, due {day_words(due_on)} ({how_far(due_on, on)})."
    today = f", but its {_task(first)} is due this very day" if due_on == on else ""
    return Answer(state, f"{tag} has nothing overdue{today}.", why)


def _held_back(standing: Standing) -> str:
    """Return why an item is not in service."""
    if standing.word is StandingWord.CONDEMNED:
        return "It can't come back."
    if standing.task == WITHDRAWAL:
        return "It was taken out of service and has not been returned since."
    if standing.task == QUARANTINE:
        return "It is kept back until it has been investigated, and has not been returned since."
    return f"{standing.task.replace('-', ' ').capitalize()} failed and has not passed since."


def _task(owed: Owed) -> str:
    return owed.task.replace("-", " ")


def of_item(
    tag: str,
    standing: Standing,
    owed: Iterable[Obligation],
    on: date,
    read_on: date | None,
    *,
    doubt: str,
    away: str,
) -> Answer:
    """Say how an item stands on a day: first where it is if away, then why it is in doubt.

    doubt, away: in words; empty where it is neither.
    """
    return placed(doubted(answer(tag, standing, owed, on, read_on), tag, doubt), tag, away)
