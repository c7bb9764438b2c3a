"""Sending cylinders to a test house, and taking them back."""

import uuid
from collections.abc import Iterable, Mapping, Sequence
from datetime import date, datetime

from django.contrib.auth.models import User
from django.db import IntegrityError, transaction
from django.db.models import Max, QuerySet

from registry.items.models import Item
from registry.items.pure import Kind
from registry.people.actions.rights import only
from registry.people.pure import Right
from registry.sites.clock import now, today_at
from registry.sites.models import Site
from registry.wording.pure.dates import day_words, in_the_future
from servicing.away.models import Consigned, Consignment
from servicing.due.actions.preview import turnout_of
from servicing.due.pure.turnout import Shortfall
from servicing.hydrostatic.queries import waiting_for_manager
from servicing.ledger.actions import lock_items
from servicing.ledger.queries.records import condemnation_of


class ConsignmentRefused(ValueError):
    """Something about a consignment can't be done; the text says why and what to do."""


@only(Right.RECORD)
@transaction.atomic
def open_consignment(
    *, from_site: Site, house: str, items: Sequence[Item], user: User | None, entry_key: str
) -> Consignment:
    """Begin a consignment with its first cylinders, and return it.

    entry_key: the form's key; a form that comes in twice makes one consignment, which is
    returned again. Raises ConsignmentRefused where a cylinder can't go; nothing is written then.
    """
    lock_items([item.pk for item in items])
    if (known := Consignment.objects.filter(entry_key=entry_key).first()) is not None:
        return known
    at = now()
    for number in _free_numbers(at):
        try:
            with transaction.atomic():
                consignment = Consignment.objects.create(
                    number=number,
                    from_site=from_site,
                    house=house,
                    made_at=at,
                    made_by=user,
                    entry_key=entry_key,
                )
            break
        except IntegrityError:
            continue  # taken at the same moment by another desk
    else:
        raise ConsignmentRefused("No number could be had; try again.")
    add_cylinders(consignment=consignment, items=items, user=user)
    return consignment


def _free_numbers(at: datetime) -> Iterable[str]:
    """Yield the next numbers of a year, such as 2026-007."""
    used = Consignment.objects.filter(number__startswith=f"{at.year}-").count()
    return (f"{at.year}-{used + step:03d}" for step in range(1, 6))


@only(Right.RECORD)
@transaction.atomic
def add_cylinders(*, consignment: Consignment, items: Sequence[Item], user: User | None) -> None:
    """Add cylinders to a consignment that is still being packed.

    Raises ConsignmentRefused for what is no cylinder, is condemned, or is in a consignment
    already, naming all of them; then nothing is written.
    """
    locked(consignment)
    if consignment.sent_on is not None:
        raise ConsignmentRefused(f"{consignment.number} has left; begin another consignment.")
    lock_items([item.pk for item in items])
    waits = waiting_for_manager(item.pk for item in items)
    if refused := [why for item in items if (why := _why_not(item) or still_waits(item, waits))]:
        raise ConsignmentRefused(" ".join(refused))
    Consigned.objects.bulk_create(
        Consigned(consignment=consignment, item=item) for item in dict.fromkeys(items)
    )


def _why_not(item: Item) -> str:
    if item.type.kind != Kind.CYLINDER:
        return f"{item.tag} is no cylinder."
    if condemnation_of(item) is not None:
        return f"{item.tag} is condemned and isn't tested again."
    row = Consigned.objects.filter(item=item, open=True).select_related("consignment").first()
    return f"{item.tag} is in consignment {row.consignment.number} already." if row else ""


def still_waits(item: Item, waits: Mapping[int, date]) -> str:
    """Say that a condemning result of the item is not decided yet, or nothing.

    waits: by item, the day of the test whose result waits for a fleet manager.
    """
    if item.pk not in waits:
        return ""
    return (
        f"{item.tag}: the test of {day_words(waits[item.pk])} says condemn, which waits for a "
        "fleet manager; it isn't tested again before that is decided."
    )


@only(Right.RECORD)
@transaction.atomic
def remove_cylinder(*, consigned: Consigned, user: User | None) -> None:
    """Take a cylinder out of a consignment that is still being packed."""
    consignment = locked(consigned.consignment)
    if consignment.sent_on is not None:
        raise ConsignmentRefused(f"{consignment.number} has left; its list stays as it was.")
    consigned.delete()


