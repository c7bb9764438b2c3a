"""The only file that asks what day or moment it is."""

from datetime import UTC, date, datetime
from zoneinfo import ZoneInfo

from registry.sites.models import Site


def now() -> datetime:
    """Return this moment, in UTC."""
    return datetime.now(UTC)


def today_at(site: Site) -> date:
    """Return the calendar day it is at a site now.

    From instant and zone to the day, never by building a local midnight: there are
    nights in which midnight does not exist (tz database, e.g. Beirut 2026-03-29).
    """
    return today_in(site.timezone)


def today_in(zone: str) -> date:
    """Return the calendar day it is now in a zone of the tz database."""
    return now().astimezone(ZoneInfo(zone)).date()


def today_anywhere() -> date:
    """Return the latest calendar day it is anywhere on earth (UTC+14)."""
    return today_in("Pacific/Kiritimati")
