"""What may become of the air in a cylinder, from the ledger and what it owes."""

from collections.abc import Sequence
from dataclasses import asdict
from datetime import date, datetime

from registry.items.models import Item
from registry.items.pure import Kind
from servicing.due.pure.charge import ChargeState, Debt, charge_state, filled_on
from servicing.due.pure.obligations import Obligation
from servicing.due.pure.owed import owed_of
from servicing.ledger.queries.records import facts_by_item
from servicing.rules.queries import jurisdictions_of


def charge_of(
    item: Item, owed: Sequence[Obligation], on: date, known_by: datetime | None = None
) -> ChargeState | None:
    """Return what may become of a cylinder's air on a day; None where nothing is to be said.

    owed: what it owes on that day, as known at the same moment.
    """
    if item.type.kind != Kind.CYLINDER:
        return None
    past = facts_by_item([item.pk], known_by).get(item.pk, ())
    filled = filled_on((task, day, outcome) for task, day, outcome, *_ in past if day <= on)
    if filled is None:
        return None
    places = jurisdictions_of({obligation.rule.table for obligation in owed})
    debts = [
        Debt(**asdict(each), jurisdiction=places.get(o.rule.table, ""))
        for each, o in zip(owed_of(owed), owed, strict=True)
    ]
    return charge_state(filled, debts, on)
