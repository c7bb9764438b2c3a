"""The entry for a WSGI server. It serves nothing where the ledger can't be trusted."""

import logging
import os
import sys

from django.core.wsgi import get_wsgi_application
from django.db import DatabaseError, connection

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings")
application = get_wsgi_application()

from servicing.oversight.actions import begin_serving  # noqa: E402 (models load first)

try:
    if reason := begin_serving():
        sys.exit(f"Neckring does not serve: {reason}.")
except DatabaseError as error:
    # It may come up later than we do; until then /ready says no.
    logging.getLogger(__name__).warning("The database does not answer: %s", error)
finally:
    connection.close()
