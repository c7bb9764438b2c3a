"""The first line of an item's sheet."""

from collections.abc import Sequence
from datetime import date

from registry.items.models import Item
from registry.items.pure import Kind
from servicing.away.pure import Away
from servicing.due.pure.answer import Answer, answer
from servicing.due.pure.obligations import Obligation, Standing, StandingWord
from servicing.due.pure.readiness import IN_DOUBT
from servicing.due.queries.doubts import Doubt, Doubtful, doubt_words, in_doubt_at
from servicing.due.queries.sets import SetSheet, set_sheet

NOT_IN_SERVICE = (StandingWord.OUT_OF_SERVICE, StandingWord.CONDEMNED)


def answer_for(
    item: Item,
    standing: Standing,
    owed: Sequence[Obligation],
    today: date,
    away: Away | None = None,
) -> Answer:
    """Say whether an item is ready today: a set by its parts as well, and where it is if away."""
    if item.type.kind == Kind.SET:
        return answer_of(set_sheet(item, today))
    found = doubted(answer(item.tag, standing, owed, today, today), item, in_doubt_at(item))
    return placed(found, item, away)


def placed(found: Answer, item: Item, away: Away | None) -> Answer:
    """Return the first line of an item's sheet; of one that is away, first where it is."""
    if away is None:
        return found
    return Answer(found.state, f"{item.tag} is {away.words}.", f"{found.sentence} {found.reason}")


def doubted(found: Answer, item: Item, doubts: Sequence[tuple[Doubt, Doubtful]]) -> Answer:
    """Return the first line of an item's sheet; of one in doubt, first why."""
    if not doubts:
        return found
    state = found.state if found.state in NOT_IN_SERVICE else IN_DOUBT
    sentence = f"{item.tag} is not ready: {doubt_words(doubts)}."
    return Answer(state, sentence, f"Apart from that: {found.sentence} {found.reason}")


def answer_of(shown: SetSheet) -> Answer:
    ready = shown.readiness
    reason = "" if ready.reasons else "Nothing in it is overdue."
    return Answer(ready.state, ready.sentence, reason, ready.reasons[1:])
