"""What may become of the air in a cylinder, from the ledger and what it owes."""

from dataclasses import asdict
from datetime import date

from registry.items.pure import Kind
from servicing.due.pure.charge import ChargeState, Debt, charge_state, filled_on
from servicing.due.pure.owed import owed_of
from servicing.due.queries.engine import OnDay
from servicing.rules.queries import jurisdictions_of


def charge_of(found: OnDay, on: date) -> ChargeState | None:
    """Return what may become of a cylinder's air on a day; None where nothing is to be said."""
    if found.item.type.kind != Kind.CYLINDER:
        return None
    past = (record for record in found.past if record.done_on <= on)
    filled = filled_on((record.task, record.done_on, record.outcome) for record in past)
    if filled is None:
        return None
    places = jurisdictions_of({obligation.rule.table for obligation in found.owed})
    debts = [
        Debt(**asdict(each), jurisdiction=places.get(o.rule.table, ""))
        for each, o in zip(owed_of(found.owed), found.owed, strict=True)
    ]
    return charge_state(filled, debts, on)
