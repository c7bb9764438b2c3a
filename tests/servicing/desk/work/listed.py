"""Filling a register, and reading what its lists show: for the tests of lists."""

import io
import re
from datetime import date, timedelta
from typing import Any

import pypdf
from django.test import Client

from registry.lists.pure.register import read_register
from registry.sites.clock import today_at
from registry.sites.models import Site
from servicing.due.actions.register import import_register
from servicing.due.pure.obligations import State
from servicing.due.pure.sheet import DueRow
from servicing.due.queries.rows import DueQuestion
from tests.registry.lists.making import HEAD

HEADER = f"{HEAD},construction"
Key = tuple[str, str, date | None]


def fill(site: Site, numbers: range, at: tuple[str, ...] = ("ST1", "ST1", "VAL")) -> None:
    """Register items of five kinds, of every age, every seventh without any date."""
    kinds = ("mask", "demand-valve", "reducer", "frame", "cylinder")
    rows = [HEADER]
    today = today_at(site)
    for n in numbers:
        kind = kinds[n % 5]
        made = today - timedelta(days=97 * n + 20)
        days = ",," if n % 7 == 6 else f",{made},{made + timedelta(days=10)}"
        place = at[n % len(at)]
        built = "type-1" if kind == "cylinder" else ""
        rows.append(f"N-{n:03},{kind},Maker {n % 4},Model {n % 6},S{n:03}{days},{place},{built}")
    places = dict.fromkeys(at, today)
    items, problems = read_register(
        "list.csv", "\n".join(rows).encode(), sites=places, registered={}
    )
    assert problems == []
    import_register(items)


def keys(rows: list[DueRow]) -> list[Key]:
    return [(row.tag, row.task, row.due_on) for row in rows]


def shown(answer: Any) -> list[Key]:
    """Return the obligations on a page of the list, in its order."""
    records = [row.record for row in answer.context["table"].paginated_rows]
    return [(record.tag, record.task, record.due_on) for record in records]


def all_shown(client: Client, query: str = "") -> tuple[list[Key], str]:
    """Return the obligations on all pages of the list, and how many it says there are."""
    first = client.get(f"/due/?{query}")
    assert first.status_code == 200
    pages = first.context["table"].paginator.num_pages
    more = (client.get(f"/due/?{query}&page={number}") for number in range(2, pages + 1))
    return shown(first) + [key for answer in more for key in shown(answer)], count_text(first)


def count_text(answer: Any) -> str:
    found = re.search(r'<span class="count">([^<]*)</span>', answer.content.decode())
    assert found is not None
    return found[1]


def questions(station: Site) -> dict[str, DueQuestion]:
    """Return questions by the query that asks them."""
    today = today_at(station)
    near, far = today - timedelta(days=100), today + timedelta(days=200)
    valley = station.parent
    return {
        "site=ST1": DueQuestion(site=station),
        "site=VAL": DueQuestion(site=valley),
        "kind=mask": DueQuestion(kind="mask"),
        "task=tightness-test": DueQuestion(task="tightness-test"),
        **{f"state={state}": DueQuestion(state=state) for state in State},
        f"since={near}": DueQuestion(since=near),
        f"until={far}": DueQuestion(until=far),
        f"since={near}&until={far}": DueQuestion(since=near, until=far),
        "site=ST1&kind=mask&state=overdue": DueQuestion(site=station, kind="mask", state="overdue"),
        "kind=compressor": DueQuestion(kind="compressor"),
    }


def items_shown(client: Client, query: str = "") -> tuple[list[str], str]:
    answer = client.get(f"/items/?{query}")
    assert answer.status_code == 200
    tags = [row.record.tag for row in answer.context["table"].paginated_rows]
    return tags, count_text(answer)


def printed(answer: Any) -> str:
    assert answer["Content-Type"] == "application/pdf"
    pages = pypdf.PdfReader(io.BytesIO(answer.content)).pages
    return "\n".join(page.extract_text() for page in pages)
