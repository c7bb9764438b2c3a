"""Fitting parts to sets and taking them out, the only way outside of lists."""

from collections.abc import Sequence
from datetime import date, datetime

from django.contrib.auth.models import User
from django.db import connection, transaction

from registry.items.models import Item
from registry.items.pure import Kind
from registry.sets.models import Fitting
from registry.sets.pure.parts import Finding, Word
from registry.sets.queries import Plan, plan_of
from registry.trail import actions as trail
from registry.wording.pure.dates import day_words


class FittingRefused(ValueError):
    """A part can't be fitted or taken out so; the text says why and what to do."""


class DoesNotFit(FittingRefused):
    """The part does not fit the set. Nobody may override it; `findings` say why, by source."""

    def __init__(self, findings: Sequence[Finding]) -> None:
        super().__init__(" ".join(finding.sentence for finding in findings))
        self.findings = tuple(findings)


class NotStated(FittingRefused):
    """Whether it fits is not stated; `findings` must be confirmed, with a note."""

    def __init__(self, findings: Sequence[Finding]) -> None:
        super().__init__(" ".join(finding.reason for finding in findings))
        self.findings = tuple(findings)


class FormUsedTwice(FittingRefused):
    """A form came in again with other content than the first time."""


@transaction.atomic
def fit_part(
    *,
    set_item: Item,
    part: Item,
    on: date,
    by: User | None,
    at: datetime,
    entry_key: str,
    note: str = "",
    confirmed: bool = False,
) -> Fitting:
    """Fit a part to a set, and take out what is in its place; return the fitting.

    on: the day it is done, at the set's site. at: the moment of entry. entry_key: the
    form's key; a form that comes in twice fits once. confirmed: somebody looked at what
    is not stated of the combination, and says so in `note`.

    Raises DoesNotFit, NotStated, NoPlace or FittingRefused; then nothing is written.
    """
    lock([set_item.pk, part.pk])
    set_item, part = _as_they_are(set_item), _as_they_are(part)
    if (known := Fitting.objects.filter(entry_key=entry_key).first()) is not None:
        if (known.set_id, known.part_id) != (set_item.pk, part.pk):
            raise FormUsedTwice("This form was sent before with another part; open the set again.")
        return known
    plan = planned(set_item=set_item, part=part, on=on)
    unstated = plan.of(Word.NOT_STATED)
    if unstated and not (confirmed and note.strip()):
        raise NotStated(unstated)
    changes = []
    if plan.occupant is not None:
        changes.append(
            close_row(
                plan.occupant, on=on, by=by, at=at, key=f"{entry_key}-out", why=f"for {part.tag}"
            )
        )
    fitting = Fitting(
        set=set_item,
        part=part,
        place=plan.place,
        fitted_on=on,
        fitted_at=at,
        fitted_by=trail.called(by),
        note=note.strip(),
        confirmed=[finding.reason for finding in unstated],
        entry_key=entry_key,
    )
    fitting.full_clean(exclude=["set", "part"])
    fitting.save(force_insert=True)
    changes.append(noted_fitting(fitting))
    trail.note_all(changes, by=by, at=at)
    return fitting


def planned(*, set_item: Item, part: Item, on: date) -> Plan:
    """Return what fitting a part on a day would do, without writing anything.

    Raises DoesNotFit, NoPlace or FittingRefused where it can't be done. What is not
    stated stands in the plan.
    """
    plan = plan_of(set_item, part)
    _check_days(set_item, part, plan, on)
    if refused := plan.of(Word.REFUSED):
        raise DoesNotFit(refused)
    return plan


