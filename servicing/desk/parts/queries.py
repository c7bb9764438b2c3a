"""How an item stands on a day, with the first line that its pages say of it."""

from dataclasses import dataclass
from datetime import date, datetime

from registry.items.models import Item
from registry.items.pure import Kind
from servicing.away.pure import Away
from servicing.away.queries import away_on
from servicing.due.pure.answer import Answer, of_item, of_set
from servicing.due.queries.doubts import Doubt, Doubtful, doubt_words, in_doubt_at
from servicing.due.queries.engine import OnDay, on_day
from servicing.due.queries.sets import SetSheet, set_sheet

Doubts = tuple[tuple[Doubt, Doubtful], ...]


@dataclass(frozen=True, slots=True)
class ItemOnDay:
    """An item as it stands on a day, by what was known at a moment.

    by_rules: what the engine says of it. whole: what a set holds. doubts: what of it, or of what a
    set holds, was measured with an instrument that failed. away: where it is, if away.
    """

    by_rules: OnDay
    whole: SetSheet | None
    doubts: Doubts
    away: Away | None
    answer: Answer


def item_on_day(
    item: Item, on: date, known_by: datetime | None = None, *, read_on: date | None
) -> ItemOnDay:
    """Return how an item stands on a day: a set by its parts as well.

    read_on: the day on which the words are read; None where they are kept, as on paper, so that
    they name days and no "today". Raises NotKnownThen where the item was not in the register at
    that moment.
    """
    found = on_day(item, on, known_by)
    if item.kind == Kind.SET:
        whole = set_sheet(item, on, known_by, on_paper=read_on is None)
        return ItemOnDay(found, whole, whole.doubts, None, of_set(whole.readiness))
    doubts = in_doubt_at(item, on, known_by)
    away = away_on([item.pk], on, known_by).get(item.pk)
    doubt, gone = doubt_words(doubts), away.words if away else ""
    tag, owed = found.item.tag, found.owed
    answer = of_item(tag, found.standing, owed, on, read_on, doubt=doubt, away=gone)
    return ItemOnDay(found, None, doubts, away, answer)
