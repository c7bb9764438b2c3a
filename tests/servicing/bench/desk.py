"""A person at the bench with one mask, sending plain forms."""

from typing import Any

from django.contrib.auth.models import User
from django.http import HttpResponse
from django.test import Client

from registry.items.models import Item
from tests.people import PASSWORD

GOOD = {"word": "good"}
DONE = {"word": "done"}
LEFT = {"word": "not-applicable"}
STEPS: list[tuple[str, dict[str, str]]] = [
    ("look", GOOD),
    ("diaphragm", GOOD),
    ("renewed-disc", LEFT),
    ("moisten", DONE),
    ("leak", {"typed": "0,30", "unit": "mbar"}),
    ("exhalation-demand", LEFT),
    ("exhalation-positive", LEFT),
    ("pack", DONE),
]


class Desk:
    """A person at the bench with one item, answering by plain forms."""

    def __init__(self, user: User, item: Item, task: str = "tightness-test") -> None:
        self.user, self.item, self.task = user, item, task
        self.client: Client = Client()
        self.client.login(username=user.username, password=PASSWORD)
        self.path = f"/bench/{item.pk}/{task}/"

    def set(self, **fields: str) -> Any:
        return self.client.post(self.path, {"step": "setting", **fields})

    def answer(self, step: str, given: dict[str, str]) -> Any:
        return self.client.post(self.path, {"step": step, **given})

    def answer_all(self, **instead: dict[str, str]) -> None:
        for step, given in STEPS:
            answered = self.answer(step, instead.get(step.replace("-", "_"), given))
            assert answered.status_code == 302, (step, said(answered))

    def check(self) -> Any:
        return self.client.get(f"{self.path}check/")

    def sign(self, act: str = "sign", **more: str) -> Any:
        page = self.check()
        seen = page.context["seen"] if page.status_code == 200 else ""
        return self.client.post(f"{self.path}check/", {"act": act, "seen": seen, **more})


def said(answer: HttpResponse) -> str:
    """Return what a page says is the problem."""
    text = answer.content.decode()
    start = text.find('class="problem"')
    return text[start : text.find("</section>", start)] if start > 0 else ""
