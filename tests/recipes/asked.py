"""What a person sees of the grown register, as JSON: run by `manage.py shell` there."""

import io
import json
from datetime import date, timedelta

from django.contrib.auth.models import User
from django.core.management import call_command
from django.test import Client

from registry.items.models import Item, ItemVersion
from registry.people.actions import add_person
from registry.people.pure import Role
from registry.sites.models import Site
from servicing.bench.queries.procedures import procedures_for
from servicing.papers.models import Paper

add_person(
    username="tekla",
    full_name="Tekla Vorn",
    role=Role.TECHNICIAN,
    site=Site.objects.get(code="LAMPS"),
    password="a lamp in the dark",
)
client = Client(SERVER_NAME="localhost")
client.force_login(User.objects.get(username="tekla"))
lamp, old = Item.objects.get(tag="L-1"), Item.objects.get(tag="OLD-1")
*_, painted = ItemVersion.objects.filter(item=old)


def explained(tag: str, **moment: object) -> str:
    out = io.StringIO()
    call_command("explain", tag, on=date(2024, 6, 1), stdout=out, **moment)
    return out.getvalue()


print(  # noqa: T201
    json.dumps(
        {
            "page": client.get(lamp.get_absolute_url()).content.decode(),
            "paper": client.get(f"/papers/items/{lamp.pk}/label.pdf").headers["Content-Type"],
            "papers": sorted(Paper.objects.values_list("kind", flat=True)),
            "procedures": [v.procedure_id for v in procedures_for(lamp, "periodic-inspection")],
            "lamp": explained("L-1"),
            "now": explained("OLD-1"),
            "before": explained("OLD-1", known_by=painted.known_from - timedelta(microseconds=1)),
        }
    )
)
