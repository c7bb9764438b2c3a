"""What the page of an item or a set offers to whom."""

from dataclasses import dataclass
from urllib.parse import urlencode

from registry.items.pure import Kind
from servicing.desk.parts.pure import MAIN, MORE, Act
from servicing.ledger.pure.wording import words
from servicing.rules.pure.rule import SERVICE_LIFE


@dataclass(frozen=True, slots=True)
class Stands:
    """An item as its page has to know it. may_record, may_manage: of who looks at it.

    condemned, taken_out: as it stands now. away: its place in the consignment with which it has
    left, by id. tasks: what its rules ask for, the first first, and whether each is dropped.
    in_doubt: a task to be done again. guided: tasks with a procedure. same_question: the day
    that is shown, as an address asks for it.
    """

    pk: int
    tag: str
    kind: str
    same_question: str
    may_record: bool = False
    may_manage: bool = False
    condemned: bool = False
    taken_out: bool = False
    fittable: bool = False
    away: int | None = None
    tasks: tuple[tuple[str, bool], ...] = ()
    in_doubt: str = ""
    guided: tuple[str, ...] = ()

    @property
    def to_do(self) -> frozenset[str]:
        """The tasks that may be begun beside their dates: nothing is done to what is away."""
        if not self.may_record or self.condemned or self.away:
            return frozenset()
        return frozenset(task for task, dropped in self.tasks if not dropped) - {SERVICE_LIFE}


def acts_of_item(item: Stands) -> tuple[Act, ...]:
    """Return what the page of an item offers, in order."""
    return (*_work(item), *_papers(item), *_rarely(item))


def _work(item: Stands) -> list[Act]:
    """Return what may be done to it: nothing to what is condemned, but its receipt."""
    found: list[Act] = []
    if item.may_record and item.away:
        found.append(Act("Receive it", "consigned-back", (item.away,), MAIN))
    if not item.may_record or item.condemned:
        return found
    first = item.tasks[0][0] if item.tasks else ""
    if item.in_doubt and not item.away:
        label = f"Do it again: {words(item.in_doubt)}"
        found.append(Act(label, "bench", (item.pk, item.in_doubt), MAIN))
    elif first in item.to_do:
        found.append(Act(f"Do it: {words(first)}", "bench", (item.pk, first), MAIN))
    asked = urlencode({"task": first}) if first else ""
    found.append(Act("Log a service", "log-service", (item.pk,), asked=asked))
    if item.kind == Kind.SET:
        found.append(Act("Log its use", "log-service", (item.pk,), asked="task=use"))
    if item.taken_out:
        found.append(Act("Return to service", "decide", (item.pk, "return")))
    if item.kind == Kind.SET:
        found.append(Act("Change its parts", "set-parts", (item.pk,)))
    if item.kind == Kind.CYLINDER and not item.away:
        found.append(Act("Hydrostatic test", "own-test", (item.pk,)))
    return found


def _papers(item: Stands) -> list[Act]:
    found = []
    if item.kind == Kind.INSTRUMENT:
        found.append(Act("Records made with it", "instrument-records", (item.pk,)))
    found.append(Act("Service record (PDF)", "record-pdf", (item.pk,), asked=item.same_question))
    if item.kind == Kind.SET:
        found.append(Act("Set (PDF)", "set-pdf", (item.pk,), asked=item.same_question))
    return found


def _rarely(item: Stands) -> list[Act]:
    found = []
    if item.may_record:
        found.append(Act("Edit", "item-edit", (item.pk,), MORE))
    if item.fittable:
        label = "What was in it" if item.kind == Kind.SET else "The sets it was in"
        found.append(Act(label, "fittings", (item.pk,), MORE))
    found.append(Act("Who changed what", "trail", (), MORE, urlencode({"of": item.tag})))
    if not item.may_record or item.condemned:
        return found
    owed = {task for task, dropped in item.tasks if not dropped}
    also = [task for task in item.guided if task not in owed and not item.away]
    found += [Act(f"Do it: {words(task)}", "bench", (item.pk, task), MORE) for task in also]
    decisions = [] if item.taken_out else ["withdraw", "quarantine"]
    decisions += ["condemn"] if item.may_manage else []
    found += [Act(DECISIONS[word], "decide", (item.pk, word), MORE) for word in decisions]
    return found


DECISIONS = {
    "withdraw": "Take out of service",
    "quarantine": "Keep back for investigation",
    "condemn": "Condemn",
}
