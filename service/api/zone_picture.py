"""An error budget drawn as a long section to scale: ink on paper, one accent, to be read in grey too.

The zone in at most six steps of one ink, lines of equal uncertainty with their figures, the worst pose as boom, stick and
bucket, the benchmark's touch, ground, axes, scale.
"""

import math
from collections.abc import Iterator
from html import escape
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from kinematics.arm import Pose
from kinematics.chain import level_from_body
from kinematics.maps import place
from kinematics.units import LengthUnit, from_metres, show, to_metres

from .budget_answer import FACTOR, Told
from .drawing import (
    ACCENT,
    FAMILY,
    INK,
    PAPER,
    RULE,
    Sheet,
    along,
    free_place,
    line,
    mixed,
    png_of,
    signed,
    text,
)
from .zone_contours import Place, above, length_of, lines

WIDTH = 1200
_TINTS = (0.07, 0.15, 0.25, 0.36, 0.48, 0.60)
"""How much ink each step has, palest where a readout is best."""
_LEFT, _RIGHT, _TOP, _LEGEND, _BOTTOM = 84.0, 84.0, 116.0, 152.0, 20.0
_AROUND_M = 0.5
_LEAST_BEHIND_M = 1.2
_MOST_HEIGHT = 1300.0
_GRID_M = (0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0)
_MOST_TICKS = 14
_LEAST_LABELLED = 60.0
_ONE_LINE_M = 1e-5


def as_png(told: Told) -> bytes:
    """The picture as PNG, 1200 pixels wide. Raises `Refused` "no-font" where the machine has none to write with."""
    return png_of(as_svg(told))


def as_svg(told: Told) -> str:
    """The picture. Half widths of the 95 % interval in the steps; lengths in the units asked for, axes in metres."""
    steps = _steps(told)
    sheet = _sheet(told)
    height = sheet.top + sheet.height + _LEGEND + _BOTTOM
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{WIDTH}" height="{height:.0f}" '
        f'viewBox="0 0 {WIDTH} {height:.0f}" font-family="{FAMILY}" fill="{INK}">',
        f"<title>{escape(_title(told))}</title>",
        _patterns(),
        f'<rect width="{WIDTH}" height="{height:.0f}" fill="{PAPER}"/>',
        *_heading(told),
        *_axes(sheet),
        *_depths(told, sheet),
        *_ground(told, sheet),
        *_bands(told, sheet, steps),
        *_machine(told, sheet),
        *_worst(told, sheet),
        *_touch(told, sheet),
        *_contours(told, sheet, steps),
        *_legend(told, sheet, steps),
        "</svg>",
    ]
    return "\n".join(parts)


def _half(told: Told) -> NDArray[np.float64]:
    return FACTOR * told.budget.standard


# What the steps are


def _steps(told: Told) -> list[float]:
    """Ascending levels (m), six steps at most between them: round figures in the units asked for."""
    half = _half(told)
    low, high = float(np.nanmin(half)), float(np.nanmax(half))
    for step in _round_steps(told.units):
        first, last = math.floor(low / step + 1e-9), math.ceil(high / step - 1e-9)
        if last - first <= len(_TINTS):
            return [step * k for k in range(first, max(last, first + 1) + 1)]
    raise AssertionError("no zone is as uncertain")


def _round_steps(units: LengthUnit) -> Iterator[float]:
    if units is LengthUnit.FTIN:
        yield from (0.0254 * 2.0**k for k in range(-4, 12))
        return
    unit = (
        to_metres(1.0, LengthUnit.MM) if units in (LengthUnit.M, LengthUnit.MM) else to_metres(0.001, units)
    )
    for power in range(-2, 7):
        yield from (unit * each * 10.0**power for each in (1.0, 2.0, 2.5, 5.0))


def _figure(metres: float, units: LengthUnit, *, bare: bool = False) -> str:
    """A half width in words: mm, hundredths of feet, or inches and sixteenths."""
    if units is LengthUnit.FTIN:
        return show(metres, units)
    if units in (LengthUnit.M, LengthUnit.MM):
        size, unit = 1e3 * metres, "mm"
        words = f"{size:.0f}" if size >= 100.0 else f"{size:.3g}"
    else:
        size, unit = from_metres(metres, units), units.value
        words = f"{size:.2f}" if abs(size - round(size, 2)) < 1e-9 else f"{size:.3f}"
    return words if bare else f"{words} {unit}"


# The sheet and what stands on it


