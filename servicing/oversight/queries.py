"""Reading the trail by a question, what is to be reviewed, and whether the program is ready."""

import hashlib
import json
import platform
import shutil
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta, tzinfo
from importlib import metadata

from django.conf import settings
from django.db import DatabaseError, connection
from django.db.migrations.executor import MigrationExecutor
from django.db.models import Q, QuerySet

from registry.items.models import Item
from registry.people.models import EVERY_TASK, Authorisation
from registry.people.pure import (
    ENDS_SOON,
    LONGEST_AWAY,
    LONGEST_SESSION,
    PRESENCE,
    WHO_MAY,
    Right,
)
from registry.people.queries import (
    PersonRow,
    authorisations_in_force,
    people_as_of,
    tasks_by_name,
)
from registry.sets import guards as set_guards
from registry.trail import guards
from registry.trail.models import TrailEntry
from registry.trail.queries import kinds_noted, people_noted
from servicing.ledger.queries.late import LateRecord, entered_late
from servicing.ledger.queries.whole import newest_faults

OF_ITEMS = ("item", "type", "list of items")
"""The kinds of change that speak of items; a technician sees these."""
REVIEW, REFUSED, PROGRAM = "review", "signing-refused", "program"
CODE = ("config", "registry", "servicing", "reports")
LATE_AFTER_DAYS = 3
"""From so many days between the work and its entry on, a record is late (README)."""


@dataclass(frozen=True, slots=True)
class TrailQuestion:
    """What the trail is asked for; empty means all.

    of: what changed, by its tag, code, account or id. since, until: days in `zone`,
    inclusive. only: the kinds of change that who asks may see; empty for all.
    """

    what: str = ""
    of: str = ""
    by: str = ""
    since: date | None = None
    until: date | None = None
    only: tuple[str, ...] = ()
    zone: tzinfo = UTC


def trail_rows(question: TrailQuestion) -> QuerySet[TrailEntry]:
    """Return the entries a question asks for, the latest first."""
    rows = TrailEntry.objects.order_by("-number")
    if question.only:
        rows = rows.filter(what__in=question.only)
    if question.what:
        rows = rows.filter(what=question.what)
    if question.of:
        rows = rows.filter(Q(subject__iexact=question.of) | _of_item(question.of))
    if question.by:
        rows = rows.filter(by=question.by)
    if question.since:
        rows = rows.filter(at__gte=datetime.combine(question.since, time.min, question.zone))
    if question.until:
        after = question.until + timedelta(days=1)
        rows = rows.filter(at__lt=datetime.combine(after, time.min, question.zone))
    return rows


def kinds_and_people(only: tuple[str, ...]) -> tuple[list[str], list[str]]:
    """Return the kinds of change the trail holds, and who made any.

    only: the kinds that are asked about, and who made one of those; none for all.
    """
    kinds = [kind for kind in kinds_noted() if not only or kind in only]
    made = TrailEntry.objects.filter(what__in=only)
    people = [by for by in people_noted() if not only or made.filter(by=by).exists()]
    return kinds, people


def _of_item(tag: str) -> Q:
    """Return the condition for the changes of the item that has a tag now.

    While it had another tag its entries stand under that one; and the list that brought it
    in, and a change of its type, stand in one entry for all, made at the same moment. What
    was fitted stands under the set and the place, a signature under all that is marked on it.
    """
    item = Item.objects.filter(tag=tag).first()
    if item is None:
        return Q(pk__in=[])
    versions = list(item.versions.order_by("known_from", "pk").values_list("known_from", "known"))
    moments = [moment for moment, _ in versions]
    found = Q(what__in=("type", "list of items"), at__in=moments[-200:])
    for number, (moment, known) in enumerate(versions):
        if number and versions[number - 1][1]["tag"] == known["tag"]:
            continue
        ends = next((m for m, k in versions[number:] if k["tag"] != known["tag"]), None)
        held = Q(at__gte=moment) & _under(known["tag"])
        found |= held & Q(at__lt=ends) if ends else held
    return found


def _under(tag: str) -> Q:
    named = json.dumps(tag, ensure_ascii=False)
    fitted = Q(subject__startswith=f"{tag} ") | Q(after__contains=f'"part":{named}')
    signed = Q(what="signature", subject__startswith=f"{tag} \u00b7 ")
    return Q(what="item", subject=tag) | Q(fitted, what="fitting") | signed


@dataclass(frozen=True, slots=True)
class Review:
    """What came since the trail was last reviewed.

    last: the entry of that review; None before the first. number, moment: up to where this
    one looks: an entry of the trail, and the moment up to which records count.
    """

    last: TrailEntry | None
    number: int
    moment: datetime
    late: list[LateRecord]
    corrections: list[LateRecord]
    refused: list[TrailEntry]
    entries: int

    @property
    def count(self) -> int:
        """How many things there are to look at."""
        return len(self.late) + len(self.corrections) + len(self.refused)


