"""Every procedure crossed with every kind, construction, way of breathing, fitting and country.

What must not be asked is read from the words of the step and of its source, not from its keys;
what must be asked stands in a list of its own. No step says by its keys what it does not say
to whoever reads it.
"""

import re
from collections.abc import Iterator
from itertools import product

import pytest

from registry.items.pure import Breathing, Construction, Kind
from servicing.bench.pure.applying import Facts
from servicing.bench.pure.procedure import Form, Procedure, Step
from tests.people import RULES
from tests.published.test_procedures import procedures

US, GENERAL = {"us-apparatus", "us-cylinders", "us-mines"}, {"general-apparatus"}
LAWS = {
    r"42 CFR|49 CFR": US,
    r"29 CFR": US | GENERAL,  # the general table takes its intervals from there, and says so
    r"SOR/": {"canada"},
    r"COSHH": {"united-kingdom"} | GENERAL,
    r"DGUV|FwDV": {"germany"} | GENERAL,
    r"Norway": set(),
}
"""Whose law a source cites, and the tables by whose adoption a site is under it."""
ELSEWHERE = "elsewhere the custom of the trade"
BY_NAME = {"air-norway": "no table of Norway; whoever tests the air chooses it by its name"}
SITES: tuple[frozenset[str], ...] = (
    frozenset(),
    *(frozenset({path.stem}) for path in sorted(RULES.glob("*.toml"))),
    frozenset({"iso-en-cylinders", "general-apparatus"}),
    frozenset({"canada", "general-apparatus"}),
)
WHOLE = frozenset({"frame", "cylinder", "reducer", "demand-valve", "mask"})
NOTHING: frozenset[str] = frozenset()


def known(**facts: str | frozenset[str] | None) -> Facts:
    """Return facts of an item; None for what nobody stated."""
    return {
        name: fact if isinstance(fact, frozenset) else frozenset({fact})
        for name, fact in facts.items()
        if fact is not None
    }


def items_of(kind: str) -> Iterator[Facts]:
    """Yield every item of a kind that the procedures can tell apart, at every site."""
    constructions = (*Construction, None) if kind == Kind.CYLINDER else (None,)
    breathes = kind in (Kind.MASK, Kind.DEMAND_VALVE, Kind.SET, Kind.FRAME)
    breathing = (*Breathing, None) if breathes else (None,)
    fitted = (NOTHING, WHOLE - {"cylinder"}, WHOLE) if kind in (Kind.SET, Kind.FRAME) else (None,)
    for built, breath, parts, tables in product(constructions, breathing, fitted, SITES):
        yield known(kind=kind, construction=built, breathing=breath, fitted=parts, tables=tables)


CROSSED = [
    (procedure, facts)
    for procedure in procedures().values()
    for kind in procedure.kinds
    for facts in items_of(kind)
    if procedure.applies.to(facts) is not False
]


def one(facts: Facts, name: str) -> str | None:
    return next(iter(facts.get(name, ())), None)


def strange(step: Step, facts: Facts) -> str:
    """Return why a step is not for an item, by what it says itself; or nothing."""
    built, breath = one(facts, "construction"), one(facts, "breathing")
    if step.text.startswith("Wrapped") and built == Construction.TYPE_1:
        return "bare metal has no wrapping"
    metal = step.text.startswith("Metal") or "metal:" in step.text.split(".")[0]
    if metal and built in (Construction.TYPE_3, Construction.TYPE_4):
        return "its outside is no metal"
    demand = re.match(r"Demand[- ](type|set)", step.text)
    if demand and breath == Breathing.POSITIVE:
        return "it works with positive pressure"
    if re.match(r"(Positive-pressure|Pressure-demand)", step.text) and breath == Breathing.NEGATIVE:
        return "it works without positive pressure"
    bare = one(facts, "kind") == Kind.FRAME and not facts["fitted"]
    return "nothing is fitted to it" if bare and re.search(OF_ITS_PARTS, step.text) else ""


