"""Say why an item owes what it owes."""

import json
from argparse import ArgumentParser
from collections.abc import Sequence
from datetime import date
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from registry.items.models import Item
from registry.management import console
from registry.sites.clock import today_at
from servicing.due.pure.obligations import Standing
from servicing.due.pure.sheet import GENERAL_CAUTION, TaskLine, iso, task_json, task_line
from servicing.due.queries import engine
from servicing.rules.queries import NoSuchTable


class Command(BaseCommand):
    help = (
        "Show every candidate of every task of an item: rule, source, base and arithmetic.\n"
        "Example: %(prog)s 00123 --on 2027-01-31 --format json"
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("tag")
        parser.add_argument(
            "--on", type=console.day, help="a day, YYYY-MM-DD; today at the item's site"
        )
        parser.add_argument(
            "--known-by",
            type=console.moment,
            help="as known at a moment, such as 2026-05-14T09:00+02:00",
        )
        parser.add_argument(
            "--tables",
            help="as if its site followed just these rule tables, with ; between them",
        )
        parser.add_argument("--format", default="text", choices=["text", "json"])

    def handle(self, **options: Any) -> None:
        item = console.item_with(options["tag"])
        on = options["on"] or today_at(item.site)
        try:
            standing, tasks = _answer(item, on, options)
            shown = engine.as_then(item, options["known_by"])
        except engine.NotKnownThen as problem:
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


def _answer(item: Item, on: date, options: dict[str, Any]) -> tuple[Standing, list[TaskLine]]:
    if options["tables"]:
        names = [word for part in options["tables"].split(";") if (word := part.strip())]
        standing, tasks = engine.explained_under(item, on, names, options["known_by"])
    else:
        standing, tasks = engine.explained(item, on, options["known_by"])
    return standing, [task_line(task, on) for task in tasks]


def _as_json(
    item: Item, on: date, standing: Standing, tasks: Sequence[TaskLine]
) -> dict[str, object]:
    return {
        "tag": item.tag,
        "on": on.isoformat(),
        "standing": standing.word,
        "tasks": [task_json(task) for task in tasks],
        "caution": " ".join(GENERAL_CAUTION),
    }


def _as_text(item: Item, on: date, standing: Standing, tasks: Sequence[TaskLine]) -> list[str]:
    lines = [f"{item.tag}: {item.type.kind}, {item.type}, serial {item.serial}, {item.site}"]
    lines.append(
        f"on {on.isoformat()}: {standing.word}" + (f" ({standing.task})" if standing.task else "")
    )
    if not tasks:
        lines.append("no rule asks anything of it on that day")
    for task in tasks:
        dropped = ", dropped: the service life ends first" if task.dropped else ""
        how = ", ".join(filter(None, (task.state, task.late)))
        lines += ["", f"{task.task}: {iso(task.due_on) or 'no date'}, {how}{dropped}"]
        for each in task.reasons:
            mark = "=>" if each is task.governing else "  "
            lines.append(f"{mark} {iso(each.due_on) or 'no date'}  {each.arithmetic}")
            lines.append(f"     {each.rule} ({each.level}): {each.source} [{each.seen}]")
            lines.append(f"     {each.barring}")
        lines += [f"   {task.difference}"] if task.difference else []
    return [*lines, "", *GENERAL_CAUTION]
