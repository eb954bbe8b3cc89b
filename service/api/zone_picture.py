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

from . import budget_words as words
from .budget_answer import FACTOR, Told
from .drawing import (
    ACCENT,
    FAMILY,
    INK,
    PAPER,
    RULE,
    Box,
    Sheet,
    along,
    along_words,
    free_box,
    free_place,
    line,
    mixed,
    png_of,
    text,
)
from .zone_axes import axes, depths, scale_bar
from .zone_contours import Place, above, length_of, lines

WIDTH = 1200
_TINTS = (0.07, 0.15, 0.25, 0.36, 0.48, 0.60)
"""How much ink each step has, palest where a readout is best."""
_LEFT, _RIGHT, _TOP, _LEGEND, _BOTTOM = 92.0, 92.0, 128.0, 172.0, 20.0
_AROUND_M = 0.5
_LEAST_BEHIND_M = 1.2
_MOST_HEIGHT = 1300.0
_LEAST_LABELLED = 60.0
_ONE_LINE_M = 1e-5
_CRUMB = 3.0
"""Lines shorter than so many cells are left out."""
_WHOLE = 1e-6
_LONGEST_SPAN = 9
_WIDE = 12.2
"""Pixels a letter of 18, bold, at most on the average."""
_LED_BY = 44.0
"""Pixels: words further from what they tell of have a leader line."""
_ROOMY = 5.0
"""A tolerance's line has its words on it from so many times half their length on."""
_CROWDED = 14.0
"""Pixels: a figure nearer to others is left to the legend."""


def as_png(told: Told) -> bytes:
    """The picture as PNG, 1200 pixels wide. Raises `Refused` "no-font" where the machine has none to write with."""
    return png_of(as_svg(told))


def as_svg(told: Told) -> str:
    """The picture. Half widths of the 95 % interval in the steps; lengths in the units asked for."""
    steps = _steps(told)
    sheet = _sheet(told)
    kept = _kept_free(told, sheet)
    height = sheet.top + sheet.height + _LEGEND + _BOTTOM
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{WIDTH}" height="{height:.0f}" '
        f'viewBox="0 0 {WIDTH} {height:.0f}" font-family="{FAMILY}" fill="{INK}">',
        f"<title>{escape(_title(told))}</title>",
        _patterns(),
        f'<rect width="{WIDTH}" height="{height:.0f}" fill="{PAPER}"/>',
        *_heading(told),
        *axes(sheet, told.units),
        *depths(sheet, told.ground, told.units),
        *_ground(told, sheet),
        *_bands(told, sheet, steps),
        *_machine(told, sheet),
        *_worst(told, sheet, kept),
        *_touch(told, sheet),
        *_contours(told, sheet, steps, kept),
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


def _figures(steps: list[float], units: LengthUnit) -> list[str]:
    """The steps in words without a unit, all with as many decimals: mm, feet, or inches and sixteenths."""
    if units is LengthUnit.FTIN:
        return [show(each, units) for each in steps]
    feet = units in (LengthUnit.FT, LengthUnit.FT_US)
    values = [from_metres(each, units if feet else LengthUnit.MM) for each in steps]
    places = next(n for n in range(2 if feet else 0, 9) if all(abs(v - round(v, n)) < _WHOLE for v in values))
    return [f"{value:.{places}f}" for value in values]


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
    yield text(
        28, 68, f"Elevation of the edge's centre, 95 %. Worst ±{words.size(FACTOR * worst.standard, units)}, "
        f"largest part: {words.part(worst.parts[0][0])}.", 16.5,
    )  # fmt: skip
    floor = math.degrees(zone.floor_angle)
    moves = (
        f"{words.moves(told.carried)} since the touch, by laser"
        if told.carried
        else "no move since the touch"
    )
    told_too = [f"Floor held at {floor:.4g}°, {moves}."]
    if told.tolerance is not None:
        share = words.percent(told.budget.share_within(told.tolerance))
        told_too.append(f"{words.allowed(told.tolerance, units)} kept in {share} of the places.")
    there = words.reached(told.budget)
    yield text(28, 92, " ".join([*told_too, *([f"{there}."] if there else [])]), 16.5)


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
    if not above(x, z, half, 0.0):  # no four places side by side
        for i, j in np.argwhere(told.budget.ok).tolist():
            k = max(n for n, level in enumerate(steps[:-1]) if n == 0 or half[i, j] >= level)
            px, py = sheet.at(float(x[j]), float(z[i]))
            yield f'<circle cx="{px:.1f}" cy="{py:.1f}" r="5" fill="url(#s{k})" stroke="{INK}"/>'
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
        yield text(_ground_from(sheet), a[1] - 8, "ground", 15, halo=True)


