"""What the commands share: reading a file, naming its problems, showing progress."""

import sys
from argparse import ArgumentTypeError
from collections.abc import Callable, Sequence
from datetime import UTC, date, datetime, time
from decimal import Decimal, InvalidOperation
from pathlib import Path

from django.core.management.base import CommandError, OutputWrapper

from registry.items.models import Item
from registry.items.queries import named_by
from registry.lists.pure.problems import Problem
from registry.sites.models import Site
from registry.sites.queries import site_coded


def read_bytes(path: Path) -> bytes:
    """Return a file's content. An unreadable file is wrong use: exit status 2."""
    try:
        return path.read_bytes()
    except OSError as error:
        raise CommandError(f"{path}: can't be read: {error.strerror}", returncode=2) from error


def moment(text: str) -> datetime:
    """Return a moment from ISO 8601 text, for argparse; without a zone it is UTC.

    A bare day means all of that day, up to its last instant.
    """
    try:
        found = datetime.fromisoformat(text)
        if len(text) == len("2026-05-14"):
            found = datetime.combine(found.date(), time.max)
        found = found if found.tzinfo else found.replace(tzinfo=UTC)
        found.astimezone(UTC)  # databases keep moments in UTC, and the calendar has two ends
    except (ValueError, OverflowError) as error:
        raise ArgumentTypeError(
            f"{text!r} is no moment; write one such as 2026-05-14T09:00+02:00"
        ) from error
    return found


def refuse(problems: Sequence[Problem], stderr: OutputWrapper) -> None:
    """Name every problem on standard error, one line each, and end with exit status 1."""
    if not problems:
        return
    for problem in problems:
        stderr.write(str(problem))
    many = "1 problem" if len(problems) == 1 else f"{len(problems)} problems"
    raise CommandError(f"{many} found, nothing was written")


def progress_on(stdout: OutputWrapper) -> Callable[[str, int, int], None]:
    """Return a function that says how far long work has come, each step on a line."""

    def show(what: str, done: int, of: int) -> None:
        # Some thirty lines at the most for the longest list.
        if done == of or done % max(1000, of // 10 // 1000 * 1000) == 0:
            stdout.write(f"  {what}: {done} of {of}")
            stdout.flush()

    return show


def day(text: str) -> date:
    """Return the day that an option names. Another text is wrong use: exit status 2."""
    try:
        return date.fromisoformat(text)
    except ValueError as error:
        raise ArgumentTypeError(f"{text!r} is no day; write one as YYYY-MM-DD") from error


def whole(least: int, most: int) -> Callable[[str], int]:
    """Return what reads a whole number between two others, for argparse."""

    def read(text: str) -> int:
        if text.isascii() and text.isdigit() and least <= Decimal(text) <= most:
            return int(text)
        raise ArgumentTypeError(f"{text!r}: write a whole number from {least} to {most}")

    return read


def figure(least: int | Decimal | None = None, most: int = 1_000_000) -> Callable[[str], Decimal]:
    """Return what reads a figure up to `most`, and from `least` or its opposite, for argparse."""
    lowest = -most if least is None else least

    def read(text: str) -> Decimal:
        try:
            found = Decimal(text)
            if lowest <= found <= most:
                return found
        except InvalidOperation:  # no number, or one that is not in any order
            pass
        raise ArgumentTypeError(f"{text!r}: write a number such as 60.5, from {lowest} to {most}")

    return read


def site_with(code: str, known_by: datetime | None = None) -> Site:
    """Return a site by its code; see `site_coded`. An unknown one is wrong use: exit status 2."""
    site = site_coded(code, known_by)
    if site is None:
        raise CommandError(f"there is no site {code!r}; give the code of one", returncode=2)
    return site


def item_with(tag: str) -> Item:
    """Return an item by its tag, with type and site. An unknown one is wrong use: status 2."""
    item = Item.objects.select_related("type", "site").filter(tag=tag).first()
    if item is None:
        meant = ", ".join(f"{each.item.tag} ({each.because})" for each in named_by(tag).meant[:3])
        offered = f"; did you mean {meant}?" if meant else ""
        raise CommandError(f"there is no item with the tag {tag!r}{offered}", returncode=2)
    return item


def is_terminal() -> bool:
    """Say whether somebody sits at a terminal and can answer a question."""
    return sys.stdin.isatty()
