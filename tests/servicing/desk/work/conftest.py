"""The register that the tests of lists stand on."""

from registry.sites.models import Site
from tests.servicing.desk.work.listed import fill
from tests.worlds import world_fixture


@world_fixture
def fleet(station: Site) -> Site:
    """Thirty items at the station and above it."""
    fill(station, range(30))
    return station