def _ground_from(sheet: Sheet) -> float:
    """Where the word begins: at the left, or behind the swing axis where it would lie on it."""
    axis = sheet.at(0.0, 0.0)[0]
    return sheet.left + 10 if axis > sheet.left + 74 else axis + 10


def _worst(told: Told, sheet: Sheet, kept: list[Box]) -> Iterator[str]:
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
    told_as = f"worst ±{words.size(FACTOR * worst.standard, told.units)}"
    yield from _aside((px, py), told_as, told, sheet, kept)


def _aside(near: Place, told_as: str, told: Told, sheet: Sheet, kept: list[Box]) -> Iterator[str]:
    """Words of a place beside all that is drawn, led to it where they are far off; then they are kept free too."""
    size = wide, high = _WIDE * len(told_as), 24.0
    found = free_box(near, size, _whole(sheet), kept, _strokes(told, sheet))
    if found is None:
        return  # the heading has it
    left, top = found
    kept.append((left, top, left + wide, top + high))
    end = min(max(near[0], left), left + wide), min(max(near[1], top), top + high)
    if math.dist(end, near) > _LED_BY:
        yield line(end, near, 4.0, PAPER)
        yield line(end, near, 1.4, ACCENT)
    yield text(left + wide / 2, top + 18, told_as, 18, anchor="middle", bold=True, fill=ACCENT, halo=True)


def _whole(sheet: Sheet) -> Box:
    (left, bottom), (right, top) = sheet.at(*sheet.low), sheet.at(*sheet.high)
    return left, top, right, bottom


def _kept_free(told: Told, sheet: Sheet) -> list[Box]:
    """Where no words may lie: the map, the touch's mark, the ground, the words at the axis."""
    zone, (tx, ty), (ax, ay) = told.budget.zone, sheet.at(*told.touch), sheet.at(0.0, min(0.9, sheet.high[1]))
    boxes = [(tx - 30, ty - 44, tx + 30, ty + 4), (ax - 44, ay - 24, ax + 44, ay)]
    alone = [
        [(float(zone.reaches[j]), float(zone.heights[i]))] for i, j in np.argwhere(told.budget.ok).tolist()
    ]
    for shape in above(zone.reaches, zone.heights, _half(told), 0.0) or alone:
        xs, ys = zip(*(sheet.at(*point) for point in shape), strict=True)
        boxes.append((min(xs) - 6, min(ys) - 6, max(xs) + 6, max(ys) + 6))
    if told.ground is not None:
        at = sheet.at(0.0, told.ground)[1]
        boxes.append((0.0, at - 4, WIDTH, at + 12))
        boxes.append((_ground_from(sheet), at - 24, _ground_from(sheet) + 64, at))
    return boxes


def _strokes(told: Told, sheet: Sheet) -> list[Place]:
    """Along the arm and the swing axis."""
    arm, foot = _arm(told.budget.worst.pose), sheet.low[1] if told.ground is None else told.ground
    return [sheet.at(*p) for p in (*along([*arm, arm[-3]], 60), *along([(0.0, foot), (0.0, 0.9)], 60))]


def _touch(told: Told, sheet: Sheet) -> Iterator[str]:
    """A benchmark's mark, its tip where the edge rests."""
    px, py = sheet.at(*told.touch)
    yield f'<path d="M{px:.1f} {py:.1f}l-11 -19h22Z" fill="{PAPER}" stroke="{INK}" stroke-width="2.2"/>'
    yield f'<path d="M{px:.1f} {py:.1f}v-19h11Z" fill="{INK}"/>'
    yield text(px, py - 27, "touch", 16, anchor="middle", bold=True, halo=True)


