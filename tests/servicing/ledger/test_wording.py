"""How readings and outcomes are said to people; the ledger keeps what was entered."""

import pytest

from servicing.ledger.pure.entry import Reading
from servicing.ledger.pure.wording import in_signs, name_and_value, outcome_in_words

SI = "SI Brochure, 9th edition, 5.4.3: a space between number and unit, also before % and °C"


@pytest.mark.parametrize(
    ("name", "typed", "unit", "said"),
    [
        ("leak_mbar_per_min", "0.3", "", ("leak", "0.3 mbar/min")),
        ("pressure_loss_bar_per_min", "5", "", ("pressure loss", "5 bar/min")),
        ("co2_ppm", "404", "", ("CO2", "404 ppm")),
        ("oil_mg_m3", "0,07", "", ("oil", "0,07 mg/m³")),
        ("o2_percent", "20.8", "", ("O2", "20.8 %")),
        ("permanent_expansion_ml", "1.10", "", ("permanent expansion", "1.10 mL")),
        ("pressure-dew-point", "-11", "degC", ("pressure dew point", "-11 °C")),
        ("mask-leak", "0.4", "mbar", ("mask leak", "0.4 mbar")),
        ("leak", "0.3", "", ("leak", "0.3")),
        ("house says", "pass", "", ("house says", "pass")),
        # Typed with its unit, it is not said twice.
        ("pitting", "0.4 mm", "mm", ("pitting", "0.4 mm")),
        ("mask-leak", "5 psi", "psi", ("mask leak", "5 psi")),
        ("dew-point", "-11 °C", "degC", ("dew point", "-11 °C")),
        ("leak_mbar", "<0.1", "", ("leak", "<0.1 mbar")),
        # The unit of a reading that has one is its own, whatever its name ends in.
        ("fill_bar", "4350", "psi", ("fill bar", "4350 psi")),
    ],
)
def test_a_reading_is_said_with_its_unit_behind_the_value_as_typed(
    name: str, typed: str, unit: str, said: tuple[str, str]
) -> None:
    assert name_and_value(Reading(name, typed, unit)) == said, SI


def test_units_typed_in_letters_are_shown_in_signs() -> None:
    assert in_signs("at most -50 degF or 5 mg/m3") == "at most -50 °F or 5 mg/m³"


@pytest.mark.parametrize(
    ("task", "outcome", "said"),
    [
        ("impact", "pass", "noted"),
        ("withdrawal", "pass", "noted"),
        ("cleaning", "pass", "pass"),
        ("cleaning", "fail", "fail"),
        ("condemnation", "condemned", "condemned"),
    ],
)
def test_a_blow_is_noted_and_never_said_to_pass(task: str, outcome: str, said: str) -> None:
    assert outcome_in_words(task, outcome) == said
