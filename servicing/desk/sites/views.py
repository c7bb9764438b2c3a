"""Sites and what they have adopted."""

from collections import Counter

from django.core.exceptions import ValidationError
from django.db.models import Count
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.views.decorators.http import require_safe

from registry.people.queries import PersonRequest
from registry.sites.models import Site
from registry.sites.queries import in_tree_order, with_sites_above
from servicing.desk.parts.views.checked import CheckedForm
from servicing.desk.parts.views.pages import EVERYONE, MAY_MANAGE
from servicing.desk.sites.forms import SiteForm
from servicing.due.actions.register import ReasonMissing, save_site
from servicing.rules.queries import adopted_now


@EVERYONE
@require_safe
def site_list(request: PersonRequest) -> HttpResponse:
    """Show the tree of sites with what each holds and follows."""
    counts = dict(Site.objects.annotate(n=Count("items")).values_list("pk", "n"))
    adopted: dict[int, list[str]] = {}
    for site_id, name in adopted_now():
        adopted.setdefault(site_id, []).append(name)
    below: Counter[int] = Counter()
    for site_id, chain in with_sites_above().items():
        for each in chain:
            below[each] += counts[site_id]
    rows = []
    following: set[int | None] = set()
    for depth, site in in_tree_order():
        tables = adopted.get(site.pk, [])
        if tables or site.parent_id in following:
            following.add(site.pk)
        row = {"site": site, "depth": depth, "items": counts[site.pk], "tables": tables}
        row["below"] = below[site.pk]
        rows.append({**row, "follows": site.pk in following})
    return render(
        request, "desk/sites/site_list.html", {"rows": rows, "all_items": sum(counts.values())}
    )


@MAY_MANAGE
def site_add(request: PersonRequest) -> HttpResponse:
    """Add a site."""
    return _save(
        request, SiteForm(request.POST or None, site=None, initial={"timezone": "UTC"}), Site()
    )


@MAY_MANAGE
def site_edit(request: PersonRequest, pk: int) -> HttpResponse:
    """Change a site; due dates follow what it adopts."""
    site = get_object_or_404(Site, pk=pk)
    initial = {
        "code": site.code,
        "name": site.name,
        "parent": site.parent,
        "timezone": site.timezone,
        "units": site.units,
        "least_ready": site.least_ready,
        "tables": [name for site_id, name in adopted_now() if site_id == site.pk],
    }
    return _save(request, SiteForm(request.POST or None, site=site, initial=initial), site)


def _save(request: PersonRequest, form: SiteForm, site: Site) -> HttpResponse:
    refused = (ReasonMissing, ValidationError)
    checked = CheckedForm(request, form, refused=refused, at_once=True, signed=False)

    def enter() -> str:
        data = form.cleaned_data
        site.code, site.name = data["code"], data["name"]
        site.parent, site.timezone = data["parent"], data["timezone"]
        site.units, site.least_ready = data["units"], data["least_ready"]
        tables = [table.name for table in data["tables"]]
        save_site(site, tables=tables, user=request.user, why=data.get("why", ""))
        return reverse("site-list")

    if (led := checked.entered(enter)) is not None:
        return led
    return checked.page("desk/sites/site_form.html", {"site": site, "section": "sites"})
