"""The list of sets."""

import django_tables2 as tables
from django.template.loader import render_to_string
from django.utils.safestring import SafeString
from django_tables2.utils import A

from registry.sites.clock import today_in
from servicing.desk.parts.tables import DATE, ID, NUMBER, stamp
from servicing.due.queries.sets import SetRow


class SetTable(tables.Table):
    """Sets with whether each is ready today, and why not."""

    counted = ("set", "sets")
    caption = "Sets"

    tag = tables.Column("Tag", accessor="item__tag", attrs=ID, linkify=("item", [A("item__pk")]))
    site = tables.Column("Site", accessor="item__site__code", attrs=ID)
    state = tables.Column("State", accessor="readiness__state")
    reason = tables.Column("Why", accessor="readiness__sentence", orderable=False)
    parts = tables.Column("Parts", attrs=NUMBER)
    first = tables.Column("Due", attrs=DATE, empty_values=(), orderable=False)

    class Meta:
        empty_text = "No set falls under this sentence."

    def render_state(self, value: str) -> SafeString:
        return render_to_string("parts/state.html", {"state": value})

    def render_first(self, record: SetRow) -> SafeString | str:
        if record.first is None:
            return "nothing asked"
        today = today_in(record.item.site.timezone)
        return stamp(record.first.due_on, record.first.state(today))
