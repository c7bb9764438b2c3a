"""Commands start without what only drawing, sounding air or making workbooks needs."""

from pathlib import Path

from tests.console import python

DRAWS = ("report",)
"""These draw, and so load it at once."""
HEAVY = ("CoolProp", "PIL", "openpyxl", "reportlab")
LOADED = f"""
import sys
from importlib import import_module
import django
django.setup()
from django.core.management import get_commands
for name, app in get_commands().items():
    ours = app in ("registry", "servicing", "reports")
    if ours and name not in {DRAWS!r}:
        import_module(f"{{app}}.management.commands.{{name}}")
print(sorted(set({HEAVY!r}) & set(sys.modules)))
"""


def test_no_command_loads_what_it_may_not_need(tmp_path: Path) -> None:
    said = python(tmp_path, "-c", LOADED, DJANGO_SETTINGS_MODULE="config.settings")
    assert (said.out.strip(), said.err) == ("[]", "")
