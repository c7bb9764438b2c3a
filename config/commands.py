"""The commands of the program, as manage.py runs them from a checkout and `neckring` installed."""

import os
import sys
from difflib import get_close_matches
from typing import Any, NoReturn

from django.conf import settings
from django.core.exceptions import ImproperlyConfigured
from django.core.management import ManagementUtility, get_commands
from django.core.management.base import BaseCommand, CommandParser
from django.db.utils import OperationalError, ProgrammingError


class Commands(ManagementUtility):
    """Django's own, but that the version is ours and an unknown command is wrong use."""

    def execute(self) -> None:
        if self.argv[1:] in (["--version"], ["version"]):
            sys.stdout.write(f"{settings.VERSION}\n")
        else:
            super().execute()

    def fetch_command(self, subcommand: str) -> Any:
        # Settings first: where they can't be read, only Django's own commands are known.
        known = get_commands() if settings.INSTALLED_APPS else {}
        if subcommand not in known:
            near = [f"did you mean {name}? " for name in get_close_matches(subcommand, known, n=1)]
            hint = "".join(near) + f"{self.prog_name} help names them all"
            said = f"there is no command {subcommand!r}; {hint}"
            sys.stderr.write(f"{self.prog_name}: error: {said}\n")
            sys.exit(2)
        return super().fetch_command(subcommand)


def refuse(parser: CommandParser, message: str) -> NoReturn:
    """Say in one line what is wrong with the words of a command, and where to read on."""
    parser.exit(2, f"{parser.prog}: error: {message}; see {parser.prog} --help\n")


def _version(_: BaseCommand) -> str:
    return str(settings.VERSION)


def main() -> None:
    """Run the command that was typed. Exit status: 0 done, 1 the data says no, 2 wrong use."""
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings")
    # Every parser of every command is made by Django; without this it prints its usage first.
    CommandParser.error = refuse  # type: ignore[assignment]
    BaseCommand.get_version = _version  # type: ignore[assignment]
    try:
        Commands(sys.argv).execute()
        sys.stdout.flush()
    except BrokenPipeError:
        # The reader (such as `head`) has seen enough; that is no fault of ours.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    except ImproperlyConfigured as error:
        sys.stderr.write(f"{error}\n")
        sys.exit(2)
    except (OperationalError, ProgrammingError) as error:
        reason = str(error).strip().splitlines()[0]
        migrate = f"{settings.PROGRAM} migrate"
        sys.stderr.write(f"database: {reason}; is it there, and has {migrate} been run?\n")
        sys.exit(2)
    except KeyboardInterrupt:
        sys.exit("Stopped. What was not finished has not been written.")
