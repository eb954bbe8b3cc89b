"""Lengths, feet and inches, angles and slopes: `kinematics.units`."""

import math
import re
from decimal import ROUND_HALF_UP, Decimal
from functools import cache

import numpy as np
import pint
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kinematics.errors import Refused
from kinematics.units import (
    LONGEST_M,
    PROFILE_UNITS,
    RESOLUTION_M,
    LengthUnit,
    Quantity,
    angle_from_slope_ratio,
    from_metres,
    percent_from_ratio,
    profile_length_to_metres,
    ratio_from_percent,
    sensor_unit,
    show,
    show_number,
    to_metres,
)
from tests.tolerances import NOISE_M, PRINTED_DEG_3, ROUNDING

DECIMAL_UNITS = tuple(unit for unit in LengthUnit if unit is not LengthUnit.FTIN)
PINT_NAMES = {
    "m": "metre",
    "mm": "millimetre",
    "cm": "centimetre",
    "ft": "foot",
    "ftUS": "survey_foot",
    "in": "inch",
}
INCH_M = 0.0254
# Sign, feet, inches, fraction, inch mark: three in ten are a length, the others near misses.
PARTS = (
    ("", "-", "+"),
    ("", "7' ", "0'", "15′"),
    ("", "3", "11", "12"),
    ("", " 1/4", "5/8", " 9/8"),
    ("", '"', "″"),
)
site_lengths = st.floats(-10_000.0, 10_000.0)


def near(found: float, expected: float, relative: float = ROUNDING) -> bool:
    return math.isfinite(found) and abs(found - expected) <= relative * max(1.0, abs(expected))


@cache
def registry() -> pint.UnitRegistry[float]:
    return pint.UnitRegistry()


def by_pint(value: float, unit: str, wanted: str) -> float:
    return float(registry().Quantity(value, unit).to(wanted).magnitude)


def refusal(value: object, unit: str) -> Refused:
    with pytest.raises(Refused) as caught:
        to_metres(value, unit)  # type: ignore[arg-type]
    return caught.value


# Factors


@pytest.mark.parametrize("unit", DECIMAL_UNITS)
@settings(deadline=None)  # the first value loads the registry of units
@given(value=st.floats(-9_000.0, 9_000.0))
def test_lengths_agree_with_pint(unit: LengthUnit, value: float) -> None:
    """Referee: pint's own definitions file."""
    expected = by_pint(value, PINT_NAMES[unit], "metre")
    assert near(to_metres(value, unit), expected)


@pytest.mark.parametrize("unit", PROFILE_UNITS)
@given(value=st.floats(-9_000.0, 9_000.0))
def test_profile_lengths_agree_with_pint(unit: str, value: float) -> None:
    """Referee: pint's own definitions file."""
    expected = by_pint(value, PINT_NAMES[unit], "metre")
    assert near(profile_length_to_metres(value, unit), expected)


def test_feet_are_exact() -> None:
    """NIST: international foot 0.3048 m, survey foot 1200/3937 m, which 1000 ft apart differ by 0.6 mm."""
    assert to_metres(1, "ft") == 0.3048
    assert to_metres(3937, "ftUS") == 1200.0
    assert near(to_metres(1000.0, "ftUS") - to_metres(1000.0, "ft"), 1000 * (1200 / 3937 - 0.3048))


def test_decimal_input_is_exact_to_the_last_bit() -> None:
    assert to_metres(1420, "mm") == 1.42
    assert to_metres(4.25, "ft") == 1.2954
    assert to_metres("4' 3\"", "ftin") == 1.2954
    assert to_metres(np.float64(1420.0), "mm") == 1.42


@pytest.mark.parametrize("unit", DECIMAL_UNITS)
@given(metres=site_lengths)
def test_there_and_back(unit: LengthUnit, metres: float) -> None:
    assert near(to_metres(from_metres(metres, unit), unit), metres)


# Showing


@pytest.mark.parametrize("unit", DECIMAL_UNITS)
@given(metres=site_lengths)
def test_shown_decimals_are_within_half_a_step(unit: LengthUnit, metres: float) -> None:
    number, word = show(metres, unit).split(" ")
    assert word == unit
    assert number == show_number(metres, unit)
    assert abs(to_metres(float(number), unit) - metres) <= RESOLUTION_M[unit] / 2 + NOISE_M


@given(metres=site_lengths)
def test_shown_feet_and_inches_parse_back_within_half_a_sixteenth(metres: float) -> None:
    text = show(metres, "ftin")
    assert text == show_number(metres, "ftin")
    assert abs(to_metres(text, "ftin") - metres) <= RESOLUTION_M[LengthUnit.FTIN] / 2 + NOISE_M


