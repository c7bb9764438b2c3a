"""Finding the line of a row or of a key in a TOML text, for messages that point at it."""

import re


def row_lines(text: str, name: str) -> list[int]:
    """Return the line, counted from 1, of every [[name]] in a TOML text."""
    row = re.compile(rf"\s*\[\[\s*{re.escape(name)}\s*\]\]")
    return [number for number, line in enumerate(text.splitlines(), 1) if row.match(line)]


def key_line(text: str, start: int, key: str) -> int:
    """Return the line of a key in the row that begins on line `start`, else `start` itself."""
    given = re.compile(rf"\s*{re.escape(key)}\s*=")
    for number, line in enumerate(text.splitlines()[start:], start + 1):
        if line.lstrip().startswith("["):
            break
        if given.match(line):
            return number
    return start
