"""Tags that are read for one another, as people read labels: common practice throughout. D4, D5."""

import pytest

from registry.scanning.pure.likeness import LONGEST, difference, look_alike, readings

ALIKE = [
    ("M040", "m40", "only zeros in front and capitals differ"),
    ("M040", "m-040", "only a hyphen or a space and capitals differ"),
    ("M040", "M40", "only zeros in front differ"),
    ("S017", "S17", "only zeros in front differ"),
    ("00123", "123", "only zeros in front differ"),
    ("M040", "m040", "only capitals and small letters differ"),
    ("M040", "M-040", "only a hyphen or a space differs"),
    ("M-040", "M 040", "only a hyphen or a space differs"),
    ("M-040", "M-40", "only zeros in front differ"),
    ("M040", "M04O", "letters and figures that look alike differ"),
    ("M040", "MO40", "letters and figures that look alike differ"),
    ("S017", "5017", "letters and figures that look alike differ"),
    ("B8-1", "8B-l", "letters and figures that look alike differ"),
    ("MI-2", "Ml-2", "letters and figures that look alike differ"),
    ("ABC-0", "\u0410\u0412\u0421-0", "letters and figures that look alike differ"),
    ("123", "\uff11\uff12\uff13", "letters and figures that look alike differ"),
]
APART = [
    ("M040", "M041"),
    ("M040", "M400"),
    ("00501", "00051"),
    ("M040", "N040"),
    ("00150", "01050"),
    ("K/1", "K-1"),
    ("", ""),
    ("-", " "),
    ("S017", "S071"),
]


@pytest.mark.parametrize(("one", "other", "says"), ALIKE)
def test_two_tags_that_are_read_for_one_another_look_alike(one: str, other: str, says: str) -> None:
    assert look_alike(one, other)
    assert look_alike(other, one)
    assert difference(other, one) == says


@pytest.mark.parametrize(("one", "other"), APART)
def test_two_tags_that_nobody_takes_for_one_another_do_not(one: str, other: str) -> None:
    assert not look_alike(one, other)


@pytest.mark.parametrize("tag", ["", "0", "000", "-", "O", "M040", "\ufdfa" * 64, "\x00"])
def test_any_text_has_readings_of_a_length_that_is_kept(tag: str) -> None:
    assert all(len(reading) <= LONGEST for reading in readings(tag))
