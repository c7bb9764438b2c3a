"""What a register still lacks, so that an empty list is never taken for a ready fleet."""

from django.conf import settings
from django.db.models import Exists, OuterRef

from registry.items.models import Item
from registry.sites.models import Site
from registry.sites.queries import with_sites_below
from servicing.due.models import DueSpan, StoredObligation
from servicing.due.pure.obligations import StandingWord
from servicing.due.queries.rows import today_q
from servicing.rules.models import Adoption, RuleTable

SHOWN = 5


def lacking(site: Site | None, *, owing: bool = False) -> list[str]:
    """Return in sentences what is missing before dates can be trusted, and what to do.

    site: whose items are looked at, with the sites below it; None for all. owing: whether
    something is known to be owed, so that there are items.
    """
    said = []
    if not Adoption.objects.filter(ended_at=None).exists():
        if RuleTable.objects.exists():
            said.append("No site follows a rule table yet. A manager chooses them under Sites.")
        else:
            said.append(f"No rule table is loaded. Run {settings.PROGRAM} load_rules.")
    if tags := _unasked(site):
        more = f" and {len(tags) - SHOWN} more" if len(tags) > SHOWN else ""
        said.append(
            f"No rule asks anything of {', '.join(tags[:SHOWN])}{more}: not known to be ready. "
            "Check the rule tables their site follows."
        )
    elif not owing and not Item.objects.exists():
        bring_in = f"{settings.PROGRAM} import_register"
        said.append(f"No item is registered yet. Register one, or run {bring_in}.")
    return said


def _unasked(site: Site | None) -> list[str]:
    """Return the tags of items that may be used but owe nothing by any rule today."""
    today = today_q()
    asked = StoredObligation.objects.filter(today, item=OuterRef("pk"))
    spans = DueSpan.objects.filter(today, item=OuterRef("pk"))
    held = spans.exclude(standing=StandingWord.IN_SERVICE)
    items = Item.objects.filter(~Exists(asked), ~Exists(held))
    if site is not None:
        items = items.filter(site_id__in=with_sites_below(site))
    return list(items.order_by("tag").values_list("tag", flat=True))
