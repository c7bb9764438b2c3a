"""Entering a paper that is made in the register of papers."""

import hashlib
from collections.abc import Sequence
from datetime import date, datetime

from django.contrib.auth.models import User

from registry.items.models import Item
from servicing.away.models import Consignment
from servicing.ledger.pure.chain import START
from servicing.ledger.queries.records import ends_of
from servicing.papers.models import Carried, Paper


def keep_paper(
    *,
    number: str,
    kind: str,
    about: Item | Consignment,
    on: date,
    known_by: datetime | None,
    items: Sequence[Item],
    replaces: Sequence[str],
    content: bytes,
    made_by: str,
    user: User | None,
    at: datetime,
) -> Paper:
    """Enter a paper, in the transaction in which it was gathered, and return its row.

    items: everything it speaks of; the caller has locked them, so that the heads kept are the
    ones it shows. replaces: numbers of superseded papers. content: the file. made_by: the
    name printed on it; user: None for the command line.
    """
    paper = Paper.objects.create(
        number=number,
        kind=kind,
        item=about if isinstance(about, Item) else None,
        consignment=about if isinstance(about, Consignment) else None,
        on=on,
        known_by=known_by,
        made_at=at,
        made_by=made_by[:200],
        made_by_user=user,
        sha256=hashlib.sha256(content).hexdigest(),
        replaces=list(replaces),
    )
    ends = ends_of(item.pk for item in items)
    rows = ((item, *ends.get(item.pk, (0, START))) for item in items)
    Carried.objects.bulk_create(
        Carried(paper=paper, item=item, position=position, head=head)
        for item, position, head in rows
    )
    return paper
