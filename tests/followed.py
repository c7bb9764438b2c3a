"""What a site falls under, read from the files of rule tables and without a database.

The program asks the register (`rules_by_site`); `tests/servicing/rules/test_included.py` holds it.
"""

from collections.abc import Iterable

from servicing.rules.pure.rule import Rule, Table


def with_included(tables: Iterable[Table]) -> dict[str, tuple[Rule, ...]]:
    """Return what a site that follows a table falls under, by the table's name.

    The table's own rows, then those of the tables it includes; each row keeps the name of the
    table in which it stands. Raises KeyError where an included table is not among them.
    """
    by_name = {table.name: table for table in tables}
    return {
        name: (
            *table.rules,
            *(rule for other in table.includes for rule in by_name[other].rules),
        )
        for name, table in by_name.items()
    }
