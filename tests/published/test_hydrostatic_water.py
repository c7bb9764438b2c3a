"""The water's compression against IAPWS-95 (two libraries), IAPWS-97 and the handbook's form.

Bounds: our fit lies within 0.0005 cm3 per litre (shrinkage) and 0.0005 kg/m3 (density) of
IAPWS-95 over 4 to 40 degC and 0 to 700 bar gauge. The rows of the facts' tables 7c and 7d are
[computed] with CoolProp 8.0.0 and iapws 1.5.5; the factors K of 7d are from memory.
"""

from decimal import Decimal
from fractions import Fraction

import pytest
from CoolProp.CoolProp import PropsSI
from hypothesis import given
from hypothesis import strategies as st
from iapws import IAPWS95, IAPWS97  # type: ignore[import-untyped]

from servicing.hydrostatic.pure.amounts import HydroProblem
from servicing.hydrostatic.pure.water import (
    compression_ml,
    density_kg_m3,
    extra_ml_per_l,
    handbook_compression_ml,
    handbook_k,
    shrinkage_ml_per_l,
)

ATMOSPHERE_BAR = 1.01325
TABLE_7C = "IAPWS-95 by CoolProp 8.0.0 and iapws 1.5.5, table 7c [computed]"
TABLE_7D = "handbook form, K [memory], against IAPWS-95, table 7d [computed]"
PRESSURES = (200, 300, 345, 450, 500)

# t; rho_0; A at 200, 300, 345, 450, 500 bar; B at the same.
ROWS_7C = """
4 999.975 9.677 14.357 16.430 21.186 23.413 9.585 14.154 16.164 20.747 22.878
6 999.943 9.561 14.187 16.236 20.941 23.144 9.471 13.989 15.977 20.511 22.621
8 999.851 9.455 14.032 16.059 20.716 22.897 9.367 13.837 15.806 20.295 22.385
10 999.702 9.358 13.889 15.897 20.509 22.670 9.271 13.699 15.649 20.097 22.168
12 999.500 9.270 13.759 15.749 20.321 22.463 9.184 13.573 15.505 19.916 21.969
15 999.103 9.151 13.585 15.551 20.067 22.184 9.068 13.403 15.313 19.672 21.703
18 998.599 9.049 13.434 15.378 19.846 21.941 8.968 13.256 15.145 19.460 21.470
20 998.207 8.988 13.345 15.276 19.716 21.798 8.908 13.169 15.047 19.335 21.333
22 997.773 8.934 13.264 15.184 19.598 21.668 8.855 13.091 14.957 19.221 21.208
25 997.048 8.862 13.159 15.064 19.443 21.496 8.785 12.988 14.840 19.072 21.044
30 995.649 8.768 13.019 14.904 19.237 21.269 8.692 12.852 14.685 18.874 20.826
35 994.033 8.702 12.920 14.790 19.090 21.106 8.627 12.755 14.575 18.732 20.670
40 992.216 8.661 12.857 14.718 18.995 21.001 8.587 12.694 14.505 18.641 20.569
"""

# t; K; C/W at 300 bar by the formula and by IAPWS-95; the same at 450 bar.
ROWS_7D = """
6 0.04915 14.133 13.990 20.741 20.513
7 0.04886 14.046 13.913 20.610 20.403
8 0.04860 13.968 13.840 20.493 20.298
9 0.04834 13.890 13.770 20.376 20.199
10 0.04812 13.824 13.703 20.277 20.103
11 0.04792 13.764 13.640 20.187 20.012
12 0.04775 13.713 13.579 20.111 19.926
13 0.04759 13.665 13.522 20.038 19.843
14 0.04742 13.614 13.467 19.962 19.765
15 0.04725 13.563 13.415 19.886 19.690
16 0.04710 13.518 13.366 19.818 19.619
17 0.04695 13.473 13.319 19.750 19.552
18 0.04680 13.428 13.274 19.683 19.488
19 0.04668 13.392 13.232 19.629 19.427
20 0.04654 13.350 13.193 19.566 19.370
21 0.04643 13.317 13.155 19.517 19.315
22 0.04633 13.287 13.120 19.472 19.264
23 0.04623 13.257 13.087 19.427 19.216
24 0.04613 13.227 13.055 19.381 19.171
25 0.04604 13.200 13.026 19.341 19.128
26 0.04594 13.170 12.999 19.296 19.089
"""


def _rows(text: str) -> list[list[str]]:
    return [line.split() for line in text.strip().splitlines()]