@only(Right.RECORD)
@transaction.atomic
def send(*, consignment: Consignment, sent_on: date, user: User | None) -> None:
    """Let a consignment leave on a day. Entering the same day twice changes nothing.

    Raises ConsignmentRefused where it is empty, has left already, or the day is to come.
    """
    row = locked(consignment)
    if row.sent_on == sent_on:
        return
    if row.sent_on is not None:
        raise ConsignmentRefused(f"{row.number} left on {day_words(row.sent_on)} already.")
    if sent_on > (today := today_at(row.from_site)):
        raise ConsignmentRefused(in_the_future(sent_on, today))
    if not row.cylinders.exists():
        raise ConsignmentRefused(f"{row.number} has no cylinders; add some first.")
    lock_items(row.cylinders.values_list("item_id", flat=True))
    row.sent_on = consignment.sent_on = sent_on
    row.sent_at = now()
    row.save(update_fields=["sent_on", "sent_at"])


def turnout_when_gone(
    items: Sequence[Item], consignment: Consignment | None = None, *, house: str = ""
) -> Shortfall:
    """Return what it takes from the stations when cylinders leave today, and write nothing.

    items: what is to be packed. consignment: what they are packed into, with all it holds;
    None for one that is still to be begun, for `house`. Raises ConsignmentRefused where they
    can't go.
    """
    packed = consignment.cylinders.values_list("item_id", flat=True) if consignment else ()

    def leave() -> None:
        if consignment is None:
            key = uuid.uuid4().hex
            row = open_consignment(
                from_site=items[0].site, house=house, items=items, user=None, entry_key=key
            )
        else:
            row = Consignment.objects.select_related("from_site").get(pk=consignment.pk)
            add_cylinders(consignment=row, items=items, user=None)
        send(consignment=row, sent_on=today_at(row.from_site), user=None)

    return turnout_of(leave, [*packed, *(item.pk for item in items)])


@only(Right.RECORD)
@transaction.atomic
def take_back(*, consignment: Consignment, back_on: date, user: User | None) -> None:
    """Close a consignment: all cylinders that are still out are back, tested or not.

    Results may still be entered afterwards. Raises ConsignmentRefused where it never left, is
    back already on another day, or the day can't be.
    """
    row = locked(consignment)
    if row.back_on == back_on:
        return
    _receive(row, row.cylinders.filter(open=True), back_on)
    consignment.back_on = row.back_on


@only(Right.RECORD)
@transaction.atomic
def receive(*, consigned: Consigned, back_on: date, user: User | None) -> None:
    """Take one cylinder back before the others; with the last one the consignment is back.

    Raises ConsignmentRefused as `take_back` does. Entering the same day twice changes nothing.
    """
    row = locked(consigned.consignment)
    held = row.cylinders.get(pk=consigned.pk)
    if held.back_on == back_on:
        return
    if held.back_on is not None:
        raise ConsignmentRefused(f"{held.item.tag} came back on {day_words(held.back_on)} already.")
    _receive(row, row.cylinders.filter(pk=consigned.pk), back_on)


def _receive(row: Consignment, cylinders: QuerySet[Consigned], back_on: date) -> None:
    """Write that cylinders of a locked consignment are back, and the consignment if it is."""
    if row.sent_on is None or row.back_on is not None:
        raise ConsignmentRefused(f"{row.number} is {row.state}; nothing comes back.")
    today = today_at(row.from_site)
    if not row.sent_on <= back_on <= today:
        raise ConsignmentRefused(
            f"{day_words(back_on)} can't be: it left on {day_words(row.sent_on)}, and today is "
            f"{day_words(today)}."
        )
    lock_items(cylinders.values_list("item_id", flat=True))
    cylinders.update(open=False, back_on=back_on, back_at=now())
    if not row.cylinders.filter(open=True).exists():
        row.back_on = row.cylinders.aggregate(last=Max("back_on"))["last"]
        row.save(update_fields=["back_on"])


def locked(consignment: Consignment) -> Consignment:
    """Lock a consignment's row, so that of two people who act at once the second sees the first."""
    row = Consignment.objects.select_for_update(of=("self",)).get(pk=consignment.pk)
    consignment.sent_on, consignment.back_on = row.sent_on, row.back_on
    return row
