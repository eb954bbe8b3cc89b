"""The one place where lengths and slopes change their unit; degrees go through the math module.

Inside the project lengths are metres and angles radians. Factors are exact ratios of whole numbers.
Source: international foot 0.3048 m, survey foot 1200/3937 m, NIST (the survey foot retired 2022-12-31); standard gravity
9.80665 m/s2, 3rd CGPM 1901 and ISO 80000-3.
"""

import math
import re
import sys
from collections.abc import Mapping
from decimal import ROUND_HALF_UP, Decimal
from enum import StrEnum
from types import MappingProxyType

from .errors import Fault, Refused


class LengthUnit(StrEnum):
    """What a job reads and writes: feet are decimal except in `FTIN`, feet, inches and sixteenths as text."""

    M = "m"
    MM = "mm"
    FT = "ft"
    FT_US = "ftUS"
    FTIN = "ftin"


# Metres as numerator / denominator, whole numbers, so that 1420 mm is 1.42 m to the last bit.
_RATIO: Mapping[str, tuple[int, int]] = MappingProxyType({
    "m": (1, 1),
    "cm": (1, 100),
    "mm": (1, 1000),
    "ft": (3048, 10000),
    "ftUS": (1200, 3937),
    "in": (254, 10000),
})  # fmt: skip
_DECIMALS: Mapping[LengthUnit, int] = MappingProxyType({
    LengthUnit.M: 3, LengthUnit.MM: 0, LengthUnit.FT: 2, LengthUnit.FT_US: 2,
})  # fmt: skip
RESOLUTION_M: Mapping[LengthUnit, float] = MappingProxyType({
    LengthUnit.M: 0.001,
    LengthUnit.MM: 0.001,
    LengthUnit.FT: 0.01 * 0.3048,
    LengthUnit.FT_US: 0.01 * 1200 / 3937,
    LengthUnit.FTIN: 0.0254 / 16,
})  # fmt: skip
"""The step (m) in which `show` writes each unit; what is shown is within half of it."""

PROFILE_UNITS = ("m", "mm", "cm", "ft", "in")
"""Units a profile file may declare: a tape reads them all; survey feet are for elevations, not for machines."""


class Quantity(StrEnum):
    """What a sensor's number is of: `SI` unit rad, m, m/s2, rad/s."""

    ANGLE = "angle"
    LENGTH = "length"
    ACCELERATION = "acceleration"
    RATE = "rate of turn"


STANDARD_GRAVITY_M_S2 = 9.80665
_DEG = math.pi / 180.0
_SENSOR_UNITS: Mapping[str, tuple[Quantity, float]] = MappingProxyType({
    **dict.fromkeys(("deg", "°", "degree", "degrees"), (Quantity.ANGLE, _DEG)),
    **dict.fromkeys(("rad", "radian", "radians"), (Quantity.ANGLE, 1.0)),
    **{unit: (Quantity.LENGTH, above / below) for unit, (above, below) in _RATIO.items()},
    **dict.fromkeys(("m/s2", "m/s^2", "m/s²", "m/s/s", "m/s**2"), (Quantity.ACCELERATION, 1.0)),
    **dict.fromkeys(("g", "G"), (Quantity.ACCELERATION, STANDARD_GRAVITY_M_S2)),
    "mg": (Quantity.ACCELERATION, STANDARD_GRAVITY_M_S2 / 1000),
    **dict.fromkeys(("deg/s", "°/s", "degree/s", "degrees/s", "deg/sec", "dps"), (Quantity.RATE, _DEG)),
    **dict.fromkeys(("rad/s", "rad/sec"), (Quantity.RATE, 1.0)),
})  # fmt: skip

# Of a step: nearer a half than this the exact, slower rounding decides. Binary noise at 1000 km is 1e-7 of a step.
_NEAR_A_HALF = 1e-5
_USUAL: dict[LengthUnit, tuple[int, int, int, str]] = {
    unit: (*_RATIO[unit], 10**decimals, f"z.{decimals}f") for unit, decimals in _DECIMALS.items()
}
_UNIT_WORD: dict[LengthUnit, str] = {
    unit: "" if unit is LengthUnit.FTIN else f" {unit.value}" for unit in LengthUnit
}

# No length of this trade comes near; what does is a wrong unit or a slipped exponent.
LONGEST_M = 1e6
_LONGEST_TEXT = 40

