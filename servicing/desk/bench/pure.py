"""What the page of a batch offers."""

from servicing.desk.parts.pure import APART, MAIN, Act


def acts_of_batch(pk: int, *, items: int) -> tuple[Act, ...]:
    """Return what the page of a batch offers. items: how many were scanned into it."""
    check = Act("Check and sign the batch", "bench-batch-check", (pk,), MAIN)
    away = Act("Throw this batch away", "bench-batch-away", (pk,), APART)
    return (check, away) if items else (away,)
