"""The tasks and events the trade knows, beside those that rule tables name."""

WITHDRAWAL, QUARANTINE = "withdrawal", "quarantine"
RETURN, CONDEMNATION = "return-to-service", "condemnation"
RETEST = "hydrostatic-retest"
"""After which the body that did it marks the cylinder (due/README 14)."""
RULING = "record-stands"
"""A manager's word that a record in doubt stands; it says of which record, and asks nothing."""
TAKES_OUT = (WITHDRAWAL, QUARANTINE)
"""Each takes an item out of service until a pass of RETURN (due/README 6)."""
STANDING_TASKS = frozenset({*TAKES_OUT, RETURN, CONDEMNATION, RULING})
"""What is decided about an item, not done to it; each has its own use case."""

COMMON_TASKS = STANDING_TASKS | frozenset(
    {
        "periodic-inspection",
        RETEST,
        "internal-inspection",
        "visual-inspection",
        "functional-test",
        "flow-test",
        "tightness-test",
        "cleaning",
        "disinfection",
        "overhaul",
        "repair",
        "diaphragm-renewal",
        "disc-renewal",
        "part-renewal",
        "seal-renewal",
        "hose-renewal",
        "battery-renewal",
        "calibration",
        "air-quality-test",
        "filter-change",
        "meter-reading",
        "service-life",
        "use",
        "fill",
        "impact",
        "overheating",
        "damage",
        "contamination",
        "corrosion-found",
        "leak-found",
    }
)
EVENTS = frozenset(
    {
        "use",
        "fill",
        "impact",
        "overheating",
        "damage",
        "contamination",
        "corrosion-found",
        "leak-found",
    }
)
HAPPENS_TO_PARTS = EVENTS - {"fill"}
"""What happens to the parts of a set when it happens to the set (due/README 11). A cylinder is
filled, not a set."""
LOOKS = frozenset(
    {
        "internal-inspection",
        "external-inspection",
        "visual-inspection",
        "periodic-inspection",
        "filling-station-inspection",
        "yearly-service",
    }
)
"""Looks at a cylinder, which every retest has in it as well (ADR 6.2.1.6.1), and at what fills it.
No test of pressure or air is one of them.
"""