_FTIN_FORM = "feet, inches and a fraction such as 5' 3 1/4\", 5' 3\", 5' or 3 1/4\", sign in front"
_FTIN = re.compile(
    r"""\s* (?P<sign>[+-]?) \s*
        (?=\d)
        (?: (?P<feet>\d{1,9}) ['′] \s* )?
        (?: (?: (?P<inches>\d{1,9}) (?: \s+ (?=\d+/) | (?=["″]) ) )?
            (?: (?P<over>\d{1,9}) / (?P<under>\d{1,9}) )?
            (?<=\d) ["″] )?
        \s*""",
    re.VERBOSE | re.ASCII,
)


def to_metres(value: float | str, unit: LengthUnit | str) -> float:
    """Metres of a length as written: a number for decimal units, text for "ftin".

    4.25 ft is 1.2954 m; "4' 3\"" is the same. The sign is kept.
    Raises `Refused`: "unknown-unit"; "not-a-number" for text, a truth value or anything else in a decimal unit;
    "not-finite"; "length-absurd" beyond `LONGEST_M`; "number-for-feet-inches"; "bad-feet-inches".
    """
    chosen = _unit(unit)
    if chosen is LengthUnit.FTIN:
        return _feet_inches(value)
    return _decimal(value, chosen.value)


def from_metres(metres: float, unit: LengthUnit | str) -> float:
    """The number of decimal units in `metres`, unrounded: 1.2954 m is 4.25 ft.

    Raises `Refused`: "unknown-unit", "not-finite", "length-absurd"; "no-decimal-form" for "ftin", which is text.
    """
    chosen = _unit(unit)
    if chosen is LengthUnit.FTIN:
        raise Refused([
            Fault("no-decimal-form", "", "feet, inches and sixteenths", "a decimal unit",
                  "write feet and inches as text, or choose ft")
        ])  # fmt: skip
    above, below = _RATIO[chosen]
    return _decimal(metres, "m") * below / above


def profile_length_to_metres(value: float, unit: str) -> float:
    """Metres of a length in a profile file's unit, one of `PROFILE_UNITS`: 63.88 in is 1.6226 m.

    Raises `Refused`: "unknown-unit", "not-a-number", "not-finite", "length-absurd".
    """
    if unit not in PROFILE_UNITS:
        raise Refused([_unknown(unit, PROFILE_UNITS)])
    return _decimal(value, unit)


def sensor_unit(written: str) -> tuple[Quantity, float] | None:
    """What a sensor's unit, as its maker writes it, measures, and how many of rad, m, m/s2 or rad/s one of it is.

    "g" is (acceleration, 9.80665), "°/s" (rate of turn, 0.0174533). None of what is not known, "" too: it is not guessed.
    """
    return _SENSOR_UNITS.get(written.strip())


def show(metres: float, unit: LengthUnit | str) -> str:
    """A length as people read it, with its unit: 1.42 m is "1.420 m", "1420 mm", "4.66 ft", "4' 7 7/8\"".

    Halves go away from zero. Sign in front, never on a zero. In "ftin" feet are left out below one foot.
    Raises `Refused`: "unknown-unit", "not-finite", "length-absurd".
    """
    chosen = unit if type(unit) is LengthUnit else _unit(unit)
    usual = _USUAL.get(chosen)
    if usual is not None and type(metres) is float and abs(metres) <= LONGEST_M:  # `show_number`, a call less
        above, below, steps, form = usual
        value = metres * below / above
        if abs(abs(value) * steps % 1.0 - 0.5) > _NEAR_A_HALF:
            return format(value, form) + _UNIT_WORD[chosen]
    return show_number(metres, chosen) + _UNIT_WORD[chosen]


def show_number(metres: float, unit: LengthUnit | str) -> str:
    """As `show`, without the unit word ("1.420"); feet and inches keep their marks, which are the number.

    Raises `Refused`: "unknown-unit", "not-finite", "length-absurd".
    """
    chosen = unit if type(unit) is LengthUnit else _unit(unit)
    usual = _USUAL.get(chosen)
    if usual is not None and type(metres) is float and abs(metres) <= LONGEST_M:
        above, below, steps, form = usual
        value = metres * below / above
        if abs(abs(value) * steps % 1.0 - 0.5) > _NEAR_A_HALF:
            return format(value, form)
    # The shortest decimal that means this float: 0.0005 m is a half and goes up, whatever its last bit says.
    written = Decimal(repr(_decimal(metres, "m")))
    if chosen is LengthUnit.FTIN:
        return _show_feet_inches(written)
    above, below = _RATIO[chosen]
    step = Decimal(1).scaleb(-_DECIMALS[chosen])
    rounded = (written * below / above).quantize(step, ROUND_HALF_UP)
    return f"{rounded:zf}"


def ratio_from_percent(percent: float) -> float:
    """Slope as rise over run: 2 % is 0.02, rising. Raises `Refused` "not-finite"."""
    return _finite(percent) / 100


