"""What stays at hand in a session: instruments, with the site and the person, and the units.

Measured values are never here.
"""

from collections.abc import Mapping
from typing import Any

from registry.people.queries import PersonRequest, viewer_of

KEY = "bench"


def at_hand(request: PersonRequest) -> dict[str, Any]:
    """Return what this person chose before at this site in this session."""
    held = request.session.get(KEY) or {}
    return held if held.get("whose") == _whose(request) else {}


def chosen_instruments(request: PersonRequest) -> dict[str, int]:
    """Return the instruments chosen before, by the procedure's word."""
    return dict(at_hand(request).get("instruments", {}))


def keep_instruments(request: PersonRequest, chosen: Mapping[str, int]) -> None:
    """Keep the instruments chosen, for the next piece of work."""
    _keep(request, instruments={**chosen_instruments(request), **chosen})


def reads_psi(request: PersonRequest) -> bool:
    """Say whether pressures and volumes stand in psi and ft3 on this person's pages.

    As the person chose in this session, else as the person's site asks.
    """
    site = viewer_of(request.user).site
    return bool(at_hand(request).get("psi", site is not None and site.units == "psi"))


def keep_units(request: PersonRequest, *, psi: bool) -> None:
    """Keep in which units fields stand."""
    _keep(request, psi=psi)


def _keep(request: PersonRequest, **more: object) -> None:
    request.session[KEY] = {**at_hand(request), "whose": _whose(request), **more}


def _whose(request: PersonRequest) -> list[object]:
    site = viewer_of(request.user).site
    return [request.user.pk, site.pk if site else None]
