"""Axes and scale of a long section, in metres or feet."""

import math
from collections.abc import Iterator

from kinematics.units import LengthUnit, to_metres

from .drawing import INK, PAPER, RULE, Sheet, line, signed, text

_GRID = (0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0)
_MOST_TICKS = 14
_LONGEST_BAR = 260.0
_BARS = (10.0, 5.0, 2.0, 1.0, 0.5, 0.2, 0.1)


def axes(sheet: Sheet, units: LengthUnit) -> Iterator[str]:
    """Reach below and height at the left, with their rules."""
    (x0, z0), (x1, z1) = sheet.low, sheet.high
    unit, word = _unit(units)
    step = _step(sheet, unit)
    for k in range(math.ceil(x0 / unit / step), math.floor(x1 / unit / step) + 1):
        px, py = sheet.at(k * step * unit, z0)
        yield line((px, sheet.top), (px, py), 0.6, RULE, "1 5")
        yield line((px, py), (px, py + 7), 1.2)
        yield text(px, py + 25, signed(k * step), 15, anchor="middle")
    for k in range(math.ceil(z0 / unit / step), math.floor(z1 / unit / step) + 1):
        px, py = sheet.at(x0, k * step * unit)
        yield line((px, py), (sheet.at(x1, 0.0)[0], py), 0.6, RULE, "1 5")
        yield line((px - 7, py), (px, py), 1.2)
        yield text(px - 12, py + 5, signed(k * step), 15, anchor="end")
    corner = sheet.at(x0, z0)
    yield line(sheet.at(x0, z1), corner, 1.2)
    yield line(corner, sheet.at(x1, z0), 1.2)
    yield text(sheet.at(x1, z0)[0], corner[1] + 50, f"reach from the swing axis, {word}", 15, anchor="end")
    yield text(
        corner[0] - 66, sheet.top + 4, f"height over the boom foot pin, {word}", 15, anchor="end", turn=-90
    )


def depths(sheet: Sheet, ground: float | None, units: LengthUnit) -> Iterator[str]:
    """The right edge counts down from the ground (m over the origin), where that is known."""
    if ground is None:
        return
    (_, z0), (x1, z1) = sheet.low, sheet.high
    unit, word = _unit(units)
    step = _step(sheet, unit)
    for k in range(math.ceil((ground - z1) / unit / step), math.floor((ground - z0) / unit / step) + 1):
        px, py = sheet.at(x1, ground - k * step * unit)
        yield line((px, py), (px + 7, py), 1.2)
        yield text(px + 12, py + 5, signed(k * step), 15)
    right = sheet.at(x1, z1)
    yield line(right, sheet.at(x1, z0), 1.2)
    yield text(right[0] + 76, sheet.top + 4, f"depth below the ground, {word}", 15, anchor="end", turn=-90)


def scale_bar(sheet: Sheet, right: float, y: float, units: LengthUnit) -> Iterator[str]:
    """A round length in four parts, its right end at `right`."""
    unit, word = _unit(units)
    size = next(each for each in _BARS if each * unit * sheet.scale <= _LONGEST_BAR)
    long = size * unit * sheet.scale
    left = right - long
    for k in range(4):
        fill = INK if k % 2 == 0 else PAPER
        yield f'<rect x="{left + k * long / 4:.1f}" y="{y + 8:.1f}" width="{long / 4:.1f}" height="9" fill="{fill}" ' \
              f'stroke="{INK}"/>'  # fmt: skip
    yield text(left, y + 38, "0", 15, anchor="middle")
    yield text(right, y + 38, f"{size:g} {word}", 15, anchor="end")


def _unit(units: LengthUnit) -> tuple[float, str]:
    """(m, word) of what the axes count in."""
    if units in (LengthUnit.M, LengthUnit.MM):
        return 1.0, "m"
    feet = LengthUnit.FT if units is LengthUnit.FTIN else units
    return to_metres(1.0, feet), feet.value


def _step(sheet: Sheet, unit: float) -> float:
    """Between the figures of an axis, in its unit (m)."""
    longest = max(sheet.high[0] - sheet.low[0], sheet.high[1] - sheet.low[1]) / unit
    return next(each for each in _GRID if longest / each <= _MOST_TICKS)
