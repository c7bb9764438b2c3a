"""Which dates marked on items are not those of the rules."""

from dataclasses import dataclass
from datetime import date

from django.db.models import QuerySet

from registry.sites.clock import today_in
from servicing.due.models import StoredObligation
from servicing.due.pure.explain import difference
from servicing.due.pure.obligations import Obligation, State, obligations
from servicing.due.queries.engine import engine_input, items_for_engine
from servicing.due.queries.rows import today_q


@dataclass(frozen=True, slots=True)
class StampRow:
    """A mark that is not what the rules alone say, as both stand today.

    stamped: as it can be read on the item. by_rule_on, rule: what the rules alone say. table: of
    the row that governs. why: both reasons in a sentence.
    """

    item_id: int
    tag: str
    site: str
    task: str
    stamped: str
    by_rule_on: date | None
    rule: str
    table: str
    due_on: date | None
    state: State
    why: str


def stamps_that_differ() -> QuerySet[StoredObligation]:
    """Return what is owed today at each item's site where a mark and the rules differ."""
    return StoredObligation.objects.filter(today_q(), stamp_differs=True)


def stamp_rows() -> list[StampRow]:
    """Return the same with both reasons, by due date, site and tag."""
    items = items_for_engine(stamps_that_differ().values_list("item_id", flat=True))
    rows = [
        _row(item.pk, item.tag, item.site.name, owed, on)
        for item, plain, past, rules in engine_input(list(items))
        for on in [today_in(item.site.timezone)]
        for owed in obligations(plain, past, rules, on)
        if owed.beside_stamp is not None
    ]
    return sorted(rows, key=lambda row: (row.due_on or date.min, row.site, row.tag))


def _row(item_id: int, tag: str, site: str, owed: Obligation, on: date) -> StampRow:
    own, mark = owed.beside_stamp, owed.stamp
    return StampRow(
        item_id=item_id,
        tag=tag,
        site=site,
        task=owed.task,
        stamped=mark.words if mark else "",
        by_rule_on=own.due_on if own else None,
        rule=own.rule.id if own else "",
        table=owed.rule.table,
        due_on=owed.due_on,
        state=owed.state(on),
        why=difference(owed),
    )
