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


def own_outcome(word: Word, *, may_condemn: bool) -> str:
    """Return what the ledger takes down at once of a test of our own.

    may_condemn: whether whoever enters it may condemn; if not, a condemnation is a fail.
    """
    return "fail" if word is Word.CONDEMN and not may_condemn else LEDGER_WORDS[word]


def ledger_outcome(house: Word, ours: Word | None, *, may_condemn: bool) -> str:
    """Return what the ledger takes down at once.

    The stricter of both. A condemnation on which the two disagree, or that is entered by
    somebody who may not condemn, is a fail: it takes the cylinder out of service just the
    same, and a condemnation, which nothing ever undoes, is left to the manager who settles
    the matter. ours: None where we can't judge. may_condemn: of whoever enters it.
    """
    if ours is None or ours is house:
        return own_outcome(house, may_condemn=may_condemn)
    counted = stricter(house, ours)
    return "fail" if counted is Word.CONDEMN else LEDGER_WORDS[counted]
