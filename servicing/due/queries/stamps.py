"""Which dates marked on items are not those of the rules."""

from collections.abc import Iterable

from django.db.models import QuerySet

from registry.sites.clock import today_in
from servicing.due.models import StoredObligation
from servicing.due.pure.obligations import Obligation, obligations
from servicing.due.queries.engine import engine_input, items_for_engine
from servicing.due.queries.rows import DueQuestion, stored_rows

Beside = dict[tuple[int, str], Obligation]


def stamps_that_differ() -> QuerySet[StoredObligation]:
    """Return what is owed today at each item's site where a mark and the rules differ."""
    return stored_rows(DueQuestion()).filter(stamp_differs=True)


def beside_stamps(item_ids: Iterable[int]) -> Beside:
    """Return the same of some items as the engine has it, with both reasons, by item and task."""
    return {
        (item.pk, owed.task): owed
        for item, plain, past, rules in engine_input(list(items_for_engine(item_ids)))
        for owed in obligations(plain, past, rules, today_in(item.site.timezone))
        if owed.beside_stamp is not None
    }
