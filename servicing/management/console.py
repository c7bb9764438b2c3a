"""What the commands about tasks share."""

from django.core.management.base import CommandError

from servicing.rules.queries import known_tasks


def task_named(text: str) -> str:
    """Return a task's name, or nothing for all. An unknown one is wrong use: exit status 2.

    Without this a misspelt task would read as "nothing is due".
    """
    if text and text not in known_tasks():
        raise CommandError(f"there is no task {text!r}; manage.py due shows them", returncode=2)
    return text
