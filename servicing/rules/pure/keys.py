"""The keys of a row: those of which it has exactly one, those it needs, and all others."""

FORMS = ("every", "calendar", "after", "life", "counts")
NEEDED = ("id", "task", "level", "when", "source", "seen")
OPTIONAL = (
    "unless",
    "limit",
    "from",
    "due",
    "notice",
    "satisfied_by",
    "clock",
    "late_counts_back",
    "bars",
    "bars_by",
    "valid_from",
    "valid_until",
    "note",
    "edition",
    "checked_on",
)
