"""The lists of the invented fleet, brought in as somebody's own would be."""

import csv
import hashlib
import io
import zoneinfo
from collections.abc import Callable, Mapping, Sequence
from functools import partial
from typing import TypeVar

from registry.bulk.actions import Progress
from registry.lists.pure.fittings import read_fittings
from registry.lists.pure.problems import Problem
from registry.lists.pure.register import read_register
from registry.lists.pure.sites import read_sites
from registry.lists.queries import known_things
from registry.sites.clock import now, today_at
from registry.sites.models import Site
from servicing.demo.pure import DemoFleet
from servicing.due.actions import register
from servicing.due.actions.history import import_history
from servicing.due.actions.sets import import_fittings
from servicing.ledger.pure.history import KnownItem, read_history
from servicing.ledger.queries.records import condemned_days
from servicing.rules.queries import known_tasks, published_tables

T = TypeVar("T")


def bring_in_sites(fleet: DemoFleet) -> None:
    """Bring in the sites with the tables they follow, and state how many sets must be ready."""
    sites = _read(
        "sites.csv",
        fleet.sites,
        partial(
            read_sites,
            zones=frozenset(zoneinfo.available_timezones()),
            tables=published_tables(),
            known=frozenset(),
        ),
    )
    register.import_sites(sites, file="tarn-valley-sites.csv", file_hash=_digest(fleet.sites))
    for row in sites:
        if row.code in fleet.least_ready:
            site = Site.objects.get(code=row.code)
            site.least_ready = fleet.least_ready[row.code]
            register.save_site(site, tables=row.rule_tables)


def bring_in_register(fleet: DemoFleet, progress: Progress) -> dict[str, KnownItem]:
    """Bring in the items. Returns by tag what a list of their history is read against."""
    todays = {site.code: today_at(site) for site in Site.objects.all()}
    read = partial(read_register, sites=todays, registered={})
    rows = _read("register.csv", fleet.register, read)
    register.import_register(
        rows, progress, file="tarn-valley-register.csv", file_hash=_digest(fleet.register)
    )
    return {row.tag: KnownItem(row.made_on, todays[row.site], None) for row in rows}


def bring_in_fittings(fleet: DemoFleet) -> None:
    """Fit the parts to their sets."""
    items = known_things(condemned_days())
    fitted = _read("fittings.csv", fleet.fittings, partial(read_fittings, items=items, known=()))
    import_fittings(fitted, by=None, at=now())


def bring_in_history(fleet: DemoFleet, items: Mapping[str, KnownItem], progress: Progress) -> None:
    """Bring in what was done; what happened to a set happens to the parts fitted to it by then."""
    history = _read(
        "history.csv", fleet.history, partial(read_history, items=items, tasks=known_tasks())
    )
    import_history(
        history,
        file="tarn-valley-history.csv",
        file_hash=_digest(fleet.history),
        progress=progress,
    )


def _read(
    name: str,
    rows: Sequence[dict[str, str]],
    read: Callable[[str, bytes], tuple[list[T], list[Problem]]],
) -> list[T]:
    found, problems = read(name, _as_csv(rows))
    if problems:
        raise ValueError(f"the demo's own {name} is not sound: {problems[0]}")
    return found


def _digest(rows: Sequence[dict[str, str]]) -> str:
    return hashlib.sha256(_as_csv(rows)).hexdigest()


def _as_csv(rows: Sequence[dict[str, str]]) -> bytes:
    columns = list(dict.fromkeys(column for row in rows for column in row))
    text = io.StringIO(newline="")
    writer = csv.DictWriter(text, columns, restval="")
    writer.writeheader()
    writer.writerows(rows)
    return text.getvalue().encode()
