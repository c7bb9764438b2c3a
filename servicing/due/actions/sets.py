"""Fitting and taking out parts, with what the ledger says of them."""

from collections.abc import Sequence
from datetime import date, datetime

from django.contrib.auth.models import User
from django.db import transaction

from registry.items.actions import move_items
from registry.items.models import Item
from registry.lists.actions import Written, write_fittings
from registry.lists.pure.fittings import FittingRow
from registry.people.actions.rights import only
from registry.people.pure import Right
from registry.sets import actions as sets
from registry.sets.actions import FittingRefused
from registry.sets.models import Fitting
from registry.sets.queries import Plan
from registry.sites.clock import now, today_at
from registry.trail.actions import Noted, note_all
from registry.wording.pure.dates import day_words, in_the_future
from servicing.away.pure import RECEIVE_FIRST
from servicing.away.queries import away_now
from servicing.due.actions.store import refresh
from servicing.ledger.actions import lock_items
from servicing.ledger.queries.records import condemnation_of


@only(Right.RECORD)
@transaction.atomic
def fit(
    *,
    set_item: Item,
    part: Item,
    on: date,
    by: User | None,
    entry_key: str,
    note: str = "",
    confirmed: bool = False,
    at: datetime | None = None,
) -> Fitting:
    """Fit a part to a set; what is in its place comes out in the same transaction.

    A part that is overdue or out of service may be fitted: the set is then not ready and
    says why. A condemned part or set never, nor a part that is away. A part from another
    site is at the set's from then on, with its due dates. See
    `registry.sets.actions.fit_part` for the arguments and for what is raised; then nothing
    is written.
    """
    # Locked first, so that a part can't be condemned and fitted at once.
    lock_items([set_item.pk, part.pk])
    _check(set_item, part, on)
    at = at or now()
    fitting = sets.fit_part(
        set_item=set_item,
        part=part,
        on=on,
        by=by,
        at=at,
        entry_key=entry_key,
        note=note,
        confirmed=confirmed,
    )
    bring_here([fitting], by=by, at=at)
    return fitting


def bring_here(fittings: Sequence[Fitting], *, by: User | None, at: datetime) -> int:
    """Move fitted parts to where their sets are, in the caller's transaction; return how many.

    What was taken out again stays where it is. Due dates and the trail are kept true.
    """
    moved: list[int] = []
    changes: list[Noted] = []
    for fitting in fittings:
        if fitting.removed_on is None:
            part = Item.objects.select_related("type", "site").get(pk=fitting.part_id)
            why = f"fitted to {fitting.set.tag}"
            if notes := move_items([part], fitting.set.site, at=at, why=why):
                moved.append(part.pk)
                changes += notes
    refresh(moved)
    note_all(changes, by=by, at=at)
    return len(moved)


@only(Right.RECORD)
@transaction.atomic
def import_fittings(rows: Sequence[FittingRow], *, by: User | None, at: datetime) -> Written:
    """Write what a list says was fitted; what is fitted still is at its set's site from then on.

    See `registry.lists.actions.write_fittings`.
    """
    tags = {tag for row in rows for tag in (row.set, row.part)}
    lock_items(Item.objects.filter(tag__in=tags).values_list("pk", flat=True))
    written = write_fittings(rows, by=by, at=at)
    fittings = Fitting.objects.open().filter(part__in=written.ids)
    bring_here(list(fittings.select_related("set__site")), by=by, at=at)
    return written


def planned(*, set_item: Item, part: Item, on: date) -> Plan:
    """Return what fitting a part on a day would do, without writing anything.

    Raises what `fit` raises, but for what is not stated: that stands in the plan.
    """
    _check(set_item, part, on)
    return sets.planned(set_item=set_item, part=part, on=on)


@only(Right.RECORD)
@transaction.atomic
def take_out(
    *, fitting: Fitting, on: date, by: User | None, entry_key: str, note: str = ""
) -> Fitting:
    """Take a part out of its set; see `registry.sets.actions.remove_part`."""
    _check_day(fitting.set, on)
    return sets.remove_part(fitting=fitting, on=on, by=by, at=now(), entry_key=entry_key, note=note)


def _check(set_item: Item, part: Item, on: date) -> None:
    """Refuse a day that has not come yet, what is away, and what is condemned."""
    _check_day(set_item, on)
    if (away := away_now([part.pk]).get(part.pk)) is not None:
        raise FittingRefused(f"{part.tag} is {away.words}. {RECEIVE_FIRST}")
    for item in (set_item, part):
        if (end := condemnation_of(item)) is not None:
            raise FittingRefused(
                f"{item.tag} was condemned on {day_words(end.done_on)}. It is never fitted again: "
                "mark it and keep it apart."
            )


def _check_day(set_item: Item, on: date) -> None:
    if on > (today := today_at(set_item.site)):
        raise FittingRefused(in_the_future(on, today))
