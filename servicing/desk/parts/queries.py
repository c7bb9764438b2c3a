"""The first line of an item's sheet today, for pages that show nothing else of it."""

from collections.abc import Sequence
from datetime import date

from registry.items.models import Item
from registry.items.pure import Kind
from servicing.away.pure import Away
from servicing.due.pure.answer import Answer, of_item, of_set
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
    doubt, gone = doubt_words(in_doubt_at(item)), away.words if away else ""
    return of_item(item.tag, standing, owed, today, today, doubt=doubt, away=gone)
