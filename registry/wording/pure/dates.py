"""How a day and a moment are said to people, in every sentence, on screen and on paper.

Machines get ISO 8601 (`isoformat`): lists and what is said of their cells, JSON, addresses,
names of files, the ledger's canonical form. Templates write the same as here, with `date`.
"""

from datetime import date, datetime

MONTHS = (
    *("January", "February", "March", "April", "May", "June"),
    *("July", "August", "September", "October", "November", "December"),
)


def day_words(day: date) -> str:
    """Return a day as people read it without doubt, such as 5 Mar 2026."""
    return f"{day.day} {month_words(day)}"


def month_words(day: date) -> str:
    """Return the month that holds a day, such as Mar 2026."""
    return f"{MONTHS[day.month - 1][:3]} {day.year:04}"


def moment_words(at: datetime) -> str:
    """Return a moment to the minute by its own clock, such as 5 Mar 2026, 14:03.

    Without its zone: pages and papers say that once, beside their moments.
    """
    return f"{day_words(at)}, {at.hour:02}:{at.minute:02}"


def moment_and_zone(at: datetime) -> str:
    """Return a moment where nothing beside it names the zone: 5 Mar 2026, 14:03 (UTC)."""
    return f"{moment_words(at)} ({zone_name(at)})"


def in_the_future(day: date, today: date) -> str:
    """Return the sentence that refuses a day to come, by the day at the site."""
    return f"{day_words(day)} is in the future; today at the site is {day_words(today)}."


def zone_name(at: datetime) -> str:
    """Return the name of a moment's time zone, good for other moments in it too."""
    return str(getattr(at.tzinfo, "key", None) or at.tzname())
