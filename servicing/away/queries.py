"""What is away: now, or on any day as it was known at any moment."""

from collections.abc import Iterable
from datetime import date, datetime

from django.db.models import Q, QuerySet

from registry.items.models import Item
from servicing.away.models import Consigned
from servicing.away.pure import Away

_NAMES = ("item_id", "consignment__sent_on", "consignment__house", "consignment__number", "pk")
_LEFT = Q(consignment__sent_on__isnull=False)


def away_now(item_ids: Iterable[int]) -> dict[int, Away]:
    """Return those of some items that have left and are not back, by item id."""
    return _away(Consigned.objects.filter(_LEFT, open=True, item_id__in=list(item_ids)))


def all_away() -> dict[int, Away]:
    """Return everything that has left and is not back, by item id."""
    return _away(Consigned.objects.filter(_LEFT, open=True).order_by())


def away_on(item_ids: Iterable[int], on: date, known_by: datetime | None = None) -> dict[int, Away]:
    """Return those of some items that were away at the end of a day, by item id.

    known_by: as it was known at that moment. Of consignments entered before the moments
    were kept, only the days are known.
    """
    back_later = Q(back_on__gt=on)
    known = Q()
    if known_by is not None:
        back_later |= Q(back_at__gt=known_by)
        known = Q(consignment__sent_at=None) | Q(consignment__sent_at__lte=known_by)
    left = Q(consignment__sent_on__lte=on, item_id__in=list(item_ids))
    rows = Consigned.objects.filter(left, known, Q(back_on=None) | back_later)
    return _away(rows.order_by("consignment__sent_on"))


def spells_away(item_ids: Iterable[int]) -> dict[int, list[tuple[Away, date | None]]]:
    """Return every time that some items were away and the day they were back, by item id."""
    found: dict[int, list[tuple[Away, date | None]]] = {}
    rows = Consigned.objects.filter(_LEFT, item_id__in=list(item_ids))
    for item_id, *said, back_on in rows.values_list(*_NAMES, "back_on"):
        found.setdefault(item_id, []).append((Away(*said), back_on))
    return found


def holding(item: Item) -> Consigned | None:
    """Return an item's place in the consignment it is in, packed or away; None at home."""
    rows = Consigned.objects.filter(item=item, open=True)
    return rows.select_related("consignment").first()


def _away(rows: QuerySet[Consigned]) -> dict[int, Away]:
    return {item_id: Away(*said) for item_id, *said in rows.values_list(*_NAMES)}
