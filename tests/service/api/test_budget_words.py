"""Lengths, shares and factors in words: rounded to the safe side, in the units asked for."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kinematics.errors import Fault
from kinematics.units import LengthUnit
from service.api import budget_words as words


@given(st.floats(1e-6, 1e6))
def test_floored_is_never_more(value: float) -> None:
    told = float(words.floored(value))
    assert told <= value * (1.0 + 1e-11)  # binary roundings of figures sent in decimals
    assert told > value * (1.0 - 0.0101)  # three digits


@pytest.mark.parametrize(
    ("value", "told"), [(0.99996, "0.999"), (0.62 * 0.05, "0.0310"), (1.0, "1"), (1.18934, "1.18")]
)
def test_floored(value: float, told: str) -> None:
    assert float(words.floored(value)) == float(told)


@pytest.mark.parametrize(
    ("share", "told"),
    [(1.0, "100 %"), (0.9999, "99 %"), (0.29, "29 %"), (0.004, "less than 1 %"), (0.0, "0 %")],
)
def test_shares(share: float, told: str) -> None:
    assert words.percent(share) == told


def test_lengths() -> None:
    assert words.size(0.0283, LengthUnit.M) == "28.3 mm"
    assert words.size(0.0283, LengthUnit.FT) == "0.09 ft"
    assert words.size(0.0007, LengthUnit.FT) == "less than 0.01 ft"
    assert words.size(0.0283, LengthUnit.FTIN) == '1 1/8"'
    assert words.allowed(0.005, LengthUnit.FT) == "0.0164 ft"
    assert words.allowed(0.03048, LengthUnit.FT) == "0.10 ft"
    assert words.missed(2e-5, LengthUnit.M) == "0.02 mm"
    assert words.missed(2e-5, LengthUnit.FT) == "less than 0.01 ft"
    assert (words.moves(1), words.moves(2)) == ("1 move", "2 moves")


def test_faults_in_the_units_asked_for() -> None:
    fault = Fault(
        "x", "touch", "-0.3048 m, 30.48 mm off", "from 0.3048 to 3.048 m, 5 deg, 1000 km", "", {"reach_m": 1}
    )
    [feet] = words.in_units([fault], LengthUnit.FT)
    assert (feet.found, feet.expected) == ("-1.00 ft, 0.10 ft off", "from 1.00 to 10.00 ft, 5 deg, 1000 km")
    assert feet.numbers == {"reach_m": 1}
    [inches] = words.in_units([fault], LengthUnit.FTIN)
    assert inches.expected.startswith("from 1' 0\" to 10' 0\",")
    assert [*words.in_units([fault], LengthUnit.M)] == [fault]
    [mm] = words.in_units([fault], LengthUnit.MM)
    assert mm.found == "-305 mm, 30.48 mm off"
