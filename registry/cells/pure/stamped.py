"""Words as they are stamped on metal, read so that none passes for another.

The rules go by these words letter for letter. A word that is a known one in other signs (3HT,
DOT3HT, DOT-3HT1850) would slip past all of them, and the cylinder would get the longer interval
of its neighbours: it is refused with the word that is meant. A word that nobody knows is taken.
"""

import re
from collections.abc import Iterable

from registry.cells.pure.codes import code
from registry.cells.pure.values import ValueProblem

LONGEST = 40
SHORTEST_DESIGN = 2
"""A word of fewer letters (the E of DOT-E) may be anything."""

_MARK = re.compile(r"[a-z0-9][a-z0-9-]{0,29}")
_SIGNS = re.compile(r"[^A-Z0-9]+")
_MORE = re.compile(r"\d{3}.*")
_MORE_APART = re.compile(r"[-:./]\d{3}.*")


class Specifications:
    """The known words for what a cylinder was made by, longest first."""

    def __init__(self, words: Iterable[str]) -> None:
        self._words = sorted(words, key=len, reverse=True)

    def read(self, text: str) -> str:
        """Return a specification as stamped, in capitals with hyphens for spaces.

        Raises ValueProblem for another way of writing, and for a known word in other signs,
        without the body before it, or with a pressure, number or year behind it.
        """
        stamped = code(text, longest=LONGEST)
        wanted = re.sub(r"[\s_]+", "-", stamped).upper()
        if stamped != wanted:
            right = self._meant(wanted)[0] or wanted
            raise ValueProblem(f"has spaces or small letters; write it with hyphens, {right}")
        meant, remedy = self._meant(stamped)
        if meant and meant != stamped:
            raise ValueProblem(remedy)
        return stamped

    def _meant(self, text: str) -> tuple[str, str]:
        """Return the known word that a text must mean, with what to do; or nothing."""
        if text in self._words:
            return text, ""
        signs = _SIGNS.sub("", text)
        for word in self._words:
            if signs == _SIGNS.sub("", word):
                return word, f"is known as {word}; write it so, as the rules go by it"
            if _goes_on(word, text, signs):
                return word, (
                    f"is {word} with something behind it; write {word} alone, as the rules go by it"
                )
        for word in self._words:
            design = word.partition("-")[2]
            if len(design) >= SHORTEST_DESIGN and (
                signs == _SIGNS.sub("", design) or _goes_on(design, text, signs)
            ):
                return word, f"does not say by which body; write it as stamped, such as {word}"
        return "", ""


def _goes_on(word: str, text: str, signs: str) -> bool:
    """Say whether a text is a word with figures behind it: a pressure, a permit, a year.

    Behind a word that ends with a figure only what is set apart counts: EN-1964-1999 is not
    the first part of EN 1964.
    """
    plain = _SIGNS.sub("", word)
    if plain[-1].isalpha() and signs.startswith(plain):
        return _MORE.fullmatch(signs[len(plain) :]) is not None
    return text.startswith(word) and _MORE_APART.fullmatch(text[len(word) :]) is not None


class Marks:
    """The known words for what is marked on an item or said of how it is kept."""

    def __init__(self, words: Iterable[str]) -> None:
        self._words = {_bare(word): word for word in words}

    def read(self, text: str) -> tuple[str, ...]:
        """Return the words of a `;` list, each once, in their order.

        Raises ValueProblem for what is no such word, and for a known one with other hyphens.
        """
        words = [part.strip() for part in text.split(";") if part.strip()]
        for word in words:
            if _MARK.fullmatch(word) is None:
                raise ValueProblem(
                    f"holds the mark {word!r}; write marks as small words with ; between them, "
                    "such as plus;star"
                )
            if (meant := self._words.get(_bare(word), word)) != word:
                raise ValueProblem(f"holds the mark {word!r}, which is known as {meant}; write so")
        return tuple(dict.fromkeys(words))


def _bare(word: str) -> str:
    return word.replace("-", "")