def to_review(moment: datetime) -> Review:
    """Return what is to be reviewed, up to a moment."""
    last = TrailEntry.objects.filter(what=REVIEW).order_by("-number").first()
    after: dict[str, str] = json.loads(last.after) if last else {}
    since = int(after.get("up to entry", 0))
    seen = datetime.fromisoformat(after["records entered up to"]) if after else None
    newest = TrailEntry.objects.filter(at__lte=moment).order_by("-number").first()
    number = newest.number if newest else 0
    rows = TrailEntry.objects.filter(number__gt=since, number__lte=number).exclude(what=REVIEW)
    records = entered_late(after=seen, until=moment, days=LATE_AFTER_DAYS)
    return Review(
        last=last,
        number=number,
        moment=moment,
        late=[row for row in records if not row.corrects],
        corrections=[row for row in records if row.corrects],
        refused=list(rows.filter(what=REFUSED)),
        entries=rows.count(),
    )


@dataclass(frozen=True, slots=True)
class May:
    """What lets a person do a task; None where it is for others only."""

    held: Authorisation | None


@dataclass(frozen=True, slots=True)
class MayDo:
    """One person, and for each task what lets them do it."""

    person: PersonRow
    cells: tuple[May, ...]


@dataclass(frozen=True, slots=True)
class WhoMay:
    """Who may do what on a day. tasks: the columns, those for authorised people only.

    soon: the last day by which an authorisation ends soon.
    """

    tasks: tuple[str, ...]
    rows: tuple[MayDo, ...]
    soon: date

    @property
    def columns(self) -> list[str]:
        """The tasks in words."""
        words = {EVERY_TASK: "All tasks"}
        return [words.get(task) or task.replace("-", " ").capitalize() for task in self.tasks]


def who_may(on: date, moment: datetime | None) -> WhoMay:
    """Return everybody who may enter work, with until when they may do each task.

    on: the day, moment: its end as a moment, None for today. An authorisation for all tasks
    has a column of its own and fills the others.
    """
    held = authorisations_in_force(on)
    named = tasks_by_name()
    everything = [EVERY_TASK] if any(EVERY_TASK in each for each in held.values()) else []
    people = [
        person
        for person in people_as_of(moment)
        if person.is_open and (person.role in WHO_MAY[Right.RECORD] or person.pk in held)
    ]
    rows = [
        MayDo(person, tuple(_may(held.get(person.pk, {}), task) for task in (*everything, *named)))
        for person in people
    ]
    return WhoMay((*everything, *named), tuple(rows), on + ENDS_SOON)


def _may(held: dict[str, Authorisation], task: str) -> May:
    return May(held.get(task) or held.get(EVERY_TASK))


def program_as_it_is() -> dict[str, object]:
    """Return what serves: its version, and the settings that bear on a verdict or a signature.

    The digest of the code covers every module, and the limits that are read from their file
    at each start; rule tables and procedures are noted when they are loaded. Names of hosts,
    folders and secrets are left out.
    """
    return {
        "version": settings.VERSION,
        "SHA-256 of the code": _digest(*(f"{app}/**/*.py" for app in CODE)),
        "SHA-256 of the hydrostatic limits": _digest("fixtures/hydrostatic/*.toml"),
        "Python": platform.python_version(),
        "Django": metadata.version("django"),
        "gas library": metadata.version("coolprop"),
        "database": connection.vendor,
        "serves": "this machine only" if settings.ON_LOOPBACK_ONLY else "other machines",
        "HTTPS": settings.HTTPS,
        "traces in pages": settings.DEBUG,
        "a password proves presence, minutes": PRESENCE // timedelta(minutes=1),
        "signed out when away, minutes": LONGEST_AWAY // timedelta(minutes=1),
        "signed out after, hours": LONGEST_SESSION // timedelta(hours=1),
        "a record is late from, days": LATE_AFTER_DAYS,
    }


def _digest(*patterns: str) -> str:
    """Return one SHA-256 over the program's files of some names: each path, then its content."""
    base, digest = settings.BASE_DIR, hashlib.sha256()
    for path in sorted(path for pattern in patterns for path in base.glob(pattern)):
        digest.update(f"{path.relative_to(base).as_posix()}\n".encode())
        digest.update(hashlib.sha256(path.read_bytes()).digest())
    return digest.hexdigest()


_MIGRATED: list[bool] = []


def why_not_serve() -> str:
    """Return why nothing should be served now, in one line; empty where all is well.

    Not migrated, a guard that is missing, or a newest part of the ledger or the trail that
    does not hold. Raises DatabaseError where the database does not answer.
    """
    if not _MIGRATED:
        executor = MigrationExecutor(connection)
        if executor.migration_plan(executor.loader.graph.leaf_nodes()):
            return f"the database is not migrated: run {settings.PROGRAM} migrate"
        _MIGRATED.append(True)
    if gone := [*guards.missing(connection), *set_guards.missing(connection)]:
        told = f"guards are missing ({', '.join(gone)})"
        return f"{told}: run {settings.PROGRAM} verify_ledger, then migrate"
    if fault := next(newest_faults(), ""):
        return f"the ledger is not whole ({fault}): run {settings.PROGRAM} verify_ledger"
    return ""


def why_not_ready() -> str:
    """Return why requests can't be served as they should; empty where all is well.

    Beside what `why_not_serve` asks, the disk of the data folder has room left: one that is
    full takes no more records, though what is there can still be read.
    """
    try:
        free_mb = shutil.disk_usage(settings.DATA_DIR).free // 10**6
        if free_mb < settings.LEAST_FREE_MB:
            return f"{free_mb} MB are free in {settings.DATA_DIR}: make room, or move it"
        return why_not_serve()
    except DatabaseError as error:
        return f"the database does not answer: {error}"
    except OSError as error:
        return f"the data folder does not answer: {error}"
