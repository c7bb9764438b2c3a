"""The tasks and events the trade knows, beside those that rule tables name (design.md 2, 4)."""

COMMON_TASKS = frozenset(
    {
        *("periodic-inspection", "hydrostatic-retest", "internal-inspection", "visual-inspection"),
        *("functional-test", "flow-test", "tightness-test", "cleaning", "disinfection"),
        *("overhaul", "repair", "diaphragm-renewal", "disc-renewal", "part-renewal"),
        *("calibration", "air-quality-test", "filter-change", "service-life"),
        *("use", "fill", "impact", "overheating", "damage", "contamination", "corrosion"),
    }
)
EVENTS = frozenset({"use", "fill", "impact", "overheating", "damage", "contamination"})
