"""Template tags and filters write what they are given. Without a database: a query fails here.

That they import nothing that could read is held by a contract of import-linter.
"""

from importlib import import_module
from types import SimpleNamespace

from django import forms
from django.template import Context, Engine, Template

from registry.scanning.forms import ScanInput
from servicing.ledger.pure.entry import PASS, Reading

PACKAGES = ("config.", "registry.", "servicing.", "reports.")


class Scanned(forms.Form):
    """A form with a field that takes a scan."""

    tag = forms.CharField(widget=ScanInput())


GIVEN = {
    "text": "hydrostatic-retest",
    "reading": Reading("leak_mbar", "0.3"),
    "record": SimpleNamespace(task="use", outcome=PASS),
    "form": Scanned({}),
    "promise": "+".join,
}
WRITTEN = {
    "words": ("{{ text|words }}", "hydrostatic retest"),
    "said": ("{{ reading|said|join:' ' }}", "leak 0.3 mbar"),
    "person": ("{{ 'Ada Holm (ada)'|person }}", "Ada Holm"),
    "ended": ("{{ record|ended }}", "noted"),
    "signs": ("{{ '21 degC'|signs }}", "21 °C"),
    "waits_for_scan": ("{{ form|waits_for_scan }}", "True"),
    "before_digest": ("{{ 'fleet.csv'|before_digest }}", "fleet.csv"),
    "keeps": (
        "{% keeps 'note by' %}",
        '<input type="hidden" name="kept_for" value="note+by">',
    ),
}


def test_every_tag_and_filter_writes_without_a_query() -> None:
    for template, written in WRITTEN.values():
        assert Template(template).render(Context(GIVEN)) == written, template


def test_no_tag_or_filter_of_ours_is_left_out() -> None:
    engine = Engine.get_default()
    modules = {*engine.libraries.values(), *engine.builtins}
    ours = [import_module(name).register for name in modules if name.startswith(PACKAGES)]
    assert {name for each in ours for name in (*each.tags, *each.filters)} == WRITTEN.keys()
