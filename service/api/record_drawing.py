"""Checks drawn as a long section: the target's line, its tolerance, each check with its doubt. Black on white."""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from kinematics.agreement import FACTOR
from kinematics.units import LengthUnit, show, show_number, to_metres
from service.book.dug_payloads import CheckTaken
from service.book.state import Entry

from .drawing import FAMILY, INK, RULE, line, text

MOST_DRAWN = 400
"""Checks in one drawing; of more, those farthest from the target."""
_WIDTH, _LEFT, _RIGHT, _TOP, _FOOT = 1100.0, 150.0, 40.0, 70.0, 112.0
_HIGH = 430.0
_FACTORS = (500, 200, 100, 50, 20, 10, 5, 2, 1)
_LEAST_LONG_M = 1.0
_AROUND = 1.15
_MOST_TICKS = 9
_NAMED = 30
"""So many checks at most have their numbers beside them."""
_HALO = 5.0


@dataclass(frozen=True, slots=True)
class Drawn:
    """A drawing and what is to be said of it."""

    svg: str
    factor: int
    left_out: int


@dataclass(frozen=True, slots=True)
class _Mark:
    seq: int
    along: float
    off: float
    doubt: float
    point: int
    void: bool


def long_section(checks: Sequence[Entry], void: frozenset[int], units: LengthUnit) -> Drawn | None:
    """Checks of one target along their reach, or along its stations where it has them; None without a check.

    Heights are drawn `factor` times as large as lengths. `void`: entries that do not count.
    """
    told = [(entry.seq, entry.payload) for entry in checks if isinstance(entry.payload, CheckTaken)]
    if not told:
        return None
    farthest = sorted(told, key=lambda each: -max(abs(p.above_target_m) for p in each[1].points))[:MOST_DRAWN]
    first = told[0][1]
    stations = first.centre.station_m is not None
    level = len({point.target_elevation_m for _, each in told for point in each.points}) == 1
    marks = [
        _Mark(
            seq, point.station_m if stations and point.station_m is not None else point.reach_m, point.above_target_m,
            FACTOR * point.cut_fill_standard_m, i, seq in void,
        )
        for seq, each in sorted(farthest)
        for i, point in enumerate(each.points)
    ]  # fmt: skip
    tolerance = first.tolerance_m
    frame = _Frame.around(marks, tolerance, first.centre.target_elevation_m if level else None, units)
    height = _TOP + frame.height + _FOOT
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{_WIDTH:.0f}" height="{height:.0f}" '
        f'viewBox="0 0 {_WIDTH:.0f} {height:.0f}" font-family="{FAMILY}" fill="{INK}">',
        f'<rect width="{_WIDTH:.0f}" height="{height:.0f}" fill="#ffffff"/>',
        *frame.band(tolerance),
        *frame.axes(stations=stations),
        *(piece for mark in marks for piece in frame.mark(mark, named=len(told) <= _NAMED)),
        *_legend(height - 22.0, any(mark.void for mark in marks)),
        "</svg>",
    ]
    return Drawn("\n".join(parts), frame.factor, len(told) - len(farthest))


