"""Reading consignments, and turning the register's rows into what is judged."""

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from functools import lru_cache
from typing import TYPE_CHECKING

from django.conf import settings
from django.db.models import Count, F

from registry.items.models import Item
from registry.items.pure import Kind
from registry.items.queries import Meant, named_by
from registry.sites.clock import today_at
from registry.sites.models import Site
from registry.sites.queries import with_sites_above
from servicing.away.models import Consigned, Consignment
from servicing.due.pure import history
from servicing.due.pure.obligations import StandingWord
from servicing.due.queries.instruments import CALIBRATED_CYLINDER, Calibration, calibration_of
from servicing.due.queries.rows import standings_today
from servicing.hydrostatic.models import Result
from servicing.hydrostatic.pure.amounts import HydroProblem, Pressure, figure_text
from servicing.hydrostatic.pure.content import Facts
from servicing.hydrostatic.pure.house import Known, asked_pressure
from servicing.hydrostatic.pure.limits import Limits, read_limits
from servicing.hydrostatic.pure.listed import ListedCylinder
from servicing.hydrostatic.pure.results import Sent
from servicing.hydrostatic.pure.suffixes import Suffix, suffixes
from servicing.ledger.pure.entry import CONDEMNED
from servicing.ledger.queries import records
from servicing.rules.pure.tasks import RETEST

if TYPE_CHECKING:
    from servicing.ledger.models import Record


def calibrated_cylinder(text: str, on: date) -> Calibration | None:
    """Return the calibrated cylinder of the day's check, as its calibration stood on a day.

    text: its tag or serial. None where the register knows no instrument by it: then only the
    text is kept, as it is for one that is borrowed. One out of calibration is not refused, for
    its certificate names no end (49 CFR 180.205(g)(4)), but `words` says so. Raises HydroProblem
    where it is another thing, or was out of service.
    """
    item = named_by(text).item if text else None
    if item is None or item.kind == Kind.CYLINDER:
        return None
    found = calibration_of(item, on)
    why = "" if found.in_service and item.kind == Kind.INSTRUMENT else found.refusal
    if why := why or found.not_serving(CALIBRATED_CYLINDER):
        raise HydroProblem(
            f"Calibrated cylinder: {why}. Check the rig with a calibrated cylinder, and write "
            "its serial or tag."
        )
    return found


def instruments_meant(text: str) -> list[Meant]:
    """Return the instruments that may be meant by a text that names nothing in the register."""
    return [each for each in named_by(text).meant if each.item.kind == Kind.INSTRUMENT]


@lru_cache(maxsize=1)
def limits() -> Limits:
    """Return the table of `fixtures/hydrostatic/limits.toml`, read once."""
    path = settings.BASE_DIR / "fixtures" / "hydrostatic" / "limits.toml"
    return read_limits(path.read_text("utf-8"))


def known_of(items: Iterable[Item]) -> dict[int, Known]:
    """Return what the register knows of cylinders, by item id, with the fills counted so far."""
    rows = list(items)
    facts = records.facts_by_item([item.pk for item in rows])
    fills = {pk: sum(fact[0] == "fill" for fact in found) for pk, found in facts.items()}
    ends = {pk: _end_stamped(found) for pk, found in facts.items()}
    return {item.pk: _known(item, fills.get(item.pk, 0), ends.get(item.pk)) for item in rows}


def _end_stamped(facts: Iterable[records.Facts]) -> date | None:
    """Return the last good day by the final date that was stamped last, if one was."""
    last = history.History((history.Record(*fact) for fact in facts), date.max).life_marked
    return last.life_end.last if last and last.life_end else None


def _known(item: Item, fills: int, end_stamped: date | None) -> Known:
    working, test = item.working_pressure_bar, item.test_pressure_bar
    return Known(
        specification=item.specification,
        working=None if working is None else Pressure.of(working, "bar"),
        test_pressure=None if test is None else Pressure.of(test, "bar"),
        ree_ml=item.ree_ml,
        marks=frozenset(item.marks),
        made_on=item.made_on,
        design_life_years=item.design_life_years,
        fills=fills,
        end_stamped=end_stamped,
    )


def cylinders_of(consignment: Consignment) -> list[Consigned]:
    """Return the cylinders of a consignment by tag, each with item, site and result."""
    rows = consignment.cylinders.select_related("item__type", "item__site", "result__settled_by")
    return list(rows.order_by("item__tag"))


