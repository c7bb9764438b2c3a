"""What a record would move, as check pages show it."""

from collections.abc import Iterable
from datetime import date

from registry.items.models import Item
from registry.sites.clock import today_at
from servicing.due.actions.services import Effect, Service
from servicing.due.pure.explain import difference
from servicing.due.pure.obligations import PASS, Obligation
from servicing.due.pure.sheet import Stamp, stamp_of
from servicing.due.queries.engine import owes
from servicing.ledger.pure.shoulder import Shoulder
from servicing.rules.pure.tasks import RETEST


def part_rows(effect: Effect) -> list[dict[str, object]]:
    """Return the parts of a set to which it happens too, each with the dates that move."""
    return [
        {
            "part": each.part,
            "remark": each.remark,
            "recorded": each.effect is not None,
            "rows": [row for row in change_rows(each.effect, each.part) if row["moves"]]
            if each.effect
            else [],
        }
        for each in effect.parts
    ]


def change_rows(effect: Effect, item: Item) -> list[dict[str, object]]:
    """Return each task with its date before and after, those that move first."""
    today = today_at(item.site)
    before = {o.task: o for o in effect.before}
    after = {o.task: o for o in effect.after}
    rows: list[dict[str, object]] = [
        {
            "task": task,
            "before": _stamp(before.get(task), today),
            "after": _stamp(after.get(task), today),
            "moves": _stamp(before.get(task), today) != _stamp(after.get(task), today),
        }
        for task in dict.fromkeys([*before, *after])
    ]
    return sorted(rows, key=lambda row: not row["moves"])


def stamped_words(owed: Iterable[Obligation]) -> list[str]:
    """Return what is marked on an item and what the rules alone say, where they differ."""
    return [said for obligation in owed if (said := difference(obligation))]


def stamped_after(item: Item, tested_on: date, outcome: str, shoulder: Shoulder) -> list[str]:
    """Return what `stamped_words` does once a retest with these marks is entered."""
    if outcome != PASS or not shoulder.said:
        return []  # what is marked counts only once it has passed
    passed = Service(RETEST, tested_on, PASS, "", readings=shoulder.readings)
    return stamped_words(owes(item, today_at(item.site), [passed.as_fact])[1])


def _stamp(obligation: Obligation | None, today: date) -> Stamp | None:
    return stamp_of(obligation, today) if obligation else None