@pytest.mark.parametrize("row", _rows(ROWS_7C), ids=lambda row: f"{row[0]} degC")
def test_water_shrinks_as_in_table_7c(row: list[str]) -> None:
    t, rho, *figures = row
    last_place = Fraction("0.001")
    assert abs(density_kg_m3(int(t)) - Fraction(rho)) <= last_place, TABLE_7C
    for bar, extra, shrinkage in zip(PRESSURES, figures[:5], figures[5:], strict=True):
        assert abs(extra_ml_per_l(int(t), bar) - Fraction(extra)) <= last_place, TABLE_7C
        assert abs(shrinkage_ml_per_l(int(t), bar) - Fraction(shrinkage)) <= last_place, TABLE_7C


@pytest.mark.parametrize("row", _rows(ROWS_7D), ids=lambda row: f"{row[0]} degC")
def test_both_corrections_stand_as_in_table_7d(row: list[str]) -> None:
    t, k, formula_300, iapws_300, formula_450, iapws_450 = row
    assert handbook_k(int(t)) == Fraction(k), "handbook, K by degree [memory]"
    half_place = Fraction("0.00051")
    for bar, formula, exact in ((300, formula_300, iapws_300), (450, formula_450, iapws_450)):
        by_form = handbook_compression_ml(1, int(t), bar)
        ours = compression_ml(1, int(t), bar)
        assert abs(by_form - Fraction(formula)) <= half_place, TABLE_7D
        assert abs(ours - Fraction(exact)) <= 2 * half_place, TABLE_7D
        assert Fraction("1.008") <= by_form / ours <= Fraction("1.0145"), TABLE_7D


def test_our_fit_stays_within_its_bound_of_iapws_95_everywhere() -> None:
    worst_shrinkage = worst_density = 0.0
    for tenth in range(40, 401, 15):
        t = Decimal(tenth) / 10
        rho_0 = PropsSI("D", "T", float(t) + 273.15, "P", ATMOSPHERE_BAR * 1e5, "Water")
        worst_density = max(worst_density, abs(float(density_kg_m3(t)) - rho_0))
        for bar in range(7, 701, 33):
            pa = (bar + ATMOSPHERE_BAR) * 1e5
            rho = PropsSI("D", "T", float(t) + 273.15, "P", pa, "Water")
            off = abs(float(shrinkage_ml_per_l(t, bar)) - 1000 * (1 - rho_0 / rho))
            worst_shrinkage = max(worst_shrinkage, off)
    assert worst_shrinkage < 0.0005, "CoolProp 8.0.0, IAPWS-95, cm3 per litre"
    assert worst_density < 0.0005, "CoolProp 8.0.0, IAPWS-95, kg/m3"


@pytest.mark.parametrize("t", [4, 15, 26, 40])
@pytest.mark.parametrize("bar", [100, 450, 700])
def test_a_second_library_agrees(t: int, bar: int) -> None:
    for water, bound in ((IAPWS95, 0.0006), (IAPWS97, 0.02)):
        rho_0 = water(T=t + 273.15, P=ATMOSPHERE_BAR / 10).rho
        rho = water(T=t + 273.15, P=(bar + ATMOSPHERE_BAR) / 10).rho
        shrinkage = 1000 * (1 - rho_0 / rho)
        assert abs(float(shrinkage_ml_per_l(t, bar)) - shrinkage) < bound, f"iapws, {water}"


TEMPERATURES = st.decimals(4, 40, places=1)
BARS = st.decimals(0, 699, places=1)


@given(TEMPERATURES, BARS)
def test_more_pressure_shrinks_water_more(t: Decimal, bar: Decimal) -> None:
    assert shrinkage_ml_per_l(t, bar) < shrinkage_ml_per_l(t, bar + 1)


@given(st.decimals(4, 39, places=1), st.decimals(1, 700, places=1))
def test_warmer_water_shrinks_less_up_to_forty_degrees(t: Decimal, bar: Decimal) -> None:
    """True up to some 46 degC, where water is stiffest (IAPWS-95)."""
    assert shrinkage_ml_per_l(t, bar) > shrinkage_ml_per_l(t + 1, bar)


@given(st.decimals(6, 25, places=1), st.decimals(1, 700, places=1))
def test_the_handbook_falls_with_the_temperature_too(t: Decimal, bar: Decimal) -> None:
    assert handbook_compression_ml(1, t, bar) > handbook_compression_ml(1, t + 1, bar)


@pytest.mark.parametrize(("t", "bar"), [("3.9", "300"), ("40.1", "300"), ("20", "700.1")])
def test_outside_its_range_the_fit_says_nothing(t: str, bar: str) -> None:
    with pytest.raises(HydroProblem, match="between"):
        shrinkage_ml_per_l(Decimal(t), Decimal(bar))
