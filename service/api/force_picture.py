"""A force map drawn over the envelope: tints for force, a mark in each place for the cylinder that limits it."""

import math
from collections.abc import Iterator
from html import escape
from itertools import pairwise

import numpy as np

from kinematics.hydraulics import RAMS

from .drawing import FAMILY, INK, PAPER, Sheet, line, mixed, png_of, text
from .envelope_answer import Told as EnvelopeTold
from .envelope_picture import WIDTH, border, border_path, ground_line, sheet_over, swing_axis
from .force_answer import Told
from .sensitivities import POINTS_IN_WORDS
from .zone_axes import axes, depths, scale_bar

_BELOW = 196.0
_TINTS = (0.06, 0.15, 0.26, 0.38, 0.51, 0.65)
_STEPS = (1.0, 2.0, 2.5, 5.0)
_WORDS = {
    "bucket": "bucket cylinder",
    "stick": "stick cylinder",
    "boom": "boom cylinders",
    "fore_boom": "fore boom",
}
_MARK = 5.0


def as_png(told: Told) -> bytes:
    """The picture as PNG. Raises `Refused` "no-font" where the machine has none to write with."""
    return png_of(as_svg(told))


def as_svg(told: Told) -> str:
    """The picture of the map."""
    framed = EnvelopeTold(told.envelope, told.assembly, told.machine, told.attachment, told.units)
    sheet = sheet_over(framed, _BELOW)
    height = sheet.top + sheet.height + _BELOW
    mode = "" if told.map is None else told.map.mode
    title = f"{told.machine.id} with {told.attachment.id}: greatest force of the {mode} cylinder"
    rated = (
        ""
        if mode not in told.rated
        else (f" Rated in its own posture: {1e-3 * told.rated[mode].force:.1f} kN.")
    )
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{WIDTH}" height="{height:.0f}" '
        f'viewBox="0 0 {WIDTH} {height:.0f}" font-family="{FAMILY}" fill="{INK}">',
        f"<title>{escape(title)}</title>",
        f'<rect width="{WIDTH}" height="{height:.0f}" fill="{PAPER}"/>',
        text(28, 40, title, 25, bold=True),
        text(28, 68, f"On the {POINTS_IN_WORDS[told.point]}, the best posture of each place; masses, friction, tipping "
             f"not counted.{rated}", 16.5),
        *axes(sheet, told.units),
        *depths(sheet, told.envelope.ground, told.units),
        f'<clipPath id="reached"><path d="{border_path(framed, sheet)}" clip-rule="evenodd"/></clipPath>',
        '<g clip-path="url(#reached)">',
        *_places(told, sheet),
        "</g>",
        *border(framed, sheet, filled=False),
        *ground_line(told.envelope.ground, sheet),
        *swing_axis(sheet),
        *_legend(told, sheet),
        *scale_bar(sheet, WIDTH - 92.0, sheet.top + sheet.height + 84, told.units),
        "</svg>",
    ]  # fmt: skip
    return "\n".join(parts)


def steps_of(told: Told) -> list[float]:
    """Ascending levels (kN), six steps at most between them, round figures."""
    assert told.map is not None  # noqa: S101  # a picture is only drawn of a map
    kilo = 1e-3 * told.map.force
    low, high = float(np.nanmin(kilo)), float(np.nanmax(kilo))
    for step in (each * 10.0**power for power in range(-2, 7) for each in _STEPS):
        first, last = math.floor(low / step + 1e-9), math.ceil(high / step - 1e-9)
        if last - first <= len(_TINTS):
            return [step * k for k in range(first, max(last, first + 1) + 1)]
    raise AssertionError("no arm is as strong")


def _places(told: Told, sheet: Sheet) -> Iterator[str]:
    found = told.map
    assert found is not None  # noqa: S101  # a picture is only drawn of a map
    steps = steps_of(told)
    half = 0.5 * sheet.scale * float(found.reaches[1] - found.reaches[0]) if found.reaches.size > 1 else 8.0
    mark = min(_MARK, 0.42 * half)
    for i, j in np.argwhere(found.limited_by >= 0).tolist():
        px, py = sheet.at(float(found.reaches[j]), float(found.heights[i]))
        k = min(max(sum(1e-3 * found.force[i, j] >= level for level in steps[1:]), 0), len(_TINTS) - 1)
        yield f'<rect x="{px - half:.1f}" y="{py - half:.1f}" width="{2 * half:.1f}" height="{2 * half:.1f}" ' \
              f'fill="{mixed(_TINTS[k])}"/>'  # fmt: skip
        yield from _mark(RAMS[int(found.limited_by[i, j])], px, py, mark)


def _mark(joint: str, px: float, py: float, size: float) -> Iterator[str]:
    """None for the bucket cylinder; a ring for the stick's, a cross for the boom's, a bar for the fore boom's."""
    if joint == "stick":
        yield f'<circle cx="{px:.1f}" cy="{py:.1f}" r="{size:.1f}" fill="none" stroke="{INK}"/>'
    elif joint == "boom":
        yield line((px - size, py - size), (px + size, py + size))
        yield line((px - size, py + size), (px + size, py - size))
    elif joint == "fore_boom":
        yield line((px - size, py), (px + size, py), 2.0)


def _legend(told: Told, sheet: Sheet) -> Iterator[str]:
    assert told.map is not None  # noqa: S101  # a picture is only drawn of a map
    y, steps = sheet.top + sheet.height + 84, steps_of(told)
    yield text(28, y - 14, "Greatest force, kN", 15)
    box = 96.0
    for k, (low, high) in enumerate(pairwise(steps)):
        yield f'<rect x="{28 + k * box:.1f}" y="{y:.1f}" width="{box:.0f}" height="26" fill="{mixed(_TINTS[k])}" ' \
              f'stroke="{INK}"/>'  # fmt: skip
        yield text(28 + k * box + box / 2, y + 44, f"{low:g} to {high:g}", 15, anchor="middle")
    yield text(28, y + 80, "Limited by:", 15)
    x = 122.0
    for joint in ("bucket", "stick", "boom", "fore_boom"):
        if RAMS.index(joint) not in told.map.limited_by:
            continue
        yield f'<rect x="{x:.0f}" y="{y + 64:.1f}" width="22" height="22" fill="{mixed(_TINTS[1])}" stroke="{INK}"/>'
        yield from _mark(joint, x + 11, y + 75, _MARK)
        yield text(x + 30, y + 80, _WORDS[joint], 15)
        x += 52 + 8.2 * len(_WORDS[joint])