def _contours(told: Told, sheet: Sheet, steps: list[float], kept: list[Box]) -> Iterator[str]:
    """Lines first, figures over them, away from arm and touch."""
    x, z, half = told.budget.zone.reaches, told.budget.zone.heights, _half(told)
    figures = zip(steps, _figures(steps, told.units), strict=True)
    levels = [
        (level, figure, 1.3, INK) for level, figure in [*figures][1:-1]
        if told.tolerance is None or abs(level - told.tolerance) > _ONE_LINE_M
    ]  # fmt: skip
    if told.tolerance is not None:
        levels.append((told.tolerance, f"{words.allowed(told.tolerance, told.units)} kept", 3.2, ACCENT))
    crumb = _CRUMB * max(x[1] - x[0], z[1] - z[0])
    tx, ty = sheet.at(*told.touch)
    taken = [sheet.at(*point) for point in along(_arm(told.budget.worst.pose))]
    taken += [(tx + across, ty + up) for across in (-22, 0, 22) for up in (0, -16, -32)]
    over: list[str] = []
    for level, figure, width, ink in reversed(levels):
        whole = level == told.tolerance  # an island that is not kept is told, however small
        found = [each for each in lines(x, z, half, level) if whole or length_of(each) >= crumb]
        for each in found:
            path = sheet.path(each)
            if whole:
                yield f'<path d="{path}" fill="none" stroke="{PAPER}" stroke-width="{width + 2.6:g}"/>'
            yield f'<path d="{path}" fill="none" stroke="{ink}" stroke-width="{width:g}"/>'
        if not found:
            continue
        course, reach = [sheet.at(*point) for point in found[0]], 4.5 * len(figure)
        if whole and length_of(course) < _ROOMY * reach:
            over += _aside(course[len(course) // 2], figure, told, sheet, kept)
        elif length_of(course) > _LEAST_LABELLED:
            here, turn = free_place(course, taken, reach)
            hidden = along_words(here, turn, reach)
            if not whole and min(math.dist(each, other) for each in hidden for other in taken) < _CROWDED:
                continue
            taken += hidden
            if whole:  # its line is too wide for a halo
                over.append(line(hidden[0], hidden[-1], 15.0, PAPER))
            over.append(
                text(
                    here[0],
                    here[1] + 5,
                    figure,
                    16,
                    anchor="middle",
                    halo=True,
                    turn=turn,
                    fill=ink,
                    bold=whole,
                )
            )
    yield from over


def _legend(told: Told, sheet: Sheet, steps: list[float]) -> Iterator[str]:
    y = sheet.top + sheet.height + 84
    yield text(28, y - 14, "Half width of the 95 % interval", 15)
    box = 108.0
    spans = [*pairwise(_figures(steps, told.units))]
    long = any(len(low + high) > _LONGEST_SPAN for low, high in spans)
    for k, (low, high) in enumerate(spans):
        x = 28 + k * box
        yield f'<rect x="{x:.1f}" y="{y:.1f}" width="{box:.0f}" height="26" fill="url(#s{k})" stroke="{INK}"/>'
        for n, each in enumerate([f"{low} to", high] if long else [f"{low} to {high}"]):
            yield text(x + box / 2, y + 44 + 19 * n, each, 15, anchor="middle")
    unit = {LengthUnit.M: "mm", LengthUnit.MM: "mm", LengthUnit.FTIN: ""}.get(told.units, told.units.value)
    yield text(28 + (len(steps) - 1) * box + 10, y + 44, unit, 15)
    yield from scale_bar(sheet, WIDTH - _RIGHT, y, told.units)
    gaps = int(np.count_nonzero(~told.budget.ok))
    if gaps:
        yield text(28, y + 90, "Blank in the dashed frame: the arm does not get there so, or the sensors tell no pose.",
                    14.5)  # fmt: skip
