"""The one part that draws a table by hand: heads, rows, cells, and how they stack on a phone.

    {% table "Cylinders" "list" %}
    <caption>...</caption>
    {% heads "Tag" "Tested:date" "Take out:hidden" %}
    {% for each in rows %}
      {% row %}{% cell %}{{ each.tag }}{% cell %}{{ each.tested_on }}{% cell "fail" %}no{% endrow %}
    {% empty %}{% across "Nothing yet." %}
    {% endfor %}
    {% endtable %}

A head may say of its column what it holds, behind a colon: `date`, `num`, `id`, or `hidden`, where
the head is read out and not seen; behind one more, its other name, shorter or in full. A list of
heads may stand among them. A cell is named by the head of its column: where the screen is narrow,
rows are stacked and that name stands before it. The first cell of a row heads the others, and is
read out with them. Lists that can be sorted are django_tables2's: `heads` takes such a table whole,
and `parts/table.html` draws its rows by the same tags.
"""

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Any, cast

from django import template
from django.template import Context, Template
from django.utils.html import format_html, format_html_join, strip_tags
from django.utils.safestring import SafeString

register = template.Library()
_COLUMNS = "columns_of_table"
_HIDDEN = "hidden"
_BEFORE_END = re.compile(r"\s+(?=</t[dh]>)")


@dataclass(frozen=True, slots=True)
class Column:
    """A column of a table. holds: date, num, id, hidden, or nothing. other: its cells' label.

    sorts: the column as django_tables2 has it, where the list can be sorted.
    """

    name: str
    holds: str = ""
    other: str = ""
    sorts: Any = None

    @classmethod
    def of(cls, head: str) -> "Column":
        """Read a head, what its column holds, and its other name, with colons between them."""
        return cls(*str(head).split(":"))

    @classmethod
    def all_of(cls, named: Iterable[Any]) -> "Iterator[Column]":
        """Yield the columns of heads, of lists of heads, and of a whole table of django_tables2."""
        for each in named:
            if isinstance(each, str):
                yield cls.of(each)
            elif hasattr(each, "columns"):
                for column in each.columns:
                    yield cls(strip_tags(str(column.header)), sorts=column)
            else:
                yield from cls.all_of(each)

    @property
    def label(self) -> str:
        """What stands before the cell where no heads are seen."""
        return "" if self.holds == _HIDDEN else self.other or self.name

    @property
    def styled(self) -> str:
        """The class of its cells."""
        return "" if self.holds == _HIDDEN else self.holds


class Columns:
    """The columns of the table that is being drawn, the cell that comes next, and what ends it."""

    def __init__(self, heads: Iterable[Any]) -> None:
        self.all = list(Column.all_of(heads))
        self.begin_row()
        self.ends = SafeString("</tbody>")

    def begin_row(self) -> None:
        """Go back to the first column."""
        self.at = 0
        self.cell_ends = SafeString("")

    def take(self, span: int) -> Column:
        """Return the column of the next cell, which goes over so many."""
        column = self.all[self.at]
        self.at += span
        return column


@register.simple_block_tag(takes_context=True)
def table(context: Context, content: str, label: str, styled: str = "") -> SafeString:
    """Write a table into a region of its own that scrolls where it is too wide.

    label: what the region is called. styled: classes.
    """
    return format_html(
        '<div class="scroll" role="region" tabindex="0" aria-label="{}">'
        '<table{} role="table">{}{}</table></div>',
        label,
        _styled(styled.strip()),
        content,
        context[_COLUMNS].ends,
    )


@register.simple_tag(takes_context=True)
def heads(
    context: Context, *named: Any, printed: str = "", count: int = 0, page: Any = None
) -> SafeString:
    """Write the heads of a table and begin its rows.

    printed: what the list is called in the line over it on paper; count: its rows; page: of a
    paginator, where these are not all.
    """
    columns = context[_COLUMNS] = Columns(named)
    over = SafeString("")
    if printed:
        over = format_html(
            '<tr role="row" class="printed"><th role="columnheader" colspan="{}">{}</th></tr>',
            len(columns.all),
            _part(context, "parts/printed.html", what=printed, count=count, page=page),
        )
    cells = format_html_join("", "{}", ((_head(context, each),) for each in columns.all))
    return format_html(
        '<thead role="rowgroup">{}<tr role="row">{}</tr></thead><tbody role="rowgroup">',
        over,
        cells,
    )


