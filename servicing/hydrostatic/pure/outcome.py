"""Two opinions on one test: the test house's and ours."""

from servicing.hydrostatic.pure.verdict import STRICTNESS, Word

LEDGER_WORDS = {
    Word.PASS: "pass",
    Word.REPEAT: "fail",
    Word.REJECT: "fail",
    Word.CONDEMN: "condemned",
}
"""What each verdict is called in the ledger."""


def stricter(one: Word, other: Word) -> Word:
    """Return the verdict that asks for more."""
    return max(one, other, key=STRICTNESS.__getitem__)


def ledger_outcome(house: Word, ours: Word | None) -> str:
    """Return what the ledger takes down at once.

    The stricter of both. Only a condemnation on which the two disagree is entered as a fail:
    it takes the cylinder out of service just the same, and a condemnation, which nothing ever
    undoes, is left to the manager who settles the matter. ours: None where we can't judge.
    """
    if ours is None or ours is house:
        return LEDGER_WORDS[house]
    counted = stricter(house, ours)
    return "fail" if counted is Word.CONDEMN else LEDGER_WORDS[counted]