@transaction.atomic
def remove_part(
    *, fitting: Fitting, on: date, by: User | None, at: datetime, entry_key: str, note: str = ""
) -> Fitting:
    """Take a part out of its set and return the closed fitting.

    on: the day it is done; the day it was fitted says that it was fitted by mistake.
    entry_key: the form's key; a form that comes in twice takes out once.
    Raises FittingRefused where it is out already or the day can't be.
    """
    lock([fitting.set_id, fitting.part_id])
    fitting = Fitting.objects.select_related("set", "part__type").get(pk=fitting.pk)
    if fitting.removed_on is not None:
        if fitting.removal_key == entry_key:
            return fitting
        raise FittingRefused(
            f"{fitting.part.tag} was taken out of {fitting.set.tag} on "
            f"{day_words(fitting.removed_on)} "
            f"already, by {fitting.removed_by}."
        )
    if on < fitting.fitted_on:
        raise FittingRefused(
            f"{fitting.part.tag} was fitted on {day_words(fitting.fitted_on)}; it can't come "
            f"out on {day_words(on)}."
        )
    change = close_row(fitting, on=on, by=by, at=at, key=entry_key, why=note.strip())
    trail.note_all([change], by=by, at=at)
    return fitting


def lock(item_ids: Sequence[int]) -> None:
    """Lock items' rows, always in one order; SQLite has one writer at a time."""
    if connection.features.has_select_for_update:
        rows = Item.objects.select_for_update().filter(pk__in=item_ids).order_by("pk")
        list(rows.values_list("pk"))


def _as_they_are(item: Item) -> Item:
    """Return an item as it stands now that it is locked."""
    return Item.objects.select_related("type", "site").get(pk=item.pk)


def noted_fitting(fitting: Fitting) -> trail.Noted:
    """Return the trail's note of a fitting. Its set and part must be loaded."""
    after = {"part": fitting.part.tag, "fitted_on": fitting.fitted_on.isoformat()}
    if fitting.confirmed:
        after["confirmed"] = " ".join(fitting.confirmed)
    if fitting.removed_on:
        after["removed_on"] = fitting.removed_on.isoformat()
    return trail.Noted("fitting", f"{fitting.set.tag} {fitting.place}", None, after, fitting.note)


def close_row(
    fitting: Fitting, *, on: date, by: User | None, at: datetime, key: str, why: str
) -> trail.Noted:
    """Close an open fitting in the caller's transaction and return the trail's note of it."""
    fitting.removed_on, fitting.removed_at, fitting.removed_by = on, at, trail.called(by)
    fitting.removal_note, fitting.removal_key = why, key[:64]
    fitting.save(
        update_fields=["removed_on", "removed_at", "removed_by", "removal_note", "removal_key"]
    )
    before = {"part": fitting.part.tag, "fitted_on": fitting.fitted_on.isoformat()}
    after = {**before, "removed_on": on.isoformat()}
    return trail.Noted("fitting", f"{fitting.set.tag} {fitting.place}", before, after, why)


def _check_days(set_item: Item, part: Item, plan: Plan, on: date) -> None:
    """Refuse what can't have happened, in words, before the database does."""
    if set_item.type.kind != Kind.SET:
        raise FittingRefused(f"{set_item.tag} is no set; scan the set first.")
    running = Fitting.objects.open().filter(part=part).select_related("set").first()
    if running is not None:
        raise FittingRefused(
            f"{part.tag} is in {running.set.tag} since {day_words(running.fitted_on)}. Take it out "
            "there first."
        )
    if part.made_on and on < part.made_on:
        raise FittingRefused(
            f"{part.tag} was made on {day_words(part.made_on)}; it can't be in on {day_words(on)}."
        )
    if plan.occupant is not None and on < plan.occupant.fitted_on:
        raise FittingRefused(
            f"{plan.occupant.part.tag} went in on {day_words(plan.occupant.fitted_on)}; {part.tag} "
            f"can't take its place on {day_words(on)}."
        )
    for rows, what in (
        (Fitting.objects.filter(part=part), part.tag),
        (set_item.fittings.filter(place=plan.place), f"The {plan.place} of {set_item.tag}"),
    ):
        taken = rows.filter(removed_on__gt=on).order_by("-removed_on")
        if until := taken.values_list("removed_on", flat=True).first():
            raise FittingRefused(
                f"{what} was taken until {day_words(until)}; {part.tag} can't go in on "
                f"{day_words(on)}."
            )
