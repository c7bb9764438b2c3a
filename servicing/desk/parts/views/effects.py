"""What a record would move, as check pages show it."""

from datetime import date

from registry.items.models import Item
from registry.sites.clock import today_at
from servicing.due.actions.services import Effect
from servicing.due.pure.obligations import Obligation
from servicing.due.pure.sheet import Stamp, stamp_of


def part_rows(effect: Effect) -> list[dict[str, object]]:
    """Return the parts of a set to which it happens too, each with the dates that move."""
    return [
        {
            "part": each.part,
            "said": each.said,
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


def _stamp(obligation: Obligation | None, today: date) -> Stamp | None:
    return stamp_of(obligation, today) if obligation else None
