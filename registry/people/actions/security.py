"""The security log: who signed in or out, and what was refused."""

import logging

from registry.people.pure import one_line
from registry.sites.clock import now

SECURITY = logging.getLogger("neckring.security")


def security(what: str, **details: object) -> None:
    """Write one line to the security log, in UTC. Never hand a password down."""
    said = " ".join(f'{name}="{one_line(value)}"' for name, value in details.items())
    SECURITY.info("%s %s %s", now().strftime("%Y-%m-%dT%H:%M:%SZ"), what, said)
