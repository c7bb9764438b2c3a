"""Template tags and filters write what they are given. Without a database: a query fails here.

That they import nothing that could read is held by a contract of import-linter.
"""

import re
from importlib import import_module
from pathlib import Path
from types import SimpleNamespace

from django import forms
from django.template import Context, Engine, Template
from django.template.loader import get_template

from registry.scanning.forms import ScanInput
from servicing.ledger.pure.entry import PASS, Reading

TEMPLATES = Path(__file__).resolve().parent.parent / "templates"
PACKAGES = ("config.", "registry.", "servicing.", "reports.")


class Scanned(forms.Form):
    """A form with a field that takes a scan."""

    tag = forms.CharField(widget=ScanInput())


GIVEN = {
    "text": "hydrostatic-retest",
    "reading": Reading("leak_mbar", "0.3"),
    "record": SimpleNamespace(task="use", outcome=PASS),
    "form": Scanned({}),
    "offered": SimpleNamespace(
        label="Masks", name="item-list", args=(), asked="kind=mask", about="M1", styled="act"
    ),
    "promise": "+".join,
}
TABLE = (
    '{% table "Masks" "list" %}<caption>Masks</caption>'
    '{% heads "Tag:id" "Next pressure test:date:Due" "Take out:hidden" "Note" %}'
    '{% row called="m1" %}{% cell %}M1{% cell %}2 May{% cell %}out {% cell "fail" %} {% endrow %}'
    '{% row "old" number=2 current=2 %}{% cell %}M2{% cell span=3 %}no{% endrow %}'
    '{% across "No more." %}{% foot %}{% row %}{% cell %}2{% endrow %}{% endtable %}'
)
DRAWN = (
    '<div class="scroll" role="region" tabindex="0" aria-label="Masks">'
    '<table class="list" role="table"><caption>Masks</caption>'
    '<thead role="rowgroup"><tr role="row">'
    '<th scope="col" role="columnheader" class="id">Tag</th>'
    '<th scope="col" role="columnheader" class="date">Next pressure test</th>'
    '<th scope="col" role="columnheader"><span class="vh">Take out</span></th>'
    '<th scope="col" role="columnheader">Note</th></tr></thead><tbody role="rowgroup">'
    '<tr role="row" id="m1">'
    '<th scope="row" role="rowheader" data-label="Tag" class="id">M1</th>'
    '<td role="cell" data-label="Due" class="date">2 May</td>'
    '<td role="cell" data-label="">out</td>'
    '<td role="cell" data-label="Note" class="fail"></td></tr>'
    '<tr role="row" class="old" aria-current="true">'
    '<th scope="row" role="rowheader" data-label="Tag" class="id">M2</th>'
    '<td role="cell" class="date" colspan="3">no</td></tr>'
    '<tr role="row"><td role="cell" colspan="4">No more.</td></tr></tbody><tfoot role="rowgroup">'
    '<tr role="row">'
    '<th scope="row" role="rowheader" data-label="Tag" class="id">2</th></tr></tfoot></table></div>'
)
WRITTEN = {
    "words": ("{{ text|words }}", "hydrostatic retest"),
    "name_and_value": ("{{ reading|name_and_value|join:' ' }}", "leak 0.3 mbar"),
    "person": ("{{ 'Ada Holm (ada)'|person }}", "Ada Holm"),
    "ended": ("{{ record|ended }}", "noted"),
    "signs": ("{{ '21 degC'|signs }}", "21 °C"),
    "waits_for_scan": ("{{ form|waits_for_scan }}", "True"),
    "before_digest": ("{{ 'fleet.csv'|before_digest }}", "fleet.csv"),
    "keeps": (
        "{% keeps 'note by' %}",
        '<input type="hidden" name="kept_for" value="note+by">',
    ),
    "act": (
        "{% act offered %}",
        '<a class="act" href="/items/?kind=mask">Masks<span class="vh">: M1</span></a>',
    ),
    "program": ("{% program %}", "manage.py"),
    "table": (TABLE, DRAWN),
}
DRAW = {"heads", "row", "cell", "across", "foot"}
"""Tags that only stand in a table."""


def test_every_tag_and_filter_writes_without_a_query() -> None:
    for template, written in WRITTEN.values():
        assert Template("{% load tables %}" + template).render(Context(GIVEN)) == written, template


def test_no_tag_or_filter_of_ours_is_left_out() -> None:
    engine = Engine.get_default()
    modules = {*engine.libraries.values(), *engine.builtins}
    ours = [import_module(name).register for name in modules if name.startswith(PACKAGES)]
    assert {name for each in ours for name in (*each.tags, *each.filters)} == {*WRITTEN, *DRAW}


def test_a_table_is_drawn_by_the_part_and_not_by_hand() -> None:
    by_hand = [
        path.relative_to(TEMPLATES).as_posix()
        for path in TEMPLATES.rglob("*.html")
        if re.search(r"<(table|tr|th|td)\b", path.read_text())
    ]
    assert by_hand == []


def test_heads_come_one_by_one_or_in_lists_and_a_short_one_says_its_whole_name() -> None:
    written = '{% table "By month" %}{% heads "Site" months "Sum:num" %}{% endtable %}'
    given = Context({"months": ["Mar:num:March 2027"]})
    assert Template("{% load tables %}" + written).render(given).count("<th ") == 3
    assert (
        '<th scope="col" role="columnheader" class="num"><abbr title="March 2027">Mar</abbr>'
        in (Template("{% load tables %}" + written).render(given))
    )


def test_every_template_can_be_read() -> None:
    for path in TEMPLATES.rglob("*.html"):
        get_template(path.relative_to(TEMPLATES).as_posix())
