"""The due list and what is overdue of it, gathered as plain frozen values that `pure` can draw."""

from collections.abc import Sequence
from datetime import datetime
from zoneinfo import ZoneInfo

from registry.sites.clock import today_in
from registry.sites.models import Site
from reports.documents.pure.duelist import DueList
from reports.documents.pure.overdue import OverdueReport
from reports.documents.queries.numbering import as_known, paper_number
from servicing.due.pure.ahead import ASSUMPTION
from servicing.due.pure.sheet import DueRow
from servicing.due.queries.rows import DueQuestion, late_rows
from servicing.rules.queries import cautions_of


def overdue_report(
    question: DueQuestion, sentence: str, *, printed_at: datetime, printed_by: str
) -> OverdueReport:
    """Return everything overdue or undetermined on a day, as the question limits it.

    Without a day in the question it is today at the site asked for, or at the first
    site of the tree. Raises NotKnownThen where the register was empty at the moment asked
    about.
    """
    zone = _zone_of(question)
    on = question.on or today_in(zone)
    rows = late_rows(question, on)
    return OverdueReport(
        number=paper_number("OD", on, printed_at, map(_numbered, rows)),
        title="Overdue report",
        sentence=f"{sentence}, {as_known(question.known_by)}" if question.known_by else sentence,
        on=on,
        printed_at=printed_at.astimezone(ZoneInfo(zone)),
        printed_by=printed_by,
        cautions=cautions_of(row.table for row in rows),
        rows=tuple(rows),
    )


def due_list_paper(
    question: DueQuestion,
    sentence: str,
    rows: Sequence[DueRow],
    *,
    printed_at: datetime,
    printed_by: str,
) -> DueList:
    """Return the paper of a due list: the rows as the list on the screen has them."""
    zone = _zone_of(question)
    on = question.on or today_in(zone)
    return DueList(
        number=paper_number("DL", on, printed_at, map(_numbered, rows)),
        sentence=f"{sentence}, {as_known(question.known_by)}" if question.known_by else sentence,
        assumption=ASSUMPTION if question.ahead else "",
        on=on,
        printed_at=printed_at.astimezone(ZoneInfo(zone)),
        printed_by=printed_by,
        cautions=cautions_of(row.table for row in rows),
        rows=tuple(rows),
    )


def _zone_of(question: DueQuestion) -> str:
    """Return the time zone of the site asked for, or of the first site of the tree."""
    place = question.site or Site.objects.filter(parent=None).order_by("code").first()
    return place.timezone if place else "UTC"


def _numbered(row: DueRow) -> str:
    """Return what the number of a list takes of a row."""
    return " ".join((row.tag, row.task, str(row.due_on)))