@given(sixteenths=st.integers(-(10**7), 10**7))
def test_every_sixteenth_is_shown_as_itself(sixteenths: int) -> None:
    metres = sixteenths * INCH_M / 16
    assert abs(to_metres(show(metres, "ftin"), "ftin") - metres) <= NOISE_M
    assert show(-metres, "ftin").lstrip("-") == show(metres, "ftin").lstrip("-")


@pytest.mark.parametrize("unit", LengthUnit)
@given(metres=st.floats(-0.01, 0.01))
def test_no_zero_carries_a_sign(unit: LengthUnit, metres: float) -> None:
    text = show(metres, unit)
    assert not text.startswith("-") or re.search("[1-9]", text)
    assert not re.match(r"-0[^.]", text)


@pytest.mark.parametrize(
    ("feet", "shown"), [(8.62, "8' 7 7/16\""), (5.92, "5' 11 1/16\""), (12.39, "12' 4 11/16\"")]
)
def test_decimal_feet_to_feet_and_inches(feet: float, shown: str) -> None:
    """check_values.md 5.2 (seen): published conversions of decimal feet to feet, inches and sixteenths."""
    assert show(to_metres(feet, "ft"), "ftin") == shown


def test_feet_and_inches_published() -> None:
    """check_values.md 5.2 (seen): 63.88 in = 5' 3 7/8"; 5' 3 1/4" = 5.2708 ft; 0.01 ft = 0.12 in."""
    assert show(profile_length_to_metres(63.88, "in"), "ftin") == "5' 3 7/8\""
    feet = from_metres(to_metres("5' 3 1/4\"", "ftin"), "ft")
    assert abs(feet - 5.2708) <= 0.00005  # half the last printed digit
    assert near(to_metres(0.01, "ft") / INCH_M, 0.12)


@pytest.mark.parametrize(
    ("inches", "shown"),
    [
        (11 + 31 / 32, "1' 0\""),
        (11.96, '11 15/16"'),
        (-14.375, "-1' 2 3/8\""),
        (23.99, "2' 0\""),
        (12.5, "1' 0 1/2\""),
        (0.25, '1/4"'),
        (-0.25, '-1/4"'),
        (-0.01, '0"'),
        (0.0, '0"'),
        (3.0, '3"'),
        (-3.5, '-3 1/2"'),
    ],
)
def test_sixteenths_carry_and_sign(inches: float, shown: str) -> None:
    assert show(inches * INCH_M, "ftin") == shown


@pytest.mark.parametrize(
    ("metres", "unit", "shown"),
    [
        (1.42, "m", "1.420 m"),
        (1.42, "mm", "1420 mm"),
        (1.2954, "ft", "4.25 ft"),
        (1200 / 3937, "ftUS", "1.00 ftUS"),
        (-1.2954, "ft", "-4.25 ft"),
        (0.0005, "m", "0.001 m"),
        (1.0005, "m", "1.001 m"),
        (-0.0005, "mm", "-1 mm"),
        (-0.0004, "m", "0.000 m"),
        (-0.0, "mm", "0 mm"),
        (1e-300, "ft", "0.00 ft"),
        (100, "m", "100.000 m"),
    ],
)
def test_shown_decimals(metres: float, unit: str, shown: str) -> None:
    assert show(metres, unit) == shown


# Feet and inches as text


@pytest.mark.parametrize(
    ("text", "inches"),
    [
        ("5' 3 1/4\"", 63.25),
        ("5' 3\"", 63.0),
        ("5'", 60.0),
        ('3 1/4"', 3.25),
        ("4' 0 1/2\"", 48.5),
        ("4' 1/2\"", 48.5),
        ("5'3\"", 63.0),
        ("-1' 2 3/8\"", -14.375),
        ("+1' 2 3/8\"", 14.375),
        ("5′ 3 1/4″", 63.25),
        ('63 7/8"', 63.875),
        ('-1/16"', -0.0625),
        ("  5' 3\" ", 63.0),
        ("-0' 3\"", -3.0),
        ("2' 11 15/16\"", 35.9375),
    ],
)
def test_feet_and_inches_read(text: str, inches: float) -> None:
    assert near(to_metres(text, "ftin"), inches * INCH_M)


def test_minus_nothing_is_plain_nothing() -> None:
    assert math.copysign(1.0, to_metres('-0"', "ftin")) == 1.0


