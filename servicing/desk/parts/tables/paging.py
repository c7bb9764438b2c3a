"""Which rows of a list stand on a page, and where the next and the last are.

A list of up to MOST rows is counted and has numbered pages. A longer one is counted only so
far, and goes on by the key of the last row shown, forwards and backwards (`keyset.py`), so that
no page costs more for there being more. An address with a number is answered all the same.
"""

from collections.abc import Mapping
from functools import cached_property
from typing import Any

from django.core.paginator import EmptyPage, Page, PageNotAnInteger, Paginator
from django.db.models import QuerySet
from django_tables2.rows import BoundRows

from servicing.desk.parts.tables.keyset import NoSuchKey, Ordered, cut

MOST = 5000
"""So many rows of a list are counted; whoever wants to know more asks for it."""
LAST = "last"
Asked = Mapping[str, str]


class Pages(Paginator):  # type: ignore[type-arg]
    """The pages of a table's rows. exactly: count them all, however long it takes."""

    def __init__(self, rows: BoundRows, per_page: int, *, exactly: bool = False) -> None:
        super().__init__(rows, per_page)
        self.table = rows.table
        data = getattr(rows.data, "data", None)
        self.query = data if isinstance(data, QuerySet) else None
        self.exactly = exactly

    @cached_property
    def found(self) -> int:
        """How many rows there are, or one more than MOST."""
        if self.query is None:
            return len(self.object_list)
        rows = self.query.order_by().values("pk")
        return (rows if self.exactly else rows[: MOST + 1]).count()

    @property
    def many(self) -> bool:
        """Whether there are too many to number all pages."""
        return self.query is not None and self.found > MOST

    @cached_property
    def count(self) -> int:
        """How many rows are counted."""
        return self.found if self.exactly else min(self.found, MOST) if self.many else self.found

    @property
    def several(self) -> bool:
        """Whether one page doesn't hold them all."""
        return self.num_pages > 1

    @property
    def words(self) -> str:
        """How many rows there are, as a page says it."""
        return f"more than {MOST}" if self.many and not self.exactly else str(self.found)

    def asked(self, address: Asked, field: str) -> "ShownPage":
        """Return the page that an address asks for; one that isn't there is the last one.

        field: the name of the number in the address.
        """
        if self.many:
            return self._of_many(address, field)
        try:
            number = self.validate_number(address.get(field, "1"))
        except PageNotAnInteger:
            number = self.num_pages if address.get(field) == LAST else 1
        except EmptyPage:
            number = self.num_pages
        if self.query is None:
            return ShownPage(self.page(number).object_list, number, self)
        start = (number - 1) * self.per_page
        rows = cut(self.query, start, start + self.per_page)
        return ShownPage(BoundRows(data=rows, table=self.table), number, self)

    def _of_many(self, address: Asked, field: str) -> "ShownPage":
        assert self.query is not None  # noqa: S101 (said by `many`)
        rows, most = Ordered(self.query), self.per_page
        try:
            number: int | None = max(int(address.get(field, "1")), 1)
        except ValueError:
            number = None if address.get(field) == LAST else 1
        try:
            if (key := address.get("after")) is not None:
                return self._keyed(rows.after(key, most + 1), number, rows, forwards=True)
            if (key := address.get("before")) is not None:
                return self._keyed(rows.before(key, most + 1), number, rows, forwards=False)
        except NoSuchKey:
            pass
        if number is None or number > MOST // most:
            return self._keyed(rows.last(most + 1), None, rows, forwards=False)
        found = rows.first((number - 1) * most, most + 1)
        return self._keyed(found, number, rows, forwards=True)

    def _keyed(
        self, found: list[Any], number: int | None, rows: Ordered, *, forwards: bool
    ) -> "ShownPage":
        """Return a page of rows read with one more, which says whether it goes on there."""
        goes_on = len(found) > self.per_page
        shown = found[: self.per_page] if forwards else found[-self.per_page :]
        before = (goes_on or number is None) if not forwards else number != 1
        after = goes_on if forwards else number is not None
        page = ShownPage(BoundRows(data=shown, table=self.table), number, self)
        if shown:
            page.key_before = rows.key_of(shown[0]) if before else ""
            page.key_after = rows.key_of(shown[-1]) if after else ""
        return page


class ShownPage(Page):  # type: ignore[type-arg]
    """The rows on a page. number: None at the end of a list that isn't counted.

    key_before, key_after: where the pages beside it begin, of a list too long for numbers.
    """

    key_before = key_after = ""

    def __init__(self, rows: Any, number: int | None, pages: Pages) -> None:
        super().__init__(rows, number or 0, pages)
        self.pages = pages

    def has_next(self) -> bool:
        return bool(self.key_after) if self.pages.many else super().has_next()

    def has_previous(self) -> bool:
        return bool(self.key_before) if self.pages.many else super().has_previous()

    @property
    def next_number(self) -> str:
        """The number of the next page, as far as pages have one."""
        return str(self.number + 1) if self.number else LAST

    @property
    def previous_number(self) -> str:
        """The number of the page before, as far as pages have one."""
        return str(max(self.number - 1, 1)) if self.number else LAST

    @property
    def rows(self) -> str:
        """Which rows are on it."""
        many = len(self.object_list)
        if not self.number:
            return f"the last {many}"
        first = (self.number - 1) * self.pages.per_page + 1
        return f"{first} to {first + many - 1}"

    @property
    def words(self) -> str:
        """Which page it is, and which rows."""
        if self.pages.many:
            return f"page {self.number}: {self.rows}" if self.number else self.rows
        of = f"page {self.number} of {self.pages.num_pages}"
        return f"{of}: {self.rows}" if self.pages.several else of
