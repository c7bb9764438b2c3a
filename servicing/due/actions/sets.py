"""Fitting and taking out parts, with what the ledger says of them."""

from datetime import date, datetime

from django.contrib.auth.models import User
from django.db import transaction

from registry.items.models import Item
from registry.sets import actions as sets
from registry.sets.actions import FittingRefused
from registry.sets.models import Fitting
from registry.sets.queries import Plan
from registry.sites.clock import now, today_at
from servicing.away.pure import RECEIVE_FIRST
from servicing.away.queries import away_now
from servicing.ledger.actions import lock_items
from servicing.ledger.queries.records import condemnation_of


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
    says why. A condemned part or set never, nor a part that is away. See
    `registry.sets.actions.fit_part` for the arguments and for what is raised; then nothing
    is written.
    """
    # Locked first, so that a part can't be condemned and fitted at once.
    lock_items([set_item.pk, part.pk])
    _check(set_item, part, on)
    return sets.fit_part(
        set_item=set_item,
        part=part,
        on=on,
        by=by,
        at=at or now(),
        entry_key=entry_key,
        note=note,
        confirmed=confirmed,
    )


def planned(*, set_item: Item, part: Item, on: date) -> Plan:
    """Return what fitting a part on a day would do, without writing anything.

    Raises what `fit` raises, but for what is not stated: that stands in the plan.
    """
    _check(set_item, part, on)
    return sets.planned(set_item=set_item, part=part, on=on)


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
                f"{item.tag} was condemned on {end.done_on}. It is never fitted again: mark it "
                "and keep it apart."
            )


def _check_day(set_item: Item, on: date) -> None:
    if on > (today := today_at(set_item.site)):
        raise FittingRefused(f"{on} is in the future; today at the site is {today}.")