@pytest.mark.parametrize(
    "text",
    [
        "", " ", "-", "5", "5 3", "5.25", "5.25'", "5' 3.5\"", "5' 3", "3 1/4", "5' 12\"", "5' 13 1/2\"", '"', "'",
        "5' \"", "5' 3 1/3\"", "5' 3 2/2\"", "5' 3 5/4\"", "5' 3 0/4\"", "5' 3 1/32\"", "5' 3 1/0\"", '31/4"',
        "5' 3-1/4\"", "5'-3\"", "--5'", "5' -3\"", "5'' 3\"", "5' 3''", "5ft 3in", "5' 3 \"", "5' 3 1 / 4\"",
        "5' 3\" 1/4", "5' 3\" 2\"", "5' 6' 3\"", "\u0665'", "\u22125'", "5\u2019", "nan", "inf", "1e2'",
    ],
)  # fmt: skip
def test_anything_else_is_refused_with_what_was_expected(text: str) -> None:
    refused = refusal(text, "ftin")
    assert refused.code == "bad-feet-inches"
    assert refused.faults[0].expected
    assert len(refused.faults[0].found) < 100


@pytest.mark.parametrize("piece", [" ", "9", "'", "5' "])
def test_a_very_long_text_is_refused_at_once_and_cut_short(piece: str) -> None:
    refused = refusal(piece * 1_000_000, "ftin")
    assert refused.code == "bad-feet-inches"
    assert len(refused.faults[0].found) < 100


@given(text=st.tuples(*map(st.sampled_from, PARTS)).map("".join))
def test_what_is_read_is_what_was_written(text: str) -> None:
    """Either refused, or the sum of the numbers that stand in the text, read here in another way."""
    try:
        metres = to_metres(text, "ftin")
    except Refused:
        return
    before, mark, after = text.replace("′", "'").replace("″", '"').strip().lstrip("+-").rpartition("'")
    total = 12.0 * int(before) if mark else 0.0
    for word in after.replace('"', "").split():
        over, slash, under = word.partition("/")
        total += int(over) / int(under) if slash else int(over)
    assert near(abs(metres), total * INCH_M)
    assert (metres < 0.0) == ("-" in text and total > 0.0)


# Refusals


@pytest.mark.parametrize("value", [4, 4.25, True, None, b"5'"])
def test_a_number_is_no_feet_and_inches(value: object) -> None:
    refused = refusal(value, "ftin")
    assert refused.code == "number-for-feet-inches"
    assert "4.25 means feet and hundredths, never inches" in str(refused)


@pytest.mark.parametrize("unit", DECIMAL_UNITS)
@pytest.mark.parametrize("value", ["4.25", "5' 3\"", "", True, False, None, [1.0], 1j])
def test_decimal_units_take_numbers_only(unit: LengthUnit, value: object) -> None:
    assert refusal(value, unit).code == "not-a-number"


@pytest.mark.parametrize("unit", DECIMAL_UNITS)
@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf])
def test_no_length_without_end(unit: LengthUnit, value: float) -> None:
    assert refusal(value, unit).code == "not-finite"
    for door in (from_metres, show, show_number):
        with pytest.raises(Refused) as caught:
            door(value, unit)
        assert caught.value.code == "not-finite"


@pytest.mark.parametrize("digits", [400, 5000])
def test_a_whole_number_too_long_for_a_float_is_told_shortly(digits: int) -> None:
    """A float ends at 309 digits; Python will not even print 5000."""
    for unit, code in (("m", "not-finite"), ("ftUS", "not-finite"), ("ftin", "number-for-feet-inches")):
        refused = refusal(10**digits, unit)
        assert refused.code == code
        assert len(refused.faults[0].found) < 100


@pytest.mark.parametrize(
    ("value", "unit"),
    [(1.001 * LONGEST_M, "m"), (-2e9, "mm"), (10**30, "ft"), (1e308, "ftUS"), ("999999999'", "ftin")],
)
def test_absurd_lengths_are_refused(value: float | str, unit: str) -> None:
    assert refusal(value, unit).code == "length-absurd"


@pytest.mark.parametrize("unit", ["yd", "", "M", "FT", "ftus", "in", "cm", "feet"])
def test_unknown_units_are_refused_and_the_known_ones_named(unit: str) -> None:
    refused = refusal(1.0, unit)
    assert refused.code == "unknown-unit"
    for known in LengthUnit:
        assert known in str(refused)


