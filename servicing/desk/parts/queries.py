"""The first line of an item's sheet today, for pages that show nothing else of it."""

from collections.abc import Sequence
from datetime import date

from registry.items.models import Item
from registry.items.pure import Kind
from servicing.away.pure import Away
from servicing.due.pure.answer import Answer, answer, doubted, of_set, placed
from servicing.due.pure.obligations import Obligation, Standing
from servicing.due.queries.doubts import doubt_words, in_doubt_at
from servicing.due.queries.sets import set_sheet


def answer_for(
    item: Item,
    standing: Standing,
    owed: Sequence[Obligation],
    today: date,
    away: Away | None = None,
) -> Answer:
    """Say whether an item is ready today: a set by its parts as well, and where it is if away."""
    if item.type.kind == Kind.SET:
        return of_set(set_sheet(item, today).readiness)
    found = answer(item.tag, standing, owed, today, today)
    found = doubted(found, item.tag, doubt_words(in_doubt_at(item)))
    return placed(found, item.tag, away.words if away else "")
