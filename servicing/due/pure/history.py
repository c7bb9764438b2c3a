"""What happened to an item, and the questions that rules ask of it."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from servicing.ledger.pure.shoulder import Marked
from servicing.rules.pure.tasks import RETURN, TAKES_OUT

PASS, FAIL, CONDEMNED = "pass", "fail", "condemned"


@dataclass(frozen=True, slots=True)
class Record:
    """One thing that happened to an item. `outcome` is pass, fail or condemned.

    next_test, life_end: what was marked on the item then (due/README 14). hours: what its meter
    showed (due/README 15).
    """

    task: str
    done_on: date
    outcome: str
    part_made_on: date | None = None
    next_test: Marked | None = None
    life_end: Marked | None = None
    hours: Decimal | None = None

    @property
    def facts(
        self,
    ) -> tuple[str, date, str, date | None, Marked | None, Marked | None, Decimal | None]:
        """The same as it is read from the ledger."""
        read = self.next_test, self.life_end, self.hours
        return self.task, self.done_on, self.outcome, self.part_made_on, *read


class History:
    """An item's records up to a day, in order, with the questions rules ask of them.

    Positions count from 0; -1 stands for before everything.
    """

    def __init__(self, records: Iterable[Record], on: date) -> None:
        # sorted() keeps the order entered among records of one day (due/README 2).
        done = sorted((r for r in records if r.done_on <= on), key=lambda r: r.done_on)
        self.by_task: dict[str, list[tuple[int, Record]]] = defaultdict(list)
        self.last_passes: dict[str, int] = {}
        self.condemned: Record | None = None
        self.life_marked: Record | None = None
        self.records = done
        for position, record in enumerate(done):
            self.by_task[record.task].append((position, record))
            if record.outcome == PASS:
                self.last_passes[record.task] = position
                if record.life_end is not None:
                    self.life_marked = record  # the latest: a life may be extended by mark
            elif record.outcome == CONDEMNED and self.condemned is None:
                self.condemned = record

    def last_pass(self, tasks: Iterable[str]) -> int:
        """Return the position of the latest pass of any of the tasks, or -1."""
        return max((self.last_passes.get(task, -1) for task in tasks), default=-1)

    def pass_days(self, tasks: Iterable[str]) -> list[date]:
        """Return the days on which any of the tasks was passed, each once, in order."""
        done = (record for task in tasks for _, record in self.by_task.get(task, ()))
        return sorted({record.done_on for record in done if record.outcome == PASS})

    def since(self, position: int, tasks: Iterable[str]) -> list[Record]:
        """Return the records of the tasks after a position, in order."""
        found = [
            entry for task in tasks for entry in self.by_task.get(task, ()) if entry[0] > position
        ]
        return [record for _, record in sorted(found, key=lambda entry: entry[0])]

    def failure_since(self, position: int, task: str) -> Record | None:
        """Return the first failure of a task after a position: it has been due since then."""
        return next((r for r in self.since(position, (task,)) if r.outcome == FAIL), None)

    def out_from_to(self, day: date, until: date) -> bool:
        """Say whether it was out of service at the end of a day and not returned before another.

        By a withdrawal or a quarantine: what has failed was not put out of use by anybody.
        """
        out = False
        for record in self.records:
            if record.done_on > day and not (record.task == RETURN and record.done_on < until):
                continue
            if record.task in TAKES_OUT and record.done_on <= day:
                out = True
            elif record.task == RETURN and record.outcome == PASS:
                out = False
        return out

    def taken_out(self) -> Record | None:
        """Return the first withdrawal or quarantine since the last return to service."""
        return next(iter(self.since(self.last_pass((RETURN,)), TAKES_OUT)), None)
