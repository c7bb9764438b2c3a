"""Reading the trail, and the check of its chain."""

from registry.trail.models import TrailEntry
from registry.trail.pure import START, BrokenTrail, first_broken


def trail_head() -> tuple[int, str]:
    """Return (number, hash) of the latest entry; (0, 64 zeros) before the first."""
    last = TrailEntry.objects.order_by("-number").first()
    return (last.number, last.hash) if last else (0, START)


def broken_trail() -> BrokenTrail | None:
    """Return the first entry that does not hold, or None where the trail is whole."""
    rows = TrailEntry.objects.order_by("number").iterator(chunk_size=2000)
    return first_broken((row.change, row.previous_hash, row.hash) for row in rows)
