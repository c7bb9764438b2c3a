#!/usr/bin/env python
"""Run the program's commands: `python manage.py help` lists them."""

import os
import sys

from django.core.exceptions import ImproperlyConfigured
from django.core.management import execute_from_command_line
from django.db.utils import OperationalError, ProgrammingError

if __name__ == "__main__":
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings")
    try:
        execute_from_command_line(sys.argv)
        sys.stdout.flush()
    except BrokenPipeError:
        # The reader (such as `head`) has seen enough; that is no fault of ours.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    except ImproperlyConfigured as error:
        sys.stderr.write(f"{error}\n")
        sys.exit(2)
    except (OperationalError, ProgrammingError) as error:
        reason = str(error).strip().splitlines()[0]
        sys.stderr.write(f"database: {reason}; is it there, and has manage.py migrate been run?\n")
        sys.exit(2)
    except KeyboardInterrupt:
        sys.exit("Stopped. What was not finished has not been written.")
