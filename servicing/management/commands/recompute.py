"""Compute every stored due date afresh."""

from typing import Any

from django.core.management.base import BaseCommand

from registry.management.console import progress_on
from servicing.due.actions.store import recompute


class Command(BaseCommand):
    help = "Compute every stored due date afresh. On a healthy register nothing changes."

    def handle(self, **options: Any) -> None:
        changed = recompute(progress_on(self.stdout))
        self.stdout.write(f"stored due dates of {changed} items changed")