@pytest.mark.parametrize("unit", ["ftUS", "ftin", "yd", ""])
def test_profile_units_are_their_own_list(unit: str) -> None:
    with pytest.raises(Refused) as caught:
        profile_length_to_metres(1.0, unit)
    assert caught.value.code == "unknown-unit"


def test_feet_and_inches_have_no_decimal_form() -> None:
    with pytest.raises(Refused) as caught:
        from_metres(1.0, "ftin")
    assert caught.value.code == "no-decimal-form"


# Angles and slopes


@pytest.mark.parametrize(("ratio", "degrees"), [(0.5, 63.435), (0.75, 53.130), (1.0, 45.0), (1.5, 33.690)])
def test_slope_ratios_to_degrees(ratio: float, degrees: float) -> None:
    """check_values.md 5.4 (derived), H:V of side slopes."""
    assert abs(math.degrees(angle_from_slope_ratio(ratio)) - degrees) <= PRINTED_DEG_3


def test_a_vertical_face_has_ratio_zero() -> None:
    assert angle_from_slope_ratio(0.0) == math.pi / 2


def test_an_overhang_is_refused() -> None:
    with pytest.raises(Refused) as caught:
        angle_from_slope_ratio(-0.5)
    assert caught.value.code == "negative-slope-ratio"


@given(value=st.floats(-1e6, 1e6))
def test_slopes_there_and_back(value: float) -> None:
    assert near(percent_from_ratio(ratio_from_percent(value)), value)


def test_slopes_agree_with_pint() -> None:
    """Referee: pint's own definitions file."""
    assert near(ratio_from_percent(2.18), by_pint(2.18, "percent", "dimensionless"))


@pytest.mark.parametrize(
    "door",
    [
        ratio_from_percent,
        percent_from_ratio,
        angle_from_slope_ratio,
    ],
)
def test_slopes_refuse_what_is_no_number(door: object) -> None:
    assert callable(door)
    for value, code in (
        (math.nan, "not-finite"),
        (math.inf, "not-finite"),
        (True, "not-a-number"),
        ("2", "not-a-number"),
    ):
        with pytest.raises(Refused) as caught:
            door(value)
        assert caught.value.code == code


def test_a_result_without_end_is_refused() -> None:
    with pytest.raises(Refused):
        percent_from_ratio(1.7e308)


@given(st.floats(-1e6, 1e6), st.sampled_from([u for u in LengthUnit if u is not LengthUnit.FTIN]))
def test_usual_and_exact_rounding_agree(metres: float, unit: LengthUnit) -> None:
    """The quick way of `show_number` against the decimal module, for every length it takes."""
    above, below = {"m": (1, 1), "mm": (1, 1000), "ft": (3048, 10000), "ftUS": (1200, 3937)}[unit]
    step = {"m": "0.001", "mm": "1", "ft": "0.01", "ftUS": "0.01"}[unit]
    exact = (Decimal(repr(metres)) * below / above).quantize(Decimal(step), ROUND_HALF_UP)
    assert show_number(metres, unit) == f"{exact:zf}"


# What pint calls a unit that makers of sensors write in their own way.
SENSOR_UNITS = {
    "deg": "degree", "°": "degree", "degree": "degree", "degrees": "degree",
    "rad": "radian", "mm": "millimeter",
    "cm": "centimeter",
    "m": "meter", "in": "inch", "ft": "foot", "m/s2": "meter / second ** 2", "m/s^2": "meter / second ** 2",
    "m/s²": "meter / second ** 2", "g": "standard_gravity", "mg": "standard_gravity / 1000", "deg/s": "degree / second",
    "°/s": "degree / second", "dps": "degree / second", "rad/s": "radian / second",
}  # fmt: skip
SI = {Quantity.ANGLE: "radian", Quantity.LENGTH: "meter", Quantity.ACCELERATION: "meter / second ** 2",
      Quantity.RATE: "radian / second"}  # fmt: skip


@pytest.mark.parametrize("written", SENSOR_UNITS)
def test_units_of_sensors_agree_with_pint(written: str) -> None:
    found = sensor_unit(f" {written} ")
    assert found is not None
    quantity, factor = found
    # pint's gravity is 9.80665 m/s2 too, by its own list of constants (CODATA).
    wanted: float = pint.UnitRegistry().parse_expression(SENSOR_UNITS[written]).to(SI[quantity]).magnitude
    assert factor == pytest.approx(wanted, rel=1e-15 * 4)


@pytest.mark.parametrize("written", ["", "furlong", "%", "V", "Deg.", "mrad/s"])
def test_a_unit_that_is_not_known_is_not_guessed(written: str) -> None:
    assert sensor_unit(written) is None
