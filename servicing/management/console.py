"""What the commands about tasks and stations share."""

from django.conf import settings
from django.core.management.base import CommandError, OutputWrapper

from servicing.due.pure.turnout import Shortfall
from servicing.rules.queries import known_tasks


def task_named(text: str) -> str:
    """Return a task's name, or nothing for all. An unknown one is wrong use: exit status 2.

    Without this a misspelt task would read as "nothing is due".
    """
    if text and text not in known_tasks():
        told = f"there is no task {text!r}; {settings.PROGRAM} due shows them"
        raise CommandError(told, returncode=2)
    return text


def write_shortfall(told: Shortfall, stdout: OutputWrapper, since: str = "") -> None:
    """Write which stations fall below their least number and which sets stop being ready.

    since: from when on, in words behind their names; empty for at once.
    """
    for fall in told.falls:
        stdout.write(f"{fall.code}{since}: {fall.words}")
    if told.stops:
        stdout.write(f"ready no more{since}: {', '.join(stood.tag for stood in told.stops)}")
