"""What these pages share: a consignment and its rows, and what is said beside a test."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING, Any

from django.forms import Form
from django.shortcuts import get_object_or_404

from registry.items.models import Item
from registry.people.queries import PersonRequest, Viewer, viewer_of
from servicing.away.models import Consigned, Consignment
from servicing.desk.parts.views.checked import CheckedForm
from servicing.desk.parts.views.pages import MOST_PAPERS
from servicing.desk.retests.forms.consignments import TagsForm
from servicing.desk.retests.pure import RowActs, acts_of_consignment, acts_of_cylinder
from servicing.due.pure.turnout import Shortfall
from servicing.hydrostatic import queries as retests
from servicing.hydrostatic.actions.consignments import ConsignmentRefused, turnout_when_gone
from servicing.hydrostatic.models import Result
from servicing.hydrostatic.pure.amounts import HydroProblem
from servicing.hydrostatic.pure.house import asked_pressure, least_pressure
from servicing.hydrostatic.pure.verdict import Word, pre_check_pressure
from servicing.ledger.queries.records import condemned_days
from servicing.papers.queries import paper_lines, papers_about

if TYPE_CHECKING:
    from servicing.ledger.models import Record


def asked_of(item: Item) -> dict[str, Any]:
    """Return what the form says before anything is typed: the pressures and the limit."""
    try:
        known = retests.known_of([item])[item.pk]
        table = retests.limits()
        return {
            "asked": asked_pressure(known, table),
            "before_at_most": pre_check_pressure(least_pressure(known, table)),
            "limit_row": table.acceptance(item.specification),
        }
    except HydroProblem as problem:
        return {"asked_problem": str(problem)}


def consignment_or_404(pk: int) -> Consignment:
    """Return a consignment with the site it leaves from, else 404."""
    return get_object_or_404(Consignment.objects.select_related("from_site"), pk=pk)


def at_once(request: PersonRequest, form: Form) -> CheckedForm:
    """Return a form that is entered as it comes, unsigned, and may be refused."""
    return CheckedForm(request, form, refused=(ConsignmentRefused,), at_once=True, signed=False)


def turnout_packed(consignment: Consignment) -> Shortfall:
    """Return what a consignment would take from the stations if it left today as it is packed."""
    try:
        return Shortfall() if consignment.sent_on else turnout_when_gone((), consignment)
    except ConsignmentRefused:  # nothing is in it
        return Shortfall()


def consignment_shown(
    request: PersonRequest, consignment: Consignment, form: TagsForm
) -> dict[str, Any]:
    """Return what the page of a consignment shows. form: of the tags that go into it."""
    viewer = viewer_of(request.user)
    rows = retests.cylinders_of(consignment)
    by_row = retests.results_of(rows)
    results = list(by_row.values())
    decided = retests.answered_by(results)
    still_open = [each for each in results if each.open_question and each.pk not in decided]
    disputed = sum(result.disagrees for result in still_open)
    condemned = condemned_days()
    waiting = sum(row.pk not in by_row and row.item.tag not in condemned for row in rows)
    acts = acts_of_consignment(
        consignment.pk,
        packed=consignment.sent_on is None,
        away=consignment.sent_on is not None and consignment.back_on is None,
        waiting=waiting > 0,
        may_record=viewer.may_record,
    )
    shown = {
        "consignment": consignment,
        "acts": acts,
        "rows": [
            CylinderRow.of(row, by_row.get(row.pk), decided, condemned, viewer) for row in rows
        ],
        "form": form,
        "turnout": turnout_packed(consignment),
        "papers": paper_lines(papers_about(consignment)[:MOST_PAPERS]),
        "to_settle": len(still_open),
        "disputed": disputed,
        "to_confirm": len(still_open) - disputed,
        "failed": sum(result.counts_as != Word.PASS for result in results),
        "waiting": waiting,
    }
    return in_section(shown)


@dataclass(frozen=True, slots=True)
class CylinderRow:
    """A cylinder as its row shows it: result, what decided it, when it was condemned, what to do.

    decided: the record that answered its result's open question. condemned_on: where it has no
    result and none is awaited.
    """

    row: Consigned
    result: Result | None
    decided: "Record | None"
    condemned_on: date | None
    acts: RowActs

    @classmethod
    def of(
        cls,
        row: Consigned,
        result: Result | None,
        decided: Mapping[int, "Record"],
        condemned: Mapping[str, date],
        viewer: Viewer,
    ) -> "CylinderRow":
        """Return a cylinder's row. decided: by result; condemned: by tag."""
        consignment = row.consignment
        by = decided.get(result.pk) if result else None
        condemned_on = None if result else condemned.get(row.item.tag)
        waits = result is not None and result.open_question and by is None
        acts = acts_of_cylinder(
            row.pk,
            row.item.tag,
            packed=consignment.sent_on is None,
            away=consignment.sent_on is not None and consignment.back_on is None,
            here=row.back_on is not None,
            awaited=result is None and condemned_on is None,
            to_settle=result.pk if result and waits else None,
            disputed=result is not None and result.disagrees,
            may_record=viewer.may_record,
            may_manage=viewer.may_manage,
        )
        return cls(row, result, by, condemned_on, acts)


def in_section(context: dict[str, Any]) -> dict[str, Any]:
    """Return what a page of this section shows, with the caution of the limits."""
    return {**context, "section": "retests", "cautions": [retests.limits().caution]}
