"""Lengths, shares and factors of an error budget in words, in the units of whoever asks."""

import math
import re
from collections.abc import Callable, Iterable, Iterator
from decimal import ROUND_FLOOR, Context

from kinematics.errors import Fault
from kinematics.sources import Kind
from kinematics.units import RESOLUTION_M, LengthUnit, from_metres, show, show_number, to_metres
from kinematics.zone_block import BEYOND, OK, OUT_OF_REACH
from kinematics.zone_budget import ZoneBudget

_NUMBER = r"[-+]?\d+(?:\.\d+)?(?:e[-+]?\d+)?"
_WITH_UNIT = re.compile(rf"(?:(?P<low>{_NUMBER}) to )?(?P<value>{_NUMBER}) (?P<unit>mm|m|rad)(?![\w²])")
_NOISE = Context(prec=12)  # binary roundings, which would floor 0.031 to 0.0309
_FLOOR = Context(prec=3, rounding=ROUND_FLOOR)
_WHOLE = 1e-6
_MM = (LengthUnit.M, LengthUnit.MM)


def size(metres: float, units: LengthUnit) -> str:
    """How far something may be off: "28.3 mm" in metric units, else as a job shows lengths, "0.09 ft"."""
    if units in _MM:
        return f"{1e3 * metres:.1f} mm"
    hidden = 0.0 < abs(metres) < 0.5 * RESOLUTION_M[units]
    return f"less than {show(RESOLUTION_M[units], units)}" if hidden else show(metres, units)


def allowed(metres: float, units: LengthUnit) -> str:
    """A tolerance as it was asked for: "30 mm", "20.7 mm", "0.10 ft", and "0.0164 ft" where that is what was meant."""
    if units in _MM:
        return f"{1e3 * metres:.6g} mm"
    steps = metres / RESOLUTION_M[units]
    if units is LengthUnit.FTIN or abs(steps - round(steps)) < _WHOLE:
        return show(metres, units)
    return f"{from_metres(metres, units):.4g} {units.value}"


def part(kind: Kind | str) -> str:
    """A part of an uncertainty for people."""
    return "dimensions (taped lengths)" if kind == Kind.DIMENSIONS else str(kind)


def moves(count: int) -> str:
    """ "1 move", "2 moves"."""
    return "1 move" if count == 1 else f"{count} moves"


def floored(value: float) -> str:
    """Three digits, rounded down: what is bought by them is never too coarse. 0.99996 is "0.999"."""
    return f"{_FLOOR.plus(_NOISE.create_decimal_from_float(value)):f}"


def percent(share: float) -> str:
    """A share (0 to 1) in whole percent, rounded down: "100 %" only of all, "less than 1 %" of hardly any."""
    whole = int(100.0 * share + 1e-9)
    return f"{whole} %" if whole or share <= 0.0 else "less than 1 %"


def missed(metres: float, units: LengthUnit) -> str:
    """By how much a tolerance is just missed: "0.02 mm", "less than 0.01 ft"."""
    if units in _MM:
        least, told = 1e-5, f"{1e3 * metres:.2f} mm"
        return told if metres >= least else "less than 0.01 mm"
    least = RESOLUTION_M[units]
    return show(metres, units) if metres >= least else f"less than {show(least, units)}"


def reached(budget: ZoneBudget) -> str:
    """ "12 of 2400 places reached", and how many of these have no readout; "" where all have a number."""
    status = budget.status
    there = int(((status != OUT_OF_REACH) & (status != BEYOND)).sum())
    blind = there - int((status == OK).sum())
    if there == status.size and not blind:
        return ""
    return f"{there} of {status.size} places reached" + (f", {blind} without a readout" if blind else "")


def in_units(faults: Iterable[Fault], units: LengthUnit) -> Iterator[Fault]:
    """Faults whose words have metres or millimetres, in the units asked for; `numbers` stay as they are."""

    def told(low: str | None, value: str, unit: str) -> str | None:
        if unit in {"rad", units}:
            return None
        lengths = [to_metres(float(each), unit) for each in (low, value) if each is not None]
        return " to ".join([*(show_number(each, units) for each in lengths[:-1]), show(lengths[-1], units)])

    for fault in faults:
        yield fault if units is LengthUnit.M else _reworded(fault, told)


def in_figures(fault: Fault) -> Fault:
    """A fault of a figure of a sensor or dimension as it is sent, in deg and mm: "0 to 0.0873 rad" is "0 to 5 deg"."""

    def told(low: str | None, value: str, unit: str) -> str | None:
        if unit == "mm":
            return None
        one, word = (1e3, "mm") if unit == "m" else (math.degrees(1.0), "deg")
        return (
            " to ".join(f"{one * float(each):.6g}" for each in (low, value) if each is not None) + f" {word}"
        )

    return _reworded(fault, told)


def _reworded(fault: Fault, told: Callable[[str | None, str, str], str | None]) -> Fault:
    def put(match: re.Match[str]) -> str:
        return told(match["low"], match["value"], match["unit"]) or match[0]

    found, expected, advice = (
        _WITH_UNIT.sub(put, text) for text in (fault.found, fault.expected, fault.advice)
    )
    return Fault(fault.code, fault.where, found, expected, advice, fault.numbers)
