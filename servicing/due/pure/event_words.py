"""What the trade says of an item to which something was done, or happened."""

from servicing.ledger.pure.meter import HOURS_RUN

DONE = {
    "cleaning": "cleaned",
    "disinfection": "disinfected",
    "drying": "dried",
    "functional-test": "tested",
    "tightness-test": "tested",
    "flow-test": "flow-tested",
    "hydrostatic-retest": "retested",
    "periodic-inspection": "inspected",
    "visual-inspection": "inspected",
    "external-inspection": "inspected outside",
    "internal-inspection": "inspected inside",
    "overhaul": "overhauled",
    "repair": "repaired",
    "calibration": "calibrated",
    "filter-change": "given a new filter",
}
_HAPPENED = {
    **DONE,
    "use": "used",
    "fill": "filled",
    "emptied": "emptied",
    "impact": "took a blow",
    "overheating": "overheated",
    "damage": "damaged",
    "contamination": "contaminated",
    "corrosion-found": "corrosion found",
    "leak-found": "leak found",
    "relocation": "moved",
    "filter-change": "filter changed",
    "part-renewal": "part renewed",
    HOURS_RUN: "ran its hours",
}


def event_words(event: str) -> str:
    """Return what happened to an item, such as used; the task itself where no word is known."""
    return _HAPPENED.get(event) or event.replace("-", " ") or "something happened"


def undated_words(event: str) -> str:
    """Return why a task has no date, by what stands in the place of its event, if anything."""
    if event == HOURS_RUN:
        return "nobody can say how many hours it has run since the last pass"
    return "no record and no made date to count from"


def what_settles(event: str) -> str:
    """Return what gives such a task a date, as an order."""
    return (
        "enter what its meter showed then" if event == HOURS_RUN else "enter when it was last done"
    )
