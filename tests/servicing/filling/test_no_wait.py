"""The yes or no comes without loading an equation of state, which takes more than a second."""

from pathlib import Path

from tests.console import python

ASKED = """
import sys
from decimal import Decimal
from datetime import date
from servicing.filling.pure.may_fill import Subject, may_fill
from servicing.filling.pure.settling import stop_at_table
may_fill(Subject("1", "cylinder", date(2026, 1, 1), None), None)
stop_at_table(300)
print("django" in sys.modules, any(name.startswith("CoolProp") for name in sys.modules))
"""


def test_neither_the_framework_nor_the_equation_of_state_is_loaded(tmp_path: Path) -> None:
    assert python(tmp_path, "-c", ASKED).out.split() == ["False", "False"]