def percent_from_ratio(ratio: float) -> float:
    """Slope in percent: 0.02 is 2 %, rising. Raises `Refused` "not-finite"."""
    return _finite(_finite(ratio) * 100)


def angle_from_slope_ratio(horizontal_to_one: float) -> float:
    """Steepness (rad above horizontal) of a side slope H:1, horizontal to vertical: 1.5:1 is 33.69 degrees.

    0 is a vertical face. Raises `Refused`: "not-finite"; "negative-slope-ratio" (an overhang).
    """
    if _finite(horizontal_to_one) < 0.0:
        raise Refused([
            Fault("negative-slope-ratio", "", f"{horizontal_to_one:g}:1",
                  "horizontal to vertical, zero or more", "", {"ratio": horizontal_to_one})
        ])  # fmt: skip
    return math.atan2(1.0, horizontal_to_one)


def _unit(unit: LengthUnit | str) -> LengthUnit:
    if isinstance(unit, LengthUnit):
        return unit
    try:
        return LengthUnit(unit)
    except ValueError:
        raise Refused([_unknown(unit, tuple(LengthUnit))]) from None


def _unknown(unit: str, known: tuple[str, ...]) -> Fault:
    return Fault("unknown-unit", "", _found(unit), f"one of {', '.join(known)}")


def _finite(value: float) -> float:
    if isinstance(value, bool) or not isinstance(value, float | int):
        raise Refused([Fault("not-a-number", "", _found(value), "a number")])
    if not abs(value) <= sys.float_info.max:
        raise Refused([Fault("not-finite", "", _found(value), "a finite number")])
    return value


def _decimal(value: float | str, unit: str) -> float:
    if isinstance(value, bool) or not isinstance(value, float | int):
        raise Refused([
            Fault("not-a-number", "", _found(value), f"a number in {unit}", "leave out quotes and unit words")
        ])  # fmt: skip
    above, below = _RATIO[unit]
    if abs(_finite(value)) * above > LONGEST_M * below:
        raise Refused([_absurd(f"{_found(value)} {unit}")])
    return float(value * above / below)


def _found(value: object) -> str:
    """The caller's value as he wrote it, cut short: a whole number of 5000 digits has no repr at all."""
    if isinstance(value, int) and abs(value) > sys.maxsize:
        return f"a whole number of {value.bit_length()} bits"
    text = repr(value)
    return text if len(text) <= _LONGEST_TEXT else f"{text[:_LONGEST_TEXT]}..."


def _absurd(found: str) -> Fault:
    return Fault(
        "length-absurd", "", found, f"a length of at most {LONGEST_M / 1000:.0f} km",
        "check the unit and the decimal point",
    )  # fmt: skip


def _feet_inches(value: float | str) -> float:
    if not isinstance(value, str):
        raise Refused([
            Fault("number-for-feet-inches", "", _found(value), _FTIN_FORM,
                  "4.25 means feet and hundredths, never inches: choose ft for decimal feet")
        ])  # fmt: skip
    match = _FTIN.fullmatch(value) if len(value) <= _LONGEST_TEXT else None
    if match is None:
        raise Refused([Fault("bad-feet-inches", "", _found(value), _FTIN_FORM)])
    feet, inches, over, under = (
        int(match[part]) if match[part] else None for part in ("feet", "inches", "over", "under")
    )
    if feet is not None and (inches or 0) >= 12:
        raise Refused([
            Fault("bad-feet-inches", "", repr(value), "less than 12 inches beside feet", "carry them into the feet")
        ])  # fmt: skip
    over, under = over or 0, under or 1
    if match["under"] and not (under in {2, 4, 8, 16} and 0 < over < under):
        raise Refused([
            Fault("bad-feet-inches", "", repr(value), "a fraction below one in halves, quarters, eighths or sixteenths")
        ])  # fmt: skip
    sixteenths = ((feet or 0) * 12 + (inches or 0)) * 16 + over * 16 // under
    metres = sixteenths * 254 / 160000
    if metres > LONGEST_M:
        raise Refused([_absurd(repr(value))])
    return -metres if match["sign"] == "-" and sixteenths else metres


def _show_feet_inches(metres: Decimal) -> str:
    total = int((abs(metres) * 160000 / 254).quantize(Decimal(1), ROUND_HALF_UP))
    feet, rest = divmod(total, 12 * 16)
    inches, over = divmod(rest, 16)
    words = [f"{feet}'"] if feet else []
    if feet or inches or not over:
        words.append(str(inches))
    if over:
        shared = math.gcd(over, 16)
        words.append(f"{over // shared}/{16 // shared}")
    sign = "-" if metres < 0 and total else ""
    return f'{sign}{" ".join(words)}"'
