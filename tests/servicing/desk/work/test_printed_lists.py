"""What is printed from a list is that list: D36."""

import re
from dataclasses import replace
from pathlib import Path

import pypdf
import pytest
from django.contrib.auth.models import User
from django.core.management import call_command
from django.utils.html import escape

from registry.items.models import Item
from registry.sites.clock import today_at
from registry.sites.models import Site
from servicing.due.pure.obligations import State
from servicing.due.queries.rows import DueQuestion, due_rows
from servicing.rules.pure.durations import add_months
from tests.people import signed_in
from tests.servicing.desk.work.listed import printed, questions

PAPERS = (
    "",
    "site=ST1",
    "kind=mask",
    "state=due-soon",
    "state=overdue&sort=-tag",
    "site=VAL&alone=yes",
    "ahead=yes&until={soon}&kind=mask",
    "since={soon}",
    "on={soon}",
)


@pytest.mark.parametrize("query", PAPERS)
def test_the_paper_of_a_list_is_that_list(fleet: Site, manager: User, query: str) -> None:
    client = signed_in(manager)
    query = query.format(soon=add_months(today_at(fleet), 1))
    answer = client.get(f"/due/?{query}")
    link = re.search(r'href="(/papers/due\.pdf\?[^"]*)"', answer.content.decode())
    assert link is not None
    text = " ".join(printed(client.get(link[1].replace("&amp;", "&"))).split())
    rows = [row.record for row in answer.context["table"].rows]
    assert f"{len(rows)} obligation{'s' * (len(rows) != 1)}" in text
    assert re.findall(r"\bN-\d{3}\b", text) == [row.tag for row in rows]
    form = answer.context["form"]
    assert form.sentence() in text
    # Whatever is printed from the browser says the same sentence over the list.
    assert escape(form.sentence()) in answer.content.decode()


@pytest.mark.parametrize("query", ["", "site=ST1", "kind=mask", "state=due-soon"])
def test_the_overdue_report_names_every_overdue_and_undetermined_item(
    fleet: Site, manager: User, query: str
) -> None:
    text = printed(signed_in(manager).get(f"/papers/overdue.pdf?{query}"))
    asked = replace(questions(fleet).get(query, DueQuestion()), state="")
    wanted = {
        row.tag for row in due_rows(asked) if row.state in (State.OVERDUE, State.UNDETERMINED)
    }
    assert wanted
    assert set(re.findall(r"N-\d{3}", text)) == wanted
    assert "due soon" not in text


def test_the_forecast_of_the_command_is_the_list_of_the_work_ahead(
    fleet: Site, manager: User, tmp_path: Path
) -> None:
    until, out = add_months(today_at(fleet), 4), tmp_path / "forecast.pdf"
    call_command("report", "forecast", "--site", "ST1", "--until", f"{until}", "--out", f"{out}")
    text = " ".join("\n".join(page.extract_text() for page in pypdf.PdfReader(out).pages).split())
    asked = {"ahead": "yes", "site": "ST1", "until": f"{until}"}
    rows = signed_in(manager).get("/due/", asked).context["table"].rows
    assert re.findall(r"\bN-\d{3}\b", text) == [row.record.tag for row in rows]
    assert "at Station one and all below every time they will come due up to" in text


def test_the_service_record_from_the_screen_is_of_the_day_on_the_screen(
    fleet: Site, manager: User
) -> None:
    item = Item.objects.get(tag="N-003")
    client = signed_in(manager)
    page = client.get(f"/items/{item.pk}/?on=2026-01-31").content.decode()
    assert f'href="/papers/items/{item.pk}/record.pdf?on=2026-01-31"' in page
    answer = client.get(f"/papers/items/{item.pk}/record.pdf?on=2026-01-31")
    text = printed(answer)
    assert "31 Jan 2026" in text
    assert "S003" in text
    assert answer["Content-Disposition"] == f'inline; filename="record-{item.pk}-2026-01-31.pdf"'