def results_of(rows: Iterable[Consigned]) -> dict[int, Result]:
    """Return the results that have come in, by the id of the consigned row.

    A result whose record was corrected to say that it never happened is none: it may be
    entered anew.
    """
    found = {row.pk: row.result for row in rows if hasattr(row, "result")}
    lost = records.never_happened({result.consigned.item_id for result in found.values()})
    return {
        pk: result
        for pk, result in found.items()
        if (result.consigned.item_id, result.record_position) not in lost
    }


def result_of(consigned: Consigned) -> Result | None:
    """Return a cylinder's result, if it has come in and its record stands."""
    return results_of([consigned]).get(consigned.pk)


def answered_by(results: Iterable[Result]) -> dict[int, "Record"]:
    """Return the record that decided what was open of a result, by the result's id.

    A condemnation, on the item's page or by another test, decides; so does a retest that was
    entered later for the same day or a later one and waits for nobody. A correction that
    does not condemn decides nothing: it only says what was read.
    """
    found = {}
    for result in results:
        if not result.open_question:
            continue
        later = records.history_of(result.consigned.item).in_force()
        for record in later.filter(position__gt=result.record_position):
            retested = record.task == RETEST and record.done_on >= result.tested_on
            decides = retested and not record.corrects and not record.awaits_condemnation
            if decides or record.outcome == CONDEMNED:
                found[result.pk] = record
                break
    return found


def waiting_for_manager(item_ids: Iterable[int]) -> dict[int, date]:
    """Return the test day of condemnations that no manager has confirmed yet, by item id."""
    return {
        pk: record.done_on
        for pk, record in records.last_by_item(item_ids, RETEST).items()
        if record.awaits_condemnation
    }


@dataclass(frozen=True, slots=True)
class Waiting:
    """A condemnation that waits for a manager: where it is settled, if a house said it."""

    item: Item
    tested_on: date
    consignment: Consignment | None


def condemnations_waiting() -> list[Waiting]:
    """Return the condemnations that wait for a manager, by the cylinders' tags."""
    # Whatever holds it back first: it may have been withdrawn before it was tested.
    out = standings_today().filter(standing=StandingWord.OUT_OF_SERVICE)
    days = waiting_for_manager(out.values_list("item_id", flat=True))
    if not days:
        return []
    items = Item.objects.filter(pk__in=days).order_by("tag")
    rows = Result.objects.filter(consigned__item__in=days, settled_word="").select_related(
        "consigned__consignment"
    )
    said = {(row.consigned.item_id, row.tested_on): row.consigned.consignment for row in rows}
    return [Waiting(item, day := days[item.pk], said.get((item.pk, day))) for item in items]


def disputes_waiting(condemned: Iterable[Waiting]) -> list[Result]:
    """Return the results on which the house and our arithmetic disagree till a manager settles.

    condemned: what `condemnations_waiting` gives; those are left to it.
    """
    unlike = Result.objects.exclude(our_word="").exclude(our_word=F("house_word"))
    held = Consigned.objects.filter(result__in=unlike.filter(settled_word=""))
    came_in = list(held.select_related("consignment", "item", "result"))
    if not came_in:
        return []
    rows, others = results_of(came_in).values(), {row.item.pk for row in condemned}
    decided = answered_by(rows)
    found = (row for row in rows if row.open_question and row.pk not in decided)
    return [row for row in found if row.consigned.item_id not in others]


def sent_of(consignment: Consignment) -> dict[str, Sent]:
    """Return the cylinders of a consignment as results must fit them, by tag."""
    found = {}
    rows = cylinders_of(consignment)
    results = results_of(rows)
    for row in rows:
        result = results.get(row.pk)
        found[row.item.tag] = Sent(
            serial=row.item.serial,
            made_on=row.item.made_on,
            sent_on=consignment.sent_on or date.max,
            today=today_at(row.item.site),
            entered=result.said if result else None,
        )
    return found


@dataclass(frozen=True, slots=True)
class ListedConsignment:
    """A consignment in the list: how many cylinders, and how many whose result is awaited.

    Nobody waits for a result of what was condemned meanwhile.
    """

    consignment: Consignment
    many: int
    waiting: int