OF_ITS_PARTS = (
    r"pressure of the cylinder|cylinder fully|^Cylinder|The cylinder's|hange the cylinder|"
    r"gives air|Weigh the set|Facepiece|[Dd]emand valve and mask"
)
"""What a step says that asks for a part of a set. The loss of pressure and the warning are
those of a frame itself, tested with a cylinder of the workshop."""


@pytest.mark.parametrize(
    "procedure", procedures().values(), ids=lambda procedure: str(procedure.id)
)
def test_no_step_is_asked_of_an_item_that_it_is_not_for(procedure: Procedure) -> None:
    found = {
        (step.id, why)
        for crossed, facts in CROSSED
        if crossed is procedure
        for step in procedure.for_item(facts).steps
        if (why := strange(step, facts))
    }
    assert not found


def test_no_law_of_another_country_is_asked() -> None:
    found = set()
    for procedure, facts in CROSSED:
        for step in procedure.for_item(facts).steps:
            cited = [of for law, of in LAWS.items() if re.search(law, step.source)]
            ours = not cited or any(of & facts["tables"] for of in cited)
            if not ours and ELSEWHERE not in step.source and procedure.id not in BY_NAME:
                found.add((procedure.id, step.id, step.source))
    assert not found


STEEL, CARBON = (
    {"kind": "cylinder", "construction": "type-1"},
    {
        "kind": "cylinder",
        "construction": "type-3",
    },
)
UNKNOWN_CYLINDER = {"kind": "cylinder"}
POSITIVE, NEGATIVE = {"breathing": "positive-pressure"}, {"breathing": "negative-pressure"}
BARE = {"kind": "frame", "fitted": NOTHING}
CUTS = {"cut-depth", "cut-share", "cut-length"}
FLOW_NEGATIVE = {"exhalation-demand", "flow-full", "flow-500-psi"}
FLOW_POSITIVE = {"exhalation-pressure-demand", "static"}


@pytest.mark.parametrize(
    ("procedure", "item", "asked", "not_asked"),
    [
        ("cylinder-external", STEEL, CUTS, {"wrapping", "dent-canada"}),
        ("cylinder-external", {**STEEL, "tables": "canada"}, {*CUTS, "dent-canada"}, {"wrapping"}),
        ("cylinder-external", CARBON, {"wrapping"}, {*CUTS, "dent-canada"}),
        ("cylinder-external", {**CARBON, "tables": "canada"}, {"wrapping"}, {"dent-canada"}),
        (
            "cylinder-external",
            {"kind": "cylinder", "construction": "type-2"},
            {"wrapping", *CUTS},
            set(),
        ),
        ("cylinder-external", UNKNOWN_CYLINDER, {"wrapping", *CUTS}, {"dent-canada"}),
        (
            "mask-tightness-test",
            {"kind": "mask", **POSITIVE},
            {"leak", "exhalation-positive"},
            {"exhalation-demand"},
        ),
        (
            "mask-tightness-test",
            {"kind": "mask", **NEGATIVE},
            {"leak", "exhalation-demand"},
            {"exhalation-positive"},
        ),
        (
            "mask-tightness-test",
            {"kind": "mask"},
            {"exhalation-demand", "exhalation-positive"},
            set(),
        ),
        (
            "demand-valve-test",
            {"kind": "demand-valve", **POSITIVE},
            {"leak", "static"},
            {"leak-open", "opening"},
        ),
        (
            "demand-valve-test",
            {"kind": "demand-valve", **NEGATIVE},
            {"leak", "leak-open", "opening"},
            {"static"},
        ),
        ("set-flow-test-us", {"kind": "set", **POSITIVE}, FLOW_POSITIVE, FLOW_NEGATIVE),
        ("set-flow-test-us", {"kind": "set", **NEGATIVE}, FLOW_NEGATIVE, FLOW_POSITIVE),
        ("mask-monthly-check", {"kind": "mask"}, {"condition"}, {"condition-valve"}),
        ("mask-monthly-check", {"kind": "demand-valve"}, {"condition-valve"}, {"condition"}),
        # A set always has a charge, also where the register knows of no cylinder in it.
        (
            "set-functional-test",
            {"kind": "set", "fitted": NOTHING},
            {"charge", "cylinder-date", "ready"},
            set(),
        ),
        (
            "set-functional-test",
            {"kind": "frame", "fitted": WHOLE},
            {"charge", "cylinder-date", "ready"},
            set(),
        ),
        (
            "set-functional-test",
            BARE,
            {"look", "hoses", "high-pressure-loss", "warning", "gauge-zero"},
            {"charge", "cylinder-date", "mass", "ready"},
        ),
        ("set-monthly-check", BARE, {"parts-frame", "warning"}, {"charge", "parts", "date"}),
        (
            "set-monthly-check",
            {"kind": "set", "fitted": WHOLE},
            {"charge", "parts"},
            {"parts-frame"},
        ),
        ("set-after-use-check", BARE, {"damage", "harness"}, {"demand-valve", "cylinder"}),
    ],
)
def test_an_item_has_the_steps_that_it_needs(
    procedure: str,
    item: dict[str, str | frozenset[str]],
    asked: set[str],
    not_asked: set[str],
) -> None:
    found = procedures()[procedure].for_item(known(**{"tables": NOTHING, **item}))
    steps = {step.id for step in found.steps}
    assert asked <= steps
    assert not not_asked & steps