@register.simple_block_tag(takes_context=True)
def row(
    context: Context,
    content: str,
    styled: str = "",
    called: str = "",
    *,
    number: int | None = None,
    current: int | None = None,
) -> SafeString:
    """Write a row of cells. styled: its classes; called: its name in the address.

    number: of the thing it is about; where that is the current one, it is said.
    """
    columns: Columns = context[_COLUMNS]
    named = format_html(' id="{}"', called) if called else ""
    here = SafeString(' aria-current="true"' if number is not None and number == current else "")
    # An empty cell is left out where rows are stacked: no space may stand in it.
    cells = SafeString(_BEFORE_END.sub("", f"{content}{columns.cell_ends}"))
    columns.begin_row()
    return format_html('<tr role="row"{}{}{}>{}</tr>', named, _styled(styled), here, cells)


@register.simple_tag(takes_context=True)
def cell(context: Context, styled: str = "", span: int = 1) -> SafeString:
    """Begin the next cell of a row; it ends where the next one begins. span: its columns."""
    columns: Columns = context[_COLUMNS]
    ends, names_row = columns.cell_ends, columns.at == 0 and span == 1
    column = columns.take(span)
    names_row = names_row and column.holds != _HIDDEN
    columns.cell_ends = SafeString("</th>" if names_row else "</td>")
    return format_html(
        "{}<{}{}{}{}>",
        ends,
        SafeString('th scope="row" role="rowheader"' if names_row else 'td role="cell"'),
        format_html(' data-label="{}"', column.label) if span == 1 else "",
        _styled(f"{column.styled} {styled}".strip()),
        format_html(' colspan="{}"', span) if span > 1 else "",
    )


@register.simple_tag(takes_context=True)
def across(context: Context, said: str) -> SafeString:
    """Write a row that says one thing over all columns."""
    span = len(context[_COLUMNS].all)
    return format_html('<tr role="row"><td role="cell" colspan="{}">{}</td></tr>', span, said)


@register.simple_tag(takes_context=True)
def foot(context: Context) -> SafeString:
    """End the rows of a table and begin its sums."""
    context[_COLUMNS].ends = SafeString("</tfoot>")
    return SafeString('</tbody><tfoot role="rowgroup">')


def _head(context: Context, column: Column) -> SafeString:
    """Write one head; where its other name is the longer one, it says that too."""
    styled, order, name = column.styled, SafeString(""), format_html("{}", column.name)
    if column.sorts is not None:
        styled, order = column.sorts.attrs["th"].get("class", ""), _order(column.sorts)
        name = _part(context, "parts/head.html", column=column.sorts)
    elif column.holds == _HIDDEN:
        name = format_html('<span class="vh">{}</span>', name)
    elif len(column.other) > len(column.name):
        name = format_html('<abbr title="{}">{}</abbr>', column.other, name)
    return format_html(
        '<th scope="col" role="columnheader"{}{}>{}</th>', _styled(styled), order, name
    )


def _order(column: Any) -> SafeString:
    """Return by which way a list is sorted by a column, where it is."""
    if not column.is_ordered:
        return SafeString("")
    way = "descending" if column.order_by_alias.is_descending else "ascending"
    return format_html(' aria-sort="{}"', way)


def _part(context: Context, name: str, **given: Any) -> SafeString:
    part = cast(Template, context.template).engine.get_template(name)
    with context.push(**given):
        return SafeString(part.render(context).strip())


def _styled(classes: str) -> SafeString:
    return format_html(' class="{}"', classes) if classes else SafeString("")
