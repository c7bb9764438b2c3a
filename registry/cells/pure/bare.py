"""What stands in one cell of a list or one field of a form, before anybody asks what it means.

What a keyboard or a spreadsheet adds by itself is taken off without a word; what it has
spoilt is refused.
"""

from registry.cells.pure.values import ValueProblem

SPACES = "".join(chr(point) for point in range(0x3001) if chr(point).isspace()) + (
    "\u200b\u200c\u200d\u200e\u200f\u2060\ufeff"
)
"""What is trimmed from both ends: every Unicode space, and marks that take no room at all."""
FORMULA_SIGNS = tuple("=+-@\t\r\n＝＋－＠")
"""What a cell that leaves must not begin with: spreadsheets would compute it, full-width too."""
MAX_CELL = 2000
ERRORS = ("#N/A", "#REF!", "#VALUE!", "#NAME?", "#DIV/0!", "#NUM!", "#NULL!")


def bare(cell: str) -> str:
    """Return a cell without the spaces around it.

    The apostrophe that an export puts before a text that looks like a formula goes as well.
    """
    text = cell.strip(SPACES)
    escaped = text.startswith("'") and text.lstrip("'").startswith(FORMULA_SIGNS)
    return text[1:] if escaped else text


def sound(text: str) -> str:
    """Return a bare cell; raises ValueProblem where its text can't be meant anywhere."""
    if len(text) > MAX_CELL:
        raise ValueProblem(f"has {len(text)} characters; write {MAX_CELL} at most")
    if text in ERRORS:
        raise ValueProblem("is a failed calculation; type the value itself or empty the cell")
    if len(text) > 2 and not text.strip("#"):
        raise ValueProblem("shows a column that was too narrow; widen it and save again")
    if "\ufffd" in text:
        raise ValueProblem("has letters that were lost when the file was saved; type it again")
    return text
