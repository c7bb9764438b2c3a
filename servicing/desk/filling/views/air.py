"""How long a cylinder lasts."""

from typing import Any

from django.http import HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from registry.people.queries import PersonRequest
from servicing.desk.filling.forms import AirForm, WaterForm
from servicing.desk.parts.views.pages import EVERYONE
from servicing.filling.pure.moisture import frost_point_c, water_ppm_by_volume
from servicing.filling.pure.settling import SETTLED_C, settled_bar


@EVERYONE
@require_safe
def air_page(request: PersonRequest) -> HttpResponse:
    """Show what a cylinder holds and how long it lasts, real gas beside the ideal figure."""
    given = request.GET if "capacity" in request.GET else None
    form = AirForm({**_defaults(), **given.dict()}) if given is not None else AirForm()
    sheet = form.sheet() if form.is_valid() else None
    wet = WaterForm(request.GET if "water" in request.GET else None)
    context: dict[str, Any] = {"form": form, "sheet": sheet, "wet": wet, "section": "filling"}
    if wet.is_valid():
        water = float(wet.cleaned_data["water"])
        context["dew"] = (water, frost_point_c(water), water_ppm_by_volume(water))
    if sheet:
        context["settled"] = settled_bar(sheet.charge.gauge_bar, sheet.charge.at_c)
        context["litres"] = f"{sheet.charge.water_capacity_l:g}"
        context["settled_c"] = SETTLED_C
        # Rounded down: nobody is promised a minute that isn't there.
        context["whole"] = (int(sheet.lasting.to_warning_min), int(sheet.lasting.to_empty_min))
    return render(
        request, "desk/filling/air.html", context, status=422 if form.errors or wet.errors else 200
    )


def _defaults() -> dict[str, str]:
    """Return what counts where a link leaves a field out."""
    fields = AirForm.base_fields
    return {name: f"{f.initial:g}" for name, f in fields.items() if f.initial is not None}