def _sheet(told: Told) -> Sheet:
    zone, worst = told.budget.zone, told.budget.worst
    xs = [zone.reach.low, zone.reach.high, told.touch[0], 0.0]
    zs = [zone.height.low, zone.height.high, told.touch[1], 0.0]
    for x, z in _arm(worst.pose):
        xs.append(x)
        zs.append(z)
    if told.ground is not None:
        zs.append(told.ground)
    low = min(xs) - max(_AROUND_M, _LEAST_BEHIND_M * (min(xs) > -_LEAST_BEHIND_M)), min(zs) - _AROUND_M
    high = max(xs) + _AROUND_M, max(zs) + _AROUND_M
    across = WIDTH - _LEFT - _RIGHT
    scale = min(across / (high[0] - low[0]), (_MOST_HEIGHT - _TOP - _LEGEND) / (high[1] - low[1]))
    left = _LEFT + 0.5 * (across - scale * (high[0] - low[0]))
    return Sheet(left, _TOP, scale, low, high)


def _arm(pose: Pose) -> list[Place]:
    """Boom foot pin, fore boom pin where there is one, stick pin, bucket pin, edge, heel, in the level frame."""
    level, pins = level_from_body(float(pose.q[0]), float(pose.q[1])), pose.pins()
    found = [place(level, *pins[name]) for name in ("boom_foot_pin", "fore_boom_pin", "stick_pin", "bucket_pin")
             if name in pins]  # fmt: skip
    heel = [0.5 * (a + b) for a, b in zip(pose.level("heel_left"), pose.level("heel_right"), strict=True)]
    return [*((x, z) for x, _, z in found), *((p[0], p[2]) for p in (pose.level("centre"), heel))]


def _title(told: Told) -> str:
    return f"{told.machine.id} with {told.attachment.id}: how far a readout may be off"


def _patterns() -> str:
    """The tint of each step, with a hatch that gets closer: alike to the eye and to a bad copier."""
    made = []
    for k, share in enumerate(_TINTS):
        gap = (0, 16, 12, 9, 7, 5)[k]
        tint = mixed(share)
        if not gap:
            made.append(f'<pattern id="s{k}" width="8" height="8" patternUnits="userSpaceOnUse">'
                        f'<rect width="8" height="8" fill="{tint}"/></pattern>')  # fmt: skip
            continue
        made.append(
            f'<pattern id="s{k}" width="{gap}" height="{gap}" patternUnits="userSpaceOnUse" '
            f'patternTransform="rotate({45 if k % 2 else -45})"><rect width="{gap}" height="{gap}" fill="{tint}"/>'
            f'<rect width="1" height="{gap}" fill="{INK}" fill-opacity="0.45"/></pattern>'
        )
    return "<defs>" + "".join(made) + "</defs>"


def _heading(told: Told) -> Iterator[str]:
    zone, worst, units = told.budget.zone, told.budget.worst, told.units
    yield text(28, 40, _title(told), 25, bold=True)
    floor = math.degrees(zone.floor_angle)
    moves = "1 move" if told.carried == 1 else f"{told.carried} moves"
    carried = f"{moves} since the touch, by laser" if told.carried else "no move since the touch"
    most = _figure(FACTOR * worst.standard, units)
    yield text(
        28, 68, f"Elevation of the edge's centre, 95 %. Worst ±{most}, largest part: {worst.parts[0][0]}. "
        f"Floor held at {floor:.4g}°, {carried}.", 16.5,
    )  # fmt: skip


def _axes(sheet: Sheet) -> Iterator[str]:
    (x0, z0), (x1, z1) = sheet.low, sheet.high
    step = _step(sheet)
    for k in range(math.ceil(x0 / step), math.floor(x1 / step) + 1):
        px, py = sheet.at(k * step, z0)
        yield line((px, sheet.top), (px, py), 0.6, RULE, "1 5")
        yield line((px, py), (px, py + 7), 1.2)
        yield text(px, py + 25, signed(k * step), 15, anchor="middle")
    for k in range(math.ceil(z0 / step), math.floor(z1 / step) + 1):
        px, py = sheet.at(x0, k * step)
        yield line((px, py), (sheet.at(x1, 0.0)[0], py), 0.6, RULE, "1 5")
        yield line((px - 7, py), (px, py), 1.2)
        yield text(px - 12, py + 5, signed(k * step), 15, anchor="end")
    corner = sheet.at(x0, z0)
    yield line(sheet.at(x0, z1), corner, 1.2)
    yield line(corner, sheet.at(x1, z0), 1.2)
    yield text(sheet.at(x1, z0)[0], corner[1] + 48, "reach from the swing axis, m", 15, anchor="end")
    yield text(corner[0] - 54, sheet.top + 4, "height over the boom foot pin, m", 15, anchor="end", turn=-90)


