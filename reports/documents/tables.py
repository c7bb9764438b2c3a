"""What the register of papers shows."""

from collections.abc import Iterable

import django_tables2 as tables
from django.http import HttpRequest
from django.utils.html import format_html
from django.utils.safestring import SafeString

from servicing.desk.parts.tables import DATE, ID, WordColumn
from servicing.papers.models import Paper
from servicing.papers.queries import PaperLine, paper_lines


class PaperTable(tables.Table):
    """Papers that were made, the newest first; what became of them is asked for one page."""

    counted = ("paper", "papers")
    caption = "Papers"

    number = tables.Column("Number", attrs=ID)
    kind = WordColumn("Paper")
    about = tables.Column("Of", empty_values=(), orderable=False, attrs=ID)
    on = tables.DateColumn(verbose_name="As of", format="j M Y", attrs=DATE)
    made_at = tables.DateTimeColumn(verbose_name="Made", format="j M Y H:i", attrs=DATE)
    made_by = tables.Column("For")
    state = tables.Column("State", empty_values=(), orderable=False)

    class Meta:
        empty_text = "No paper falls under this sentence."

    def before_render(self, request: HttpRequest) -> None:
        """Ask what became of the papers of this page, all at once."""
        self.told = {each.paper.pk: each for each in paper_lines(self._on_this_page())}

    def _on_this_page(self) -> Iterable[Paper]:
        return [row.record for row in self.paginated_rows]

    def render_about(self, record: Paper) -> SafeString:
        about = record.consignment or record.item
        assert about is not None  # noqa: S101 (held by the database: paper_is_about_one_thing)
        return format_html('<a href="{}">{}</a>', about.get_absolute_url(), record.about)

    def render_state(self, record: Paper) -> SafeString | str:
        told: PaperLine = self.told[record.pk]
        if not told.why:
            return "stands"
        by = f". Replaced by {told.replaced_by}" if told.replaced_by else ""
        return format_html("<strong>superseded</strong>: {}{}", "; ".join(told.why), by)
