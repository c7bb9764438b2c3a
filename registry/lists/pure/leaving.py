"""Lists that leave as CSV: no spreadsheet computes in them, and ours reads them back alike."""

import csv
import io
from collections.abc import Iterable, Iterator, Sequence
from datetime import date, datetime

from registry.cells.pure.bare import FORMULA_SIGNS

BYTE_ORDER_MARK = "\ufeff"
"""At the beginning, by which spreadsheets know UTF-8."""

_PIECE = 1 << 16


def safe_cell(value: object) -> str:
    """Return a value as a cell: a day or a moment as ISO 8601, None empty.

    A formula's sign comes to stand behind an apostrophe, which reading takes off again.
    """
    if isinstance(value, date | datetime):
        return value.isoformat()
    text = "" if value is None else str(value)
    return f"'{text}" if text.startswith(FORMULA_SIGNS) else text


def csv_pieces(columns: Sequence[str], rows: Iterable[Iterable[object]]) -> Iterator[str]:
    """Yield a list as CSV by RFC 4180, piece by piece, so that a long one never lies in memory."""
    text = io.StringIO(newline="")
    text.write(BYTE_ORDER_MARK)
    writer = csv.writer(text)
    writer.writerow(columns)
    for row in rows:
        writer.writerow([safe_cell(value) for value in row])
        if text.tell() > _PIECE:
            yield text.getvalue()
            text.seek(0)
            text.truncate()
    yield text.getvalue()


def file_name(*words: str) -> str:
    """Return words as the name of a CSV file that every system takes, without its folder."""
    joined = "-".join(filter(None, words))
    return (
        "".join(c if c.isascii() and (c.isalnum() or c in "-.") else "-" for c in joined) + ".csv"
    )
