"""What is wrong with one place in a list, and what to do about it."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, order=True)
class Problem:
    """One fault in a file that somebody brings in.

    file: the file's name as given. line: counted from 1, the line the row begins on
    (in a workbook: the sheet's row). column: the column's name, empty when the whole
    row or file is meant. value: what stands there, shortened. remedy: what is wrong
    with it and what to do, as the rest of a sentence.
    """

    file: str
    line: int
    column: str
    value: str
    remedy: str

    def __str__(self) -> str:
        where = f"{self.file}:{self.line}:"
        column = f" column {self.column}:" if self.column else ""
        value = f" {self.value!r}" if self.value else ""
        return f"{where}{column}{value} {self.remedy}"