def test_what_is_known_to_apply_is_measured_and_what_nobody_knows_may_be_left() -> None:
    """Only what is not known, or what the procedure leaves open, is answered "not applicable"."""
    left_open = {
        (procedure.id, step.id)
        for procedure in procedures().values()
        for step in procedure.steps
        if step.optional or step.form in (Form.CHECK, Form.DAMAGE)
    }
    for procedure, facts in CROSSED:
        for step in procedure.for_item(facts).steps:
            unknown = any(name not in facts for name in step.applies.asks)
            may = step.may_be_left and (procedure.id, step.id) not in left_open
            assert may <= unknown, (procedure.id, step.id, facts)
    mask = procedures()["mask-tightness-test"].for_item(known(kind="mask"))
    open_here = {step.id: step.not_known for step in mask.steps if step.not_known}
    assert open_here == dict.fromkeys(["exhalation-demand", "exhalation-positive"], ("breathing",))


def test_no_item_is_left_without_a_procedure_that_others_of_its_kind_have() -> None:
    for procedure in procedures().values():
        for kind in procedure.kinds:
            for facts in items_of(kind):
                others = [
                    each
                    for each in procedures().values()
                    if each.task == procedure.task
                    and kind in each.kinds
                    and each.applies.to(facts) is not False
                    and each.for_item(facts).steps
                ]
                assert others, (procedure.id, facts)


def test_every_step_is_asked_of_somebody() -> None:
    asked = {(p.id, step.id) for p, facts in CROSSED for step in p.for_item(facts).steps}
    every = {(p.id, step.id) for p in procedures().values() for step in p.steps}
    assert every == asked


def test_what_is_measured_with_in_no_step_is_not_needed() -> None:
    external = procedures()["cylinder-external"]
    assert external.for_item(known(**STEEL, tables=NOTHING)).needs == ("depth-gauge",)
    assert external.for_item(known(**CARBON, tables=NOTHING)).needs == ()


def test_every_table_that_a_procedure_names_is_there() -> None:
    files = {path.stem for path in RULES.glob("*.toml")}
    for procedure in procedures().values():
        for applies in (procedure.applies, *(step.applies for step in procedure.steps)):
            for name, listed in (*applies.when, *applies.unless):
                assert name != "tables" or listed <= files
