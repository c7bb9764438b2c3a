"""Roles, names, passwords and pauses: what needs no database."""

import re
import unicodedata
from collections.abc import Iterable, Mapping
from datetime import timedelta
from enum import StrEnum
from types import MappingProxyType

DEMO_PREFIX = "demo-"
"""How the names of the demo's accounts begin; nobody else may take such a name."""

PRESENCE = timedelta(minutes=10)
"""How long a password counts as proof that its owner is at the screen (README, "Signing")."""

LONGEST_AWAY = timedelta(minutes=60)
"""How long somebody may be away before they are signed out; a bench needs both hands."""
LONGEST_SESSION = timedelta(hours=12)
"""How long after signing in everybody is signed out: one long shift."""

ENDS_SOON = timedelta(days=31)
"""So long before an authorisation ends it is said to end soon, and so long after that it ended."""
KEPT_FOR = timedelta(days=3)
"""How long what was typed after the end of a session waits for its owner: over a weekend."""
LONGEST_ADDRESS = 2000
"""How long an address may be to which a form is kept: a rack stands whole in its own."""
LONGEST_KEPT = 20_000
"""How many characters of one form are kept at the most."""
PROMISE = "kept_for"
"""The name of the field that promises to keep a form."""

FREE_TRIES = {"name": 5, "from": 20}
"""How many wrong passwords for one account, and from one address, bring no pause yet."""
LONGEST_PAUSE = timedelta(minutes=15)
FORGOTTEN_AFTER = {"name": timedelta(days=1), "from": timedelta(hours=1)}
"""After so long without a wrong password counting starts anew."""

BLOCKED = (
    "password",
    "passwort",
    "passphrase",
    "neckring",
    "breathingapparatus",
    "cylinder",
    "qwertyuiop",
    "qwerty",
    "qwertz",
    "asdfgh",
    "letmein",
    "welcome",
    "changeme",
    "secret",
    "admin",
    "administrator",
    "manager",
    "technician",
    "auditor",
    "workshop",
    "iloveyou",
    "abcdefgh",
    "abcdef",
    "abc",
    "login",
    "default",
    "test",
)
"""Words that are tried first by whoever guesses; on their own they make no password."""
FEWEST_OWN = 8
"""So many characters of a password must be its owner's own, beside words to be guessed."""
_SIGNS = str.maketrans({"0": "o", "1": "i", "3": "e", "4": "a", "5": "s", "@": "a", "$": "s"})
_RUN = "0123456789012345678909876543210987654321"


class Role(StrEnum):
    """What somebody may do; the name is the group's. Those with more rights come first.

    manager: everything a technician may, and sites and rule tables. technician: enter
    services, register and edit items. auditor: read and print.
    """

    MANAGER = "manager"
    TECHNICIAN = "technician"
    AUDITOR = "auditor"


class Right(StrEnum):
    """What somebody is asked for before a page opens or a use case begins.

    read: any page. record: enter services, fillings and decisions, register and edit items.
    manage: what only a fleet manager does. oversee: see who may do what, and since when.
    review: sign that the trail was read.
    """

    READ = "read"
    RECORD = "record"
    MANAGE = "manage"
    OVERSEE = "oversee"
    REVIEW = "review"


WHO_MAY: Mapping[Right, frozenset[Role]] = MappingProxyType(
    {
        Right.READ: frozenset(Role),
        Right.RECORD: frozenset({Role.TECHNICIAN, Role.MANAGER}),
        Right.MANAGE: frozenset({Role.MANAGER}),
        Right.OVERSEE: frozenset({Role.MANAGER, Role.AUDITOR}),
        Right.REVIEW: frozenset({Role.AUDITOR}),
    }
)
"""Which roles have a right: the one table that pages and use cases go by."""


def folded(name: str) -> str:
    """Return a name so that names which look alike or differ in capitals are equal."""
    return unicodedata.normalize("NFKC", name).casefold().strip()


def typed(password: str) -> str:
    """Return a password as it is kept: in Unicode NFKC, so that every keyboard gives the same.

    Nothing is cut off and no space is taken away. NIST SP 800-63B-4, 3.1.1.2.
    """
    return unicodedata.normalize("NFKC", password)


def guessable(password: str, words: Iterable[str] = ()) -> str:
    """Return the word that makes a password easy to guess; "" where nothing does.

    words: more words of this place, such as its sites' names. A word counts with signs
    for letters too (p4ssw0rd), and a password is refused only where fewer than
    FEWEST_OWN characters are left without such words, runs of figures and repetitions.
    """
    rest = "".join(sign for sign in typed(password).casefold() if sign.isalnum() or sign in "@$")
    rest = _without_runs(rest)
    found = ""
    places = {"".join(filter(str.isalnum, word.casefold())) for word in words}
    for word in sorted({*BLOCKED, *(p for p in places if len(p) >= 4)}, key=len, reverse=True):
        for text in (rest, rest.translate(_SIGNS)):
            if word in text:
                found = found or word
                rest = text.replace(word, "")
                break
    if len(set(rest)) >= 5 and len(_without_runs(rest)) >= FEWEST_OWN:
        return ""
    return found or "repeated characters or figures"


def _without_runs(text: str) -> str:
    """Return a text without figures in a row (1234, 2026) and signs repeated three times."""
    text = re.sub(r"(.)\1{2,}", r"\1", text)
    return re.sub(r"\d{3,}", lambda m: m[0] if _own(m[0]) else "", text)


def _own(figures: str) -> bool:
    """Say whether figures are more than a run or a year."""
    return figures not in _RUN and not re.fullmatch(r"(19|20)\d\d", figures)


def pause_after(failures: int, kind: str) -> timedelta:
    """Return how long to wait after so many wrong passwords: 2, 4, 8 s ... 15 minutes.

    kind: `name`, counted for one account, or `from`, counted for one address.
    """
    beyond = failures - FREE_TRIES[kind]
    return (
        min(LONGEST_PAUSE, timedelta(seconds=2 ** min(beyond, 20))) if beyond > 0 else timedelta()
    )


def one_line(text: object) -> str:
    """Return a text for a line of the security log: line breaks and controls encoded."""
    return "".join(
        sign if sign.isprintable() and sign != '"' else f"\\u{ord(sign):04x}" for sign in str(text)
    )[:300]