def _depths(told: Told, sheet: Sheet) -> Iterator[str]:
    """The right edge counts down from the ground, where that is known."""
    if told.ground is None:
        return
    (_, z0), (x1, z1) = sheet.low, sheet.high
    step = _step(sheet)
    for k in range(math.ceil((told.ground - z1) / step), math.floor((told.ground - z0) / step) + 1):
        px, py = sheet.at(x1, told.ground - k * step)
        yield line((px, py), (px + 7, py), 1.2)
        yield text(px + 12, py + 5, signed(k * step), 15)
    right = sheet.at(x1, z1)
    yield line(right, sheet.at(x1, z0), 1.2)
    yield text(right[0] + 62, sheet.top + 4, "depth below the ground, m", 15, anchor="end", turn=-90)


def _step(sheet: Sheet) -> float:
    """Between the figures of an axis, m."""
    longest = max(sheet.high[0] - sheet.low[0], sheet.high[1] - sheet.low[1])
    return next(each for each in _GRID_M if longest / each <= _MOST_TICKS)


def _ground(told: Told, sheet: Sheet) -> Iterator[str]:
    if told.ground is None:
        return
    a, b = sheet.at(sheet.low[0], told.ground), sheet.at(sheet.high[0], told.ground)
    for k in range(int((b[0] - a[0]) / 14)):
        px = a[0] + 14 * k + 12
        yield line((px, a[1]), (px - 9, a[1] + 9), 0.9, RULE)


def _bands(told: Told, sheet: Sheet, steps: list[float]) -> Iterator[str]:
    x, z, half = told.budget.zone.reaches, told.budget.zone.heights, _half(told)
    corners = [(x[0], z[0]), (x[-1], z[0]), (x[-1], z[-1]), (x[0], z[-1])]
    for k, level in enumerate(steps[:-1]):
        shapes = above(x, z, half, 0.0 if k == 0 else level)
        if shapes:
            path = "".join(sheet.path(shape, closed=True) for shape in shapes)
            yield f'<path d="{path}" fill="url(#s{k})"/>'
    yield f'<path d="{sheet.path(corners, closed=True)}" fill="none" stroke="{INK}" stroke-width="1" ' \
          'stroke-dasharray="7 4"/>'  # fmt: skip


def _machine(told: Told, sheet: Sheet) -> Iterator[str]:
    """The swing axis as a chain line, the ground over all that was drawn."""
    foot = sheet.low[1] if told.ground is None else told.ground
    top, bottom = sheet.at(0.0, min(0.9, sheet.high[1])), sheet.at(0.0, foot)
    yield line(top, bottom, 1.4, INK, "14 4 3 4")
    yield text(top[0], top[1] - 8, "swing axis", 15, anchor="middle")
    cx, cy = sheet.at(0.0, 0.0)
    yield f'<circle cx="{cx:.1f}" cy="{cy:.1f}" r="6" fill="{PAPER}" stroke="{INK}" stroke-width="1.4"/>'
    yield f'<path d="M{cx - 6:.1f} {cy:.1f}H{cx + 6:.1f}M{cx:.1f} {cy - 6:.1f}V{cy + 6:.1f}" stroke="{INK}"/>'
    if told.ground is not None:
        a, b = sheet.at(sheet.low[0], told.ground), sheet.at(sheet.high[0], told.ground)
        yield line(a, b, 2.6)
        yield text(a[0] + 10, a[1] - 8, "ground", 15, halo=True)


def _worst(told: Told, sheet: Sheet) -> Iterator[str]:
    worst = told.budget.worst
    *arm, edge, heel = _arm(worst.pose)
    bucket = [arm[-1], edge, heel]
    for ink, width in ((PAPER, 9.0), (ACCENT, 4.0)):
        yield f'<path d="{sheet.path(arm)}" fill="none" stroke="{ink}" stroke-width="{width:g}" ' \
              'stroke-linejoin="round" stroke-linecap="round"/>'  # fmt: skip
        yield f'<path d="{sheet.path(bucket, closed=True)}" fill="{PAPER}" fill-opacity="0.7" stroke="{ink}" ' \
              f'stroke-width="{width:g}" stroke-linejoin="round"/>'  # fmt: skip
    for point in arm:
        px, py = sheet.at(*point)
        yield f'<circle cx="{px:.1f}" cy="{py:.1f}" r="5" fill="{PAPER}" stroke="{ACCENT}" stroke-width="2.4"/>'
    px, py = sheet.at(*edge)
    yield f'<circle cx="{px:.1f}" cy="{py:.1f}" r="6" fill="{ACCENT}"/>'
    words = f"worst ±{_figure(FACTOR * worst.standard, told.units)}"
    zone = told.budget.zone
    left = worst.reach < 0.5 * (zone.reach.low + zone.reach.high) or px > 0.7 * WIDTH
    at, anchor = (px - 14, "end") if left else (px + 14, "start")
    yield text(at, py + 24, words, 18, anchor=anchor, bold=True, fill=ACCENT, halo=True)


