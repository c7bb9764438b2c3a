"""What lists show."""

from collections.abc import Callable, Mapping, Sequence
from datetime import date
from typing import Any

import django_tables2 as tables
from django.http import HttpRequest
from django.template.loader import render_to_string
from django.utils.safestring import SafeString
from django_tables2.rows import BoundRows

from servicing.away.pure import Away
from servicing.desk.parts.tables.paging import Pages

DATE = {"cell": {"class": "date"}}
ID = {"cell": {"class": "id"}}
NUMBER = {"cell": {"class": "num"}}
PAGE, PRINTED = 50, 1000
"""How many rows a page has: to be read, and to be printed."""


def arranged(
    table: tables.Table,
    request: HttpRequest,
    sentence: str = "",
    *,
    shown: Callable[[Sequence[Any]], Sequence[Any]] | None = None,
) -> tables.Table:
    """Return the table in the order and on the page that the address asks for.

    The length of a page is ours to say: PAGE, or PRINTED where it is asked for to be
    printed. A page that isn't there is the last one. sentence: what the list is asked for, in
    words; it stands over the list on each sheet of a print. shown: what the rows of the page
    become, where only for those it is worth reckoning.
    """
    table.request = request
    table.sentence = sentence
    sorted_by(table, request)
    table.to_print = "print" in request.GET
    rows = PRINTED if table.to_print else PAGE
    table.paginator = Pages(table.rows, rows, exactly="count" in request.GET)
    table.page = table.paginator.asked(request.GET, table.prefixed_page_field)
    if shown is not None:
        records = [row.record for row in table.page.object_list]
        table.page.object_list = BoundRows(data=shown(records), table=table)
    return table


def sorted_by(table: tables.Table, request: HttpRequest) -> tables.Table:
    """Return the table in the order that the address asks for."""
    if sort := request.GET.getlist(table.prefixed_order_by_field):
        table.order_by = sort
    return table


def stamp(due_on: date | None, word: str | None, note: str = "") -> SafeString:
    """Return the date stamp as a table shows it, with a line under it where something is said."""
    return render_to_string("parts/stamp.html", {"due_on": due_on, "state": word, "note": note})


class WordColumn(tables.Column):
    """A word of the trade with its hyphens as spaces."""

    def render(self, value: str) -> str:
        return value.replace("-", " ")


class AwayTable(tables.Table):
    """Rows of items, of which some are at a test house. away: those, by item id."""

    def __init__(self, data: Any, away: Mapping[int, Away] | None = None) -> None:
        self.away = away or {}
        super().__init__(data)

    def where(self, item_id: int, site: str) -> str:
        """Return the code of an item's site, and the consignment that it is away in."""
        gone = self.away.get(item_id)
        return f"{site}; away: {gone.number}" if gone else site
