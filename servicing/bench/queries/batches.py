"""A batch of items as it stands: each item's attempts, and what is said for all of them."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Any

from django.contrib.auth.models import User
from django.db.models import QuerySet

from registry.items.models import Item
from servicing.bench.models import Batch, Draft, ProcedureVersion
from servicing.bench.pure.answers import for_all
from servicing.bench.pure.course import Place
from servicing.bench.pure.procedure import Form, Procedure, Step
from servicing.bench.queries.procedures import current_procedures
from servicing.bench.queries.work import Stood, Work, work_of
from servicing.ledger.pure.entry import FAIL, PASS

SAID_ONCE = (Form.CHECK, Form.DAMAGE, Form.ACT)
"""Steps that may be answered once for all, by an explicit word, with exceptions by item."""


@dataclass(frozen=True, slots=True)
class Row:
    """An item of a batch. work: the attempt in hand; earlier: those that failed before.

    The work has the steps said once for all taken as good where the item's own answers,
    `own`, say nothing else.
    """

    item: Item
    work: Work
    earlier: tuple[Work, ...]
    own: Mapping[str, Any]

    @property
    def outcome(self) -> str:
        """pass, fail or nothing while readings are missing."""
        return self.work.course.outcome.outcome

    @property
    def readings(self) -> list[Place]:
        """The steps that were measured."""
        return [p for p in self.work.course.places if p.answer and p.answer.typed]

    @property
    def exceptions(self) -> list[Place]:
        """The steps that this item is an exception to, and the parts renewed in it."""
        steps = (p for p in self.work.course.places if p.step.measure is None)
        return [place for place in steps if place.step.id in self.own]


@dataclass(frozen=True, slots=True)
class Crate:
    """A whole batch: its procedure and its items, those scanned last first."""

    batch: Batch
    at_hand: ProcedureVersion
    rows: tuple[Row, ...]

    @property
    def procedure(self) -> Procedure:
        """The procedure as it stands now, with the steps that apply to some of the items."""
        whole = self.at_hand.procedure
        shown = {place.step.id for row in self.rows for place in row.work.course.places}
        steps = tuple(step for step in whole.steps if not self.rows or step.id in shown)
        return replace(whole, steps=steps)

    def asked_of(self, step: str) -> int:
        """Return to how many of the items a step applies, or may."""
        return sum(row.work.course.place(step) is not None for row in self.rows)

    @property
    def measured(self) -> list[Step]:
        """The steps whose readings are typed item by item."""
        return [s for s in self.procedure.steps if s.measure and s.id not in self.batch.left]

    @property
    def renewed(self) -> list[Step]:
        """The parts that may be renewed, item by item."""
        return [step for step in self.procedure.steps if step.form is Form.RENEW]

    @property
    def said_once(self) -> list[Step]:
        """The steps that are answered once for all."""
        return [step for step in self.procedure.steps if step.form in SAID_ONCE]

    @property
    def counts(self) -> dict[str, int]:
        """How many items pass, fail and still need something."""
        words = [row.outcome for row in self.rows]
        return {"pass": words.count(PASS), "fail": words.count(FAIL), "open": words.count("")}

    @property
    def works(self) -> list[Work]:
        """Every attempt of every item, in the order in which they are signed."""
        return [work for row in reversed(self.rows) for work in (*row.earlier, row.work)]

    def row(self, item: int | None) -> Row | None:
        """Return the row of an item by its id."""
        return next((row for row in self.rows if row.item.pk == item), None)


def batches_of(user: User) -> QuerySet[Batch]:
    """Return a person's batches that are not signed yet."""
    return Batch.objects.filter(user=user, signed_at=None)


def crate_of(batch: Batch) -> Crate | None:
    """Return a batch as it stands; None where its procedure is no longer there."""
    at_hand = current_procedures().get(batch.procedure)
    if at_hand is None:
        return None
    drafts = Draft.objects.filter(batch=batch).select_related("item__type", "item__site")
    by_item: dict[int, list[Draft]] = {}
    for draft in drafts.order_by("pk"):
        by_item.setdefault(draft.item_id, []).append(draft)
    stood = Stood()
    rows = [_row(batch, at_hand.procedure, held, stood) for held in by_item.values()]
    return Crate(batch, at_hand, tuple(row for row in reversed(rows) if row is not None))


def taken_as_good(procedure: Procedure, left: Iterable[str], held: Mapping[str, Any]) -> Any:
    """Return a draft's answers with what is said once for all filled in where it is silent."""
    return {**for_all(procedure, left, SAID_ONCE), **held}


def _row(batch: Batch, procedure: Procedure, drafts: list[Draft], stood: Stood) -> Row | None:
    works = []
    for draft in drafts:
        held = draft.answers
        if not draft.closed:
            held = taken_as_good(procedure, batch.left, held)
        shown = work_of(_with(draft, held), stood=stood)
        if shown is None:
            return None
        works.append(shown)
    return Row(drafts[-1].item, works[-1], tuple(works[:-1]), drafts[-1].answers)


def _with(draft: Draft, answers: dict[str, Any]) -> Draft:
    """Return a draft with other answers, for showing; it is not to be saved."""
    fields = {f.attname: getattr(draft, f.attname) for f in Draft._meta.concrete_fields}
    copy = Draft(**{**fields, "answers": answers})
    copy.item = draft.item
    copy._state.adding = False
    return copy