@dataclass(frozen=True, slots=True)
class _Frame:
    """From lengths along and heights off the target (m) to pixels."""

    low: float
    high: float
    below: float
    above: float
    scale: float
    factor: int
    target: float | None
    units: LengthUnit

    @classmethod
    def around(
        cls, marks: Sequence[_Mark], tolerance: float, target: float | None, units: LengthUnit
    ) -> "_Frame":
        along = [mark.along for mark in marks]
        middle, half = (
            0.5 * (min(along) + max(along)),
            0.5 * _AROUND * max(max(along) - min(along), _LEAST_LONG_M),
        )
        off = [end for mark in marks for end in (mark.off - mark.doubt, mark.off + mark.doubt)]
        below, above = min(*off, -1.5 * tolerance), max(*off, 1.5 * tolerance)
        around = 0.08 * (above - below)
        below, above = below - around, above + around
        scale = (_WIDTH - _LEFT - _RIGHT) / (2.0 * half)
        factor = next((each for each in _FACTORS if (above - below) * scale * each <= _HIGH), 1)
        scale = min(scale, _HIGH / ((above - below) * factor))
        half = 0.5 * (_WIDTH - _LEFT - _RIGHT) / scale
        return cls(middle - half, middle + half, below, above, scale, factor, target, units)

    @property
    def height(self) -> float:
        return (self.above - self.below) * self.scale * self.factor

    def at(self, along: float, off: float) -> tuple[float, float]:
        return _LEFT + (along - self.low) * self.scale, _TOP + (self.above - off) * self.scale * self.factor

    def band(self, tolerance: float) -> Iterator[str]:
        """The tolerance as a pale hatch between broken lines, the target as a full line, with their words."""
        left, right = _LEFT, _WIDTH - _RIGHT
        _, top = self.at(self.low, tolerance)
        _, foot = self.at(self.low, -tolerance)
        _, zero = self.at(self.low, 0.0)
        yield f'<rect x="{left:.1f}" y="{top:.1f}" width="{right - left:.1f}" height="{foot - top:.1f}" fill="#eeeeee"/>'
        for y in (top, foot):
            yield line((left, y), (right, y), 1.2, INK, "9 5")
        yield line((left, zero), (right, zero), 2.2)
        allowed = show(tolerance, self.units)
        where = "target" if self.target is None else f"target {show(self.target, self.units)}"
        yield text(left, 32, f"{where}, full line; tolerance \u00b1{allowed}, broken lines", 18)
        yield text(
            left,
            55,
            f"heights {self.factor} times as large as lengths; lines at a check: its 95 % interval",
            16,
        )

    def axes(self, *, stations: bool) -> Iterator[str]:
        foot = _TOP + self.height
        yield line((_LEFT, _TOP), (_LEFT, foot), 1.2)
        yield line((_LEFT, foot), (_WIDTH - _RIGHT, foot), 1.2)
        shift = self.target or 0.0
        step = _step(self.units, (self.above - self.below) / _MOST_TICKS)
        for k in range(math.ceil((self.below + shift) / step), math.floor((self.above + shift) / step) + 1):
            _, y = self.at(self.low, k * step - shift)
            yield line((_LEFT - 7, y), (_LEFT, y), 1.2)
            yield text(_LEFT - 12, y + 5, _minus(show_number(k * step, self.units)), 15, anchor="end")
        step = _step(self.units, (self.high - self.low) / _MOST_TICKS)
        for k in range(math.ceil(self.low / step), math.floor(self.high / step) + 1):
            x, _ = self.at(k * step, 0.0)
            yield line((x, foot), (x, foot + 7), 1.2)
            yield text(x, foot + 25, _minus(show_number(k * step, self.units)), 15, anchor="middle")
        word = "" if self.units is LengthUnit.FTIN else f", {self.units.value}"
        what = "station" if stations else "reach from the swing axis"
        yield text(_WIDTH - _RIGHT, foot + 50, f"{what}{word}", 16, anchor="end")
        upright = "elevation" if self.target is not None else "above target"
        yield text(22, _TOP + 0.5 * self.height, f"{upright}{word}", 16, anchor="middle", turn=-90)

    def mark(self, mark: _Mark, *, named: bool) -> Iterator[str]:
        """Left an open square, centre a full circle, right an open diamond; what is void a cross."""
        x, y = self.at(mark.along, mark.off)
        x += (-9.0, 0.0, 9.0)[mark.point]
        ink = RULE if mark.void else INK
        _, top = self.at(mark.along, mark.off + mark.doubt)
        _, foot = self.at(mark.along, mark.off - mark.doubt)
        yield line((x, top), (x, foot), 1.2, ink)
        for end in (top, foot):
            yield line((x - 4, end), (x + 4, end), 1.2, ink)
        yield _symbol(x, y, mark.point, ink, void=mark.void)
        if named and mark.point == 1:
            yield text(x, min(top, y) - _HALO, str(mark.seq), 14, anchor="middle", fill=ink)


def _symbol(x: float, y: float, point: int, ink: str, *, void: bool) -> str:
    hollow = f'fill="#ffffff" stroke="{ink}" stroke-width="1.6"/>'
    if void:
        return f'<path d="M{x - 5:.1f} {y - 5:.1f}l10 10m0 -10l-10 10" stroke="{ink}" stroke-width="1.6" fill="none"/>'
    if point == 1:
        return f'<circle cx="{x:.1f}" cy="{y:.1f}" r="5" fill="{ink}"/>'
    if point == 0:
        return f'<rect x="{x - 4.5:.1f}" y="{y - 4.5:.1f}" width="9" height="9" {hollow}'
    return f'<path d="M{x:.1f} {y - 6.5:.1f}l6.5 6.5l-6.5 6.5l-6.5 -6.5z" {hollow}'


def _legend(y: float, void: bool) -> Iterator[str]:  # noqa: FBT001
    told = ["left", "centre", "right", *(["void, does not count"] if void else [])]
    x = _LEFT
    for i, word in enumerate(told):
        yield _symbol(x, y - 5.0, i, INK, void=i == len(told) - 1 and void)
        yield text(x + 14, y, word, 16)
        x += 40.0 + 9.5 * len(word)


def _step(units: LengthUnit, least: float) -> float:
    """A round length (m) in the job's units, at least so long."""
    if units is LengthUnit.FTIN:
        inch = to_metres(1.0, LengthUnit.FT) / 12.0
        rounds = (
            *(inch * 2.0**k for k in range(-4, 3)),
            *(12.0 * inch * n for n in (0.5, 1, 2, 5, 10, 20, 50, 100)),
        )
        return next((each for each in rounds if each >= least), 12_000.0 * inch)
    unit = to_metres(1.0, LengthUnit.MM if units in (LengthUnit.M, LengthUnit.MM) else units)
    low = 0 if units in (LengthUnit.M, LengthUnit.MM) else -2
    return next(
        unit * each * 10.0**power
        for power in range(low, 9)
        for each in (1, 2, 5)
        if unit * each * 10.0**power >= least
    )


def _minus(figure: str) -> str:
    return figure.replace("-", "\u2212")