def consignments_listed(most: int = 200) -> list[ListedConsignment]:
    """Return the latest consignments, the newest first."""
    rows = list(Consignment.objects.select_related("from_site")[:most])
    counted = Consigned.objects.filter(consignment__in=rows).values_list("consignment_id")
    many = dict(counted.annotate(Count("pk")).order_by())
    came = Result.objects.filter(consigned__consignment__in=rows).values_list(
        "consigned__consignment_id", "consigned__item_id", "record_position"
    )
    lost = records.never_happened({item_id for _, item_id, _ in came})
    there = Counter(pk for pk, *record in came if tuple(record) not in lost)
    ended = Consigned.objects.filter(consignment__in=rows, result=None)
    ended = ended.filter(item__tag__in=records.condemned_days())
    there.update(ended.values_list("consignment_id", flat=True))
    return [
        ListedConsignment(row, many.get(row.pk, 0), many.get(row.pk, 0) - there[row.pk])
        for row in rows
    ]


def suffixes_of(item: Item, elastic_ml: Decimal | None = None) -> tuple[Suffix, ...]:
    """Return what stands of star and plus on a cylinder; see `suffixes`."""
    return suffixes(
        specification=item.specification,
        marks=item.marks,
        water_capacity_l=item.water_capacity_l,
        made_year=item.made_on.year if item.made_on else None,
        service_bar=item.working_pressure_bar,
        ree_ml=item.ree_ml,
        elastic_ml=elastic_ml,
    )


def described(item: Item) -> Facts:
    """Return what a record of a retest says of the cylinder itself."""
    capacity, tare = item.water_capacity_l, item.tare_kg
    sizes = (("L", capacity), ("kg", tare))
    pressures = (item.working_pressure_bar, item.test_pressure_bar)
    return Facts(
        serial=item.serial,
        marked_pressure=", ".join(f"{_number(value)} bar" for value in pressures if value),
        dimensions=", ".join(f"{_number(value)} {unit}" for unit, value in sizes if value),
        maker=item.maker,
        owner=_owners().get(item.site_id, ""),
    )


def listed(consignment: Consignment) -> list[ListedCylinder]:
    """Return a consignment's cylinders as they stand on the list that goes with them."""
    items = [row.item for row in cylinders_of(consignment)]
    known = known_of(items)
    last = _last_passes(items, consignment.sent_on or date.max)
    owners = _owners()
    return [
        ListedCylinder(
            tag=item.tag,
            serial=item.serial,
            maker=str(item.type),
            specification=item.specification,
            construction=" ".join(filter(None, (item.construction, item.fibre))),
            made_on=_made(item),
            water_capacity_l=_number(item.water_capacity_l),
            working_pressure_bar=_number(item.working_pressure_bar),
            asked_pressure_bar=_asked(known[item.pk]),
            ree_ml=_number(item.ree_ml),
            marks=";".join(item.marks),
            last_test_on=str(last.get(item.pk, "")),
            owner=owners.get(item.site_id, ""),
        )
        for item in items
    ]


def _made(item: Item) -> str:
    if item.made_on is None:
        return ""
    return f"{item.made_on:%Y-%m}" if item.made_to_month else item.made_on.isoformat()


def _number(value: object) -> str:
    return "" if value is None else figure_text(value, 3)  # type: ignore[arg-type]


def _asked(known: Known) -> str:
    """Return the test pressure in bar; empty where only permit or mark can tell it."""
    try:
        return figure_text(asked_pressure(known, limits()).bar, 2)
    except HydroProblem:
        return ""


def _last_passes(items: Sequence[Item], before: date) -> dict[int, date]:
    """Return the day of each cylinder's last passed retest before a day, by item id."""
    found: dict[int, date] = {}
    for pk, facts in records.facts_by_item([item.pk for item in items]).items():
        days = [done for task, done, outcome, *_ in facts if (task, outcome) == (RETEST, "pass")]
        days = [done for done in days if done < before]
        if days:
            found[pk] = max(days)
    return found


def _owners() -> dict[int, str]:
    """Return the name of the site at the top of the tree, by site id: whose the cylinders are."""
    names = dict(Site.objects.values_list("pk", "name"))
    return {site: names[chain[-1]] for site, chain in with_sites_above().items()}