def _touch(told: Told, sheet: Sheet) -> Iterator[str]:
    """A benchmark's mark, its tip where the edge rests."""
    px, py = sheet.at(*told.touch)
    yield f'<path d="M{px:.1f} {py:.1f}l-11 -19h22Z" fill="{PAPER}" stroke="{INK}" stroke-width="2.2"/>'
    yield f'<path d="M{px:.1f} {py:.1f}v-19h11Z" fill="{INK}"/>'
    yield text(px, py - 27, "touch", 16, anchor="middle", bold=True, halo=True)


def _contours(told: Told, sheet: Sheet, steps: list[float]) -> Iterator[str]:
    """Lines first, figures over them, away from arm and touch."""
    x, z, half = told.budget.zone.reaches, told.budget.zone.heights, _half(told)
    levels = [
        (level, _figure(level, told.units, bare=True), 1.3, "")
        for level in steps[1:-1] if told.tolerance is None or abs(level - told.tolerance) > _ONE_LINE_M
    ]  # fmt: skip
    if told.tolerance is not None:
        levels.append((told.tolerance, f"tolerance {_figure(told.tolerance, told.units)}", 3.2, "10 5"))
    taken = [sheet.at(*point) for point in along([*_arm(told.budget.worst.pose), told.touch])]
    figures: list[str] = []
    for level, words, width, dash in reversed(levels):
        found = lines(x, z, half, level)
        dashed = f' stroke-dasharray="{dash}"' if dash else ""
        for each in found:
            path = sheet.path(each)
            yield f'<path d="{path}" fill="none" stroke="{INK}" stroke-width="{width:g}"{dashed}/>'
        if found and length_of(found[0]) * sheet.scale > _LEAST_LABELLED:
            here, turn = free_place([sheet.at(*point) for point in found[0]], taken)
            taken.append(here)
            figures.append(text(here[0], here[1] + 5, words, 16, anchor="middle", halo=True, turn=turn))
    yield from figures


def _legend(told: Told, sheet: Sheet, steps: list[float]) -> Iterator[str]:
    y = sheet.top + sheet.height + 84
    yield text(28, y - 14, "Half width of the 95 % interval", 15)
    box = 108.0
    for k, (low, high) in enumerate(pairwise(steps)):
        x = 28 + k * box
        yield f'<rect x="{x:.1f}" y="{y:.1f}" width="{box:.0f}" height="26" fill="url(#s{k})" stroke="{INK}"/>'
        span = f"{_figure(low, told.units, bare=True)} to {_figure(high, told.units, bare=True)}"
        yield text(x + box / 2, y + 44, span, 15, anchor="middle")
    unit = {LengthUnit.M: "mm", LengthUnit.MM: "mm", LengthUnit.FTIN: "inches"}.get(
        told.units, told.units.value
    )
    yield text(28 + (len(steps) - 1) * box + 10, y + 44, unit, 15)
    yield from _scale_bar(sheet, y)
    gaps = int(np.count_nonzero(~told.budget.ok))
    if gaps:
        yield text(28, y + 72, "Blank in the dashed frame: the arm does not get there so, or the sensors tell no pose.",
                    14.5)  # fmt: skip


def _scale_bar(sheet: Sheet, y: float) -> Iterator[str]:
    metres = next(each for each in (2.0, 1.0, 0.5, 0.2, 0.1) if each * sheet.scale <= 260)
    long, right = metres * sheet.scale, WIDTH - _RIGHT
    left = right - long
    for k in range(4):
        fill = INK if k % 2 == 0 else PAPER
        yield f'<rect x="{left + k * long / 4:.1f}" y="{y + 8:.1f}" width="{long / 4:.1f}" height="9" fill="{fill}" ' \
              f'stroke="{INK}"/>'  # fmt: skip
    yield text(left, y + 38, "0", 15, anchor="middle")
    yield text(right, y + 38, f"{metres:g} m", 15, anchor="end")
