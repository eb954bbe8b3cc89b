"""What is said of a calibration, in words with numbers."""

import math
from collections.abc import Mapping, Sequence

from .units import LengthUnit, to_metres

FOOT = to_metres(1.0, LengthUnit.FT)
_STEPS = (
    (FOOT, "ft", 2), (1.0, "m", 2), (0.5, "m", 1), (0.1, "m", 1), (0.1 * FOOT, "ft", 1),
)  # fmt: skip
_MOST_STEPS = 10
_CLEARER = 6.0  # a step must be this many times what an error is known by, else any number is near one
_WITHIN, _WITHIN_OF_TENTHS = 3.0, 1.5


def size(value: float, *, length: bool, sign: bool = False) -> str:
    """A length in mm or an angle in deg, to what can be measured: "+0.10 deg", "3.2 mm"."""
    plus = "+" if sign else ""
    shown = value * 1e3 if length else math.degrees(value)
    digits = 1 if length else 3 if abs(shown) < 0.0995 else 2
    return f"{shown:{plus}.{digits}f} {'mm' if length else 'deg'}"


def listed(names: Sequence[str]) -> str:
    """ "a", "a and b", "a, b and c"."""
    return names[0] if len(names) == 1 else ", ".join(names[:-1]) + " and " + names[-1]


def round_number(off: float, spread: float, told: float) -> str:
    """What an error (m) known to `spread` may come from: "2.00 ft: mistyped or misread?", "" of nothing plain; `told`:
    the height (m) as it was given, whose sign may be the wrong one."""
    if abs(told) > _CLEARER * spread and abs(off - 2.0 * told) <= _WITHIN * spread:
        return "twice itself: its sign?"
    for step, unit, digits in _STEPS:
        count = round(abs(off) / step)
        if (
            0 < count <= _MOST_STEPS
            and step > _CLEARER * spread
            and abs(abs(off) - count * step) <= (_WITHIN if step >= FOOT else _WITHIN_OF_TENTHS) * spread
        ):
            value = count * step / (FOOT if unit == "ft" else 1.0)
            return f"{value:.{digits}f} {unit}: mistyped or misread?"
    return ""


def suspected(name: str, off: float, spread: float, others: int, *, told: float | None) -> str:
    """Of an observation (m with `told` its height, else rad) that the others contradict: "rod 7 is 0.610 m higher than
    the other 23 say, 2.00 ft: mistyped or misread?"."""
    if told is None:
        known = size(spread, length=False)
        return f"{name} is {math.degrees(off):+.2f} deg from what the other {others} say, known to {known}"
    way = "higher" if off > 0.0 else "lower"
    plain = round_number(off, spread, told)
    return f"{name} is {abs(off):.3f} m {way} than the other {others} say" + (f", {plain}" if plain else "")


def alone(name: str) -> str:
    """Of an unknown that nothing changes with."""
    return f"{name}: no observation changes with it"


def together(
    names: Sequence[str],
    by: Sequence[float],
    lengths: Sequence[bool],
    moves: float,
    *,
    of_lines: bool,
    lost: bool,
) -> str:
    """Of a combination: how much of each together changes nothing by more than `moves` (m; rad of lines alone)."""
    parts = [
        f"{size(value, length=length, sign=True)} of {name}"
        for name, value, length in zip(names, by, lengths, strict=True)
    ]
    end = (
        "these postures cannot tell them apart"
        if lost
        else "the profile knows this better than these postures do"
    )
    most = size(moves, length=not of_lines)
    if len(names) == 1:
        end = "these postures hardly show it" if lost else end
        return f"{names[0]}: {parts[0]} changes nothing that was seen by more than {most}; {end}"
    return (
        f"{listed(names)} together: {listed(parts)} change nothing that was seen by more than {most}; {end}"
    )


def unchecked(name: str, others: int) -> str:
    """Of an observation whose error nothing would show."""
    return f"{name}: the other {others} cannot check it"


def proposed(
    point: str, reach: float, height: float, floor: float, joints: Mapping[str, float], weakest: str, before: float,
    after: float, *, length: bool,
) -> str:  # fmt: skip
    """Of a posture (m, rad) and what it would do for the unknown known least."""
    stands = ", ".join(
        f"{name.replace('_', ' ')} {math.degrees(angle):.1f} deg" for name, angle in joints.items()
    )
    where = f"{point} {reach:.2f} m ahead and {height:+.2f} m from the boom foot"
    turned = "" if point == "receiver" else f", floor at {math.degrees(floor):+.0f} deg"
    if not after < before:
        return f"begin with {where}{turned} ({stands})"
    known = f"touches alone then know {weakest} to {size(after, length=length)}, now to {size(before, length=length)}"
    return f"{where}{turned} ({stands}): {known}"
