"""What the trail shows."""

from typing import Any

import django_tables2 as tables
from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString

from registry.trail.models import TrailEntry
from registry.trail.pure import name_of
from servicing.desk.parts.tables import DATE, ID, WordColumn
from servicing.oversight.pure import FieldChange, field_changes, for_eyes

TOLD = {"cell": {"class": "told"}}
WIDE = {"cell": {"class": "told wide"}}


class TrailTable(tables.Table):
    """Changes, the latest first, each from what it was to what it is."""

    counted = ("change", "changes")
    caption = "Changes"

    number = tables.Column("Entry", attrs=ID)
    at = tables.DateTimeColumn(verbose_name="When", format="j M Y H:i", attrs=DATE)
    what = WordColumn("Kind")
    subject = tables.Column("Of what", attrs=TOLD)
    after = tables.Column("From what to what", orderable=False, empty_values=(), attrs=WIDE)
    by = tables.Column("By whom")
    why = tables.Column("Why", orderable=False, default="", attrs=TOLD)

    class Meta:
        attrs = {"class": "trail"}
        empty_text = "Nothing changed under this sentence."

    def render_by(self, value: str) -> str:
        return name_of(value)

    def render_after(self, record: TrailEntry) -> SafeString:
        rows = field_changes(record.before, record.after)
        if not record.before:
            return format_html_join("; ", "{}: {}", _new(rows))
        if not record.after:
            return format_html("ended: {}", format_html_join("; ", "{}: {}", _old(rows)))
        return format_html_join(
            "", "<div>{}: {} → <b>{}</b></div>", [_changed(row) for row in rows]
        )


def _new(rows: list[FieldChange]) -> list[tuple[Any, ...]]:
    return [(row.name, for_eyes(row.becomes)) for row in rows if row.becomes]


def _old(rows: list[FieldChange]) -> list[tuple[Any, ...]]:
    return [(row.name, for_eyes(row.was)) for row in rows if row.was]


def _changed(row: FieldChange) -> tuple[str, str, str]:
    return row.name, for_eyes(row.was) or "nothing", for_eyes(row.becomes) or "nothing"
