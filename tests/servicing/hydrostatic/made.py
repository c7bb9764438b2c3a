"""Cylinders and runs for the tests; what is not said is good."""

from decimal import Decimal
from fractions import Fraction
from pathlib import Path

from servicing.hydrostatic.pure.amounts import Pressure
from servicing.hydrostatic.pure.expansion import Expansion, expansion
from servicing.hydrostatic.pure.limits import read_limits
from servicing.hydrostatic.pure.verdict import Run, Subject

TABLE = Path(__file__).resolve().parents[3] / "fixtures" / "hydrostatic" / "limits.toml"
LIMITS = read_limits(TABLE.read_text("utf-8"))
AT = Pressure.of(5000, "psi")


def subject(
    specification: str = "DOT-3AA",
    *,
    at: Pressure = AT,
    permit: Fraction | None = None,
    ree: Fraction | None = None,
    plus: bool = False,
    years: int | None = None,
    fills: int | None = None,
    life_over: bool = False,
    no_volumetric: bool = False,
) -> Subject:
    """Return a cylinder whose test has to reach 5000 psi."""
    return Subject(
        at,
        LIMITS.acceptance(specification),
        permit_percent=permit,
        ree_ml=ree,
        plus=plus,
        years=years,
        fills=fills,
        life_over=life_over,
        no_volumetric=no_volumetric,
    )


def run(
    method: str = "jacket",
    *,
    total: str = "60",
    permanent: str = "1",
    found: Expansion | None = None,
    reached: str = "5000",
    held: int = 30,
    dropped: bool = False,
    before: str = "",
    malfunction: str = "",
    leaks: bool = False,
    number: int = 1,
) -> Run:
    """Return a run that reached 5000 psi and held it."""
    measured = found or expansion(Decimal(total), Decimal(permanent))
    return Run(
        method,
        Pressure.read(reached if reached.endswith("bar") else f"{reached} psi"),
        held,
        None if method == "proof" else measured,
        dropped=dropped,
        before=Pressure.read(f"{before} psi") if before else None,
        malfunction=malfunction,
        leaks=leaks,
        number=number,
    )
