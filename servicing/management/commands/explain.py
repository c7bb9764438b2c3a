"""Say why an item owes what it owes."""

import json
from argparse import ArgumentParser
from datetime import date
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from registry.items.models import Item
from registry.management.console import day, item_with, moment
from registry.sites.clock import today_at
from servicing.due.pure.explain import Explained, arithmetic, how_often
from servicing.due.pure.obligations import Candidate, Standing
from servicing.due.pure.owed import over_by
from servicing.due.queries.engine import NotKnownThen, as_then, explained, explained_under
from servicing.due.queries.rows import GENERAL_CAUTION
from servicing.rules.queries import NoSuchTable


class Command(BaseCommand):
    help = (
        "Show every candidate of every task of an item: rule, source, base and arithmetic.\n"
        "Example: %(prog)s 00123 --on 2027-01-31 --format json"
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("tag")
        parser.add_argument("--on", type=day, help="a day, YYYY-MM-DD; today at the item's site")
        parser.add_argument(
            "--known-by", type=moment, help="as known at a moment, such as 2026-05-14T09:00+02:00"
        )
        parser.add_argument(
            "--tables",
            help="as if its site followed just these rule tables, with ; between them",
        )
        parser.add_argument("--format", default="text", choices=["text", "json"])

    def handle(self, **options: Any) -> None:
        item = item_with(options["tag"])
        on = options["on"] or today_at(item.site)
        try:
            standing, tasks = _answer(item, on, options)
            shown = as_then(item, options["known_by"])
        except NotKnownThen as problem:
            raise CommandError(str(problem)) from problem
        except NoSuchTable as missing:
            raise CommandError(
                f"--tables: {missing} is no rule table; the page Rules lists them",
                returncode=2,
            ) from missing
        if options["format"] == "json":
            found = _as_json(shown, on, standing, tasks)
            self.stdout.write(json.dumps(found, ensure_ascii=False, indent=1))
        else:
            self.stdout.write("\n".join(_as_text(shown, on, standing, tasks)))


def _answer(
    item: Item, on: date, options: dict[str, Any]
) -> tuple[Standing, tuple[Explained, ...]]:
    if not options["tables"]:
        return explained(item, on, options["known_by"])
    names = [word for part in options["tables"].split(";") if (word := part.strip())]
    return explained_under(item, on, names, options["known_by"])


def _as_json(
    item: Item, on: date, standing: Standing, tasks: tuple[Explained, ...]
) -> dict[str, object]:
    return {
        "tag": item.tag,
        "on": on.isoformat(),
        "standing": standing.word,
        "tasks": [
            {
                "task": task.obligation.task,
                "due_on": _iso(task.obligation.due_on),
                "state": task.obligation.state(on),
                "dropped_by_service_life": task.dropped,
                "candidates": [_candidate(c) for c in task.obligation.candidates],
            }
            for task in tasks
        ],
        "caution": " ".join(GENERAL_CAUTION),
    }


def _candidate(candidate: Candidate) -> dict[str, object]:
    rule = candidate.rule
    return {
        "rule": rule.id,
        "table": rule.table,
        "level": rule.level,
        "source": rule.source,
        "seen": rule.seen,
        "asks": how_often(rule),
        "due_on": _iso(candidate.due_on),
        "counted_from": candidate.counted_from,
        "basis_on": _iso(candidate.basis_on),
        "arithmetic": arithmetic(candidate),
    }


def _as_text(item: Item, on: date, standing: Standing, tasks: tuple[Explained, ...]) -> list[str]:
    lines = [f"{item.tag}: {item.type.kind}, {item.type}, serial {item.serial}, {item.site}"]
    lines.append(
        f"on {on.isoformat()}: {standing.word}" + (f" ({standing.task})" if standing.task else "")
    )
    if not tasks:
        lines.append("no rule asks anything of it on that day")
    for task in tasks:
        owed = task.obligation
        dropped = ", dropped: the service life ends first" if task.dropped else ""
        late = over_by(owed.due_on, owed.counted_from or "", on)
        how = ", ".join(filter(None, (owed.state(on), late)))
        lines += ["", f"{owed.task}: {_iso(owed.due_on) or 'no date'}, {how}{dropped}"]
        for number, candidate in enumerate(owed.candidates):
            mark = "=>" if number == 0 else "  "
            rule = candidate.rule
            lines.append(f"{mark} {_iso(candidate.due_on) or 'no date'}  {arithmetic(candidate)}")
            lines.append(f"     {rule.id} ({rule.level}): {rule.source} [{rule.seen}]")
    return [*lines, "", *GENERAL_CAUTION]


def _iso(day: date | None) -> str | None:
    return day.isoformat() if day else None
