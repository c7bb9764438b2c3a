"""What the trade does before and after a cylinder is changed, as steps to confirm.

No published source was seen for these: they are common practice, and say so on screen. The
maker's instruction comes first.
"""

SOURCE = "common practice; the maker's instruction comes first"

REMOVING = (
    "The cylinder valve is closed.",
    "The system is vented: the gauge reads zero.",
    "The cylinder is unscrewed by hand, without tools.",
)
FITTING = (
    "Threads and seal are clean and whole, on the valve and on the connector.",
    "The cylinder is screwed in hand-tight, without tools.",
    "The strap or clamp of the frame holds the cylinder.",
)
AFTERWARDS = "Now check for leaks with the valve open, and log the tightness or functional test."


def steps(*, removing: bool, fitting: bool) -> tuple[str, ...]:
    """Return the steps to confirm when a cylinder comes out, goes in, or both."""
    return (*(REMOVING if removing else ()), *(FITTING if fitting else ()))
