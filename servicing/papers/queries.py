"""Which papers were made, and which of them a later correction superseded."""

from collections import defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta, tzinfo
from typing import Any

from django.db.models import Q, QuerySet

from registry.items.models import Item
from registry.items.queries import versions_of
from registry.trail.queries import reasons_since
from servicing.away.models import Consignment
from servicing.ledger.queries.records import Correction, corrections_of
from servicing.papers.models import Carried, Paper
from servicing.papers.pure import corrected, described_anew

STANDS, SUPERSEDED = "stands", "superseded"


@dataclass(frozen=True, slots=True)
class PaperLine:
    """A paper with what became of it. why: what superseded it, in words; empty while it stands.

    replaced_by: the number of the paper that stands in its place, if one was made.
    """

    paper: Paper
    why: tuple[str, ...]
    replaced_by: str

    @property
    def state(self) -> str:
        """Superseded, or stands."""
        return SUPERSEDED if self.why else STANDS


@dataclass(frozen=True, slots=True)
class PapersQuestion:
    """Which papers are asked for; empty means all.

    of: the tag of an item that a paper is about, or the number of a consignment. state: STANDS or
    SUPERSEDED. since, until: the days on which they were made, in `zone`, both inclusive.
    """

    kind: str = ""
    of: str = ""
    state: str = ""
    since: date | None = None
    until: date | None = None
    zone: tzinfo = UTC


def papers_asked(question: PapersQuestion) -> QuerySet[Paper]:
    """Return the papers that a question asks for, the newest first."""
    rows = Paper.objects.select_related("item", "consignment")
    if question.kind:
        rows = rows.filter(kind=question.kind)
    if question.of:
        about = Q(item__tag__iexact=question.of) | Q(consignment__number__iexact=question.of)
        rows = rows.filter(about)
    if question.since:
        rows = rows.filter(made_at__gte=datetime.combine(question.since, time.min, question.zone))
    if question.until:
        after = question.until + timedelta(days=1)
        rows = rows.filter(made_at__lt=datetime.combine(after, time.min, question.zone))
    if question.state:
        wanted = [each.paper.pk for each in paper_lines(rows) if each.state == question.state]
        rows = Paper.objects.select_related("item", "consignment").filter(pk__in=wanted)
    return rows


def papers_with(items: Iterable[Item]) -> QuerySet[Paper]:
    """Return the papers that speak of any of some items, the newest first."""
    held = Carried.objects.filter(item__in=list(items)).values("paper")
    return Paper.objects.filter(pk__in=held).select_related("item", "consignment")


def papers_about(subject: Item | Consignment) -> QuerySet[Paper]:
    """Return the papers that are about an item or a consignment, the newest first."""
    about = Q(item=subject) if isinstance(subject, Item) else Q(consignment=subject)
    return Paper.objects.filter(about).select_related("item", "consignment")


def papers_resting_on(item: Item, position: int, done_on: date) -> QuerySet[Paper]:
    """Return the papers that rest on a record of an item, the newest first."""
    held = Carried.objects.filter(item=item, position__gte=position).values("paper")
    rows = Paper.objects.filter(pk__in=held, on__gte=done_on)
    return rows.select_related("item", "consignment")


def superseded(subject: Item | Consignment, kind: str, on: date) -> list[PaperLine]:
    """Return the superseded papers of a kind that a new one of a day would replace.

    Those that stand for another day to come, or were replaced already, are left out.
    """
    rows = papers_about(subject).filter(kind=kind, on__lte=on, known_by=None)
    return [each for each in paper_lines(rows) if each.why and not each.replaced_by]


def paper_lines(papers: Iterable[Paper]) -> list[PaperLine]:
    """Return papers with what became of them, in the order given."""
    rows = list(papers)
    carried: dict[int, dict[int, int]] = defaultdict(dict)
    for paper_id, item_id, position in Carried.objects.filter(paper__in=rows).values_list(
        "paper_id", "item_id", "position"
    ):
        carried[paper_id][item_id] = position
    items = {item_id for held in carried.values() for item_id in held}
    made, versions = corrections_of(items), versions_of(items)
    tags = dict(Item.objects.filter(pk__in=items).values_list("pk", "tag"))
    replaced = _replaced(rows)
    return [
        PaperLine(
            paper,
            tuple(_why(paper, carried[paper.pk], made, versions, tags)),
            replaced.get(paper.number, ""),
        )
        for paper in rows
    ]


def _why(
    paper: Paper,
    carried: dict[int, int],
    made: list[Correction],
    versions: dict[int, list[tuple[datetime, dict[str, Any]]]],
    tags: dict[int, str],
) -> Iterator[str]:
    if paper.known_by is not None:
        return
    for each in corrected(paper.kind, paper.on, carried, made):
        whose = f"record {each.corrects} of {tags[each.item_id]}"
        yield f"{whose} was corrected by record {each.position}: {each.reason}"
    for item_id in carried:
        said = versions.get(item_id, [])
        then = [known for since, known in said if since <= paper.made_at]
        if then and (words := described_anew(then[-1], said[-1][1])):
            reasons = "; ".join(reasons_since("item", tags[item_id], paper.made_at))
            yield f"{tags[item_id]}: {'; '.join(words)}" + (f" ({reasons})" if reasons else "")


def _replaced(rows: list[Paper]) -> dict[str, str]:
    """Return the number of the paper that replaces another, by the number of the other."""
    same = Q(item__in=[row.item_id for row in rows if row.item_id]) | Q(
        consignment__in=[row.consignment_id for row in rows if row.consignment_id]
    )
    newer = Paper.objects.filter(same).exclude(replaces=[]).values_list("number", "replaces")
    return {old: number for number, olds in newer for old in olds}
