"""Work in hand at the bench, for the tables of addresses: a draft for each who may record, a
batch, and one that is signed."""

from datetime import datetime, timedelta

from django.contrib.auth.models import User

from registry.items.models import Item
from registry.sites.clock import now, today_at
from servicing.bench.actions.batches import add_to_batch, begin_batch
from servicing.bench.actions.drafts import answer_step, unsaved
from servicing.bench.actions.procedures import load_procedures
from servicing.bench.actions.signing import seen_of
from servicing.bench.models import Batch, Draft
from servicing.bench.pure.answers import Given
from servicing.bench.pure.tables import read_procedures
from servicing.bench.queries.batches import crate_of
from servicing.bench.queries.procedures import current_procedures, procedures_for
from servicing.bench.queries.work import work_of
from tests.people import RULES

MONTHLY = "periodic-inspection"
CLEANING = ("apart", "clean", "disinfect", "rinse", "dry", "look", "to-test")
ALL_SAID = {f"said_{step}": "on" for step in CLEANING}


def load(*names: str) -> None:
    """Load tables of procedures by their file's name."""
    folder = RULES / "procedures"
    tables = [read_procedures(name, (folder / f"{name}.toml").read_text())[0] for name in names]
    load_procedures(tables, at=now())


def begin_work(item: Item, people: list[User]) -> tuple[int, int]:
    """Put a monthly check of an item into everybody's hand, and a batch into the first one's.

    The first one has thrown away another piece of work, too.

    Returns the ids of the batch in hand and of one that is signed.
    """
    load("masks", "care")
    on = today_at(item.site)
    (version,) = procedures_for(item, MONTHLY, on)
    for person in people:
        draft = unsaved(
            user=person, item=item, task=MONTHLY, at_hand=version, on=on, instruments={}
        )
        for step in ("condition", "seal"):
            answer_step(
                user=draft.user, draft=draft, step=step, given=Given(word="good"), at=_earlier()
            )
    (other, *_) = procedures_for(item, "tightness-test", on)
    lost = unsaved(user=people[0], item=item, task=other.task, at_hand=other, on=on, instruments={})
    lost.thrown_at = lost.updated_at = _earlier()
    lost.save()
    batches = [
        begin_batch(
            user=people[0],
            at_hand=current_procedures()["mask-cleaning"],
            kind="mask",
            done_on=on,
            instruments={},
            left=[],
            at=_earlier(),
        )
        for _ in range(2)
    ]
    add_to_batch(user=batches[0].user, batch=batches[0], item=item, at=_earlier())
    Batch.objects.filter(pk=batches[1].pk).update(signed_at=now(), numbers=[1])
    return batches[0].pk, batches[1].pk


def seen_single() -> str:
    """Return what the check page of the monthly check says was seen; it is everybody's."""
    held = Draft.objects.filter(task=MONTHLY).first()
    work = work_of(held) if held else None
    return seen_of([work]) if work else ""


def seen_batch(pk: int) -> str:
    """Return what the check page of a batch says was seen."""
    crate = crate_of(Batch.objects.get(pk=pk))
    return seen_of(crate.works) if crate else ""


def _earlier() -> datetime:
    return now() - timedelta(minutes=1)
