"""Which instrument can serve for what a procedure needs."""

from collections.abc import Sequence

from servicing.bench.pure.needs import PLAIN, measured_with
from servicing.bench.pure.procedure import Procedure
from servicing.bench.pure.ranges import too_coarse
from servicing.bench.queries.procedures import current_procedures
from servicing.due.queries.instruments import CALIBRATED_CYLINDER, Calibration


def refusal_for(chosen: Calibration, word: str, by: Sequence[Procedure]) -> str:
    """Return why nothing may be judged with an instrument chosen for a word, or nothing.

    by: the procedures it may be for; where there are several, how fine it must show is only
    known once one is chosen.
    """
    if refusal := chosen.refusal_as(word):
        return refusal
    coarse = too_coarse(chosen.serving.ranges, measured_with(by[0], word)) if len(by) == 1 else ""
    return f"{chosen.item.tag}, {chosen.item.type}, {coarse}" if coarse else ""


def instrument_words() -> list[str]:
    """Return all that an instrument can serve as, in alphabetical order."""
    versions = current_procedures().values()
    needed = {word for version in versions for word in version.procedure.needs}
    return sorted((needed | {CALIBRATED_CYLINDER}) - PLAIN)
