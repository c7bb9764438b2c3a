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
the head is read out and not seen; behind one more, a shorter name. A cell is named by the head of
its column: where the screen is narrow, rows are stacked and that name stands before it. Lists that
can be sorted are django_tables2's and drawn by `parts/table.html`.
"""

import re
from dataclasses import dataclass
from typing import cast

from django import template
from django.template import Context, Template
from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString

register = template.Library()
_COLUMNS = "columns_of_table"
_HIDDEN = "hidden"
_BEFORE_END = re.compile(r"\s+</td>")


@dataclass(frozen=True, slots=True)
class Column:
    """A column of a table. holds: date, num, id, hidden, or nothing. short: its cells' label."""

    name: str
    holds: str = ""
    short: str = ""

    @classmethod
    def of(cls, head: str) -> "Column":
        """Read a head, what its column holds, and a shorter label, with colons between them."""
        return cls(*str(head).split(":"))

    @property
    def label(self) -> str:
        """What stands before the cell where no heads are seen."""
        return "" if self.holds == _HIDDEN else self.short or self.name

    @property
    def styled(self) -> str:
        """The class of its cells."""
        return "" if self.holds == _HIDDEN else self.holds


class Columns:
    """The columns of the table that is being drawn, the cell that comes next, and what ends it."""

    def __init__(self, heads: tuple[str, ...]) -> None:
        self.all = [Column.of(head) for head in heads]
        self.at = 0
        self.ends = SafeString("</tbody>")

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
        _styled(styled),
        content,
        context[_COLUMNS].ends,
    )


@register.simple_tag(takes_context=True)
def heads(context: Context, *named: str, printed: str = "", count: int = 0) -> SafeString:
    """Write the heads of a table and begin its rows.

    printed: what the list is called in the line over it on paper; count: its rows.
    """
    columns = context[_COLUMNS] = Columns(named)
    over = SafeString("")
    if printed:
        part = cast(Template, context.template).engine.get_template("parts/printed.html")
        with context.push(what=printed, count=count, columns=len(named)):
            over = part.render(context)
    cells = format_html_join(
        "",
        '<th scope="col" role="columnheader"{}>{}</th>',
        ((_styled(each.styled), _head(each)) for each in columns.all),
    )
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
    context[_COLUMNS].at = 0
    named = format_html(' id="{}"', called) if called else ""
    here = SafeString(' aria-current="true"' if number is not None and number == current else "")
    # An empty cell is left out where rows are stacked: no space may stand in it.
    cells = SafeString(_BEFORE_END.sub("</td>", f"{content}</td>"))
    return format_html('<tr role="row"{}{}{}>{}</tr>', named, _styled(styled), here, cells)


@register.simple_tag(takes_context=True)
def cell(context: Context, styled: str = "", span: int = 1) -> SafeString:
    """Begin the next cell of a row; it ends where the next one begins. span: its columns."""
    columns: Columns = context[_COLUMNS]
    ends = SafeString("</td>" if columns.at else "")
    column = columns.take(span)
    return format_html(
        '{}<td role="cell"{}{}{}>',
        ends,
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


def _head(column: Column) -> SafeString:
    hidden = column.holds == _HIDDEN
    return format_html('<span class="vh">{}</span>' if hidden else "{}", column.name)


def _styled(classes: str) -> SafeString:
    return format_html(' class="{}"', classes) if classes else SafeString("")
