"""Corrections: advice on how far one joint alone would have to move to bring a point of the bucket onto a line.

It is advice for the person at the levers and never commands a machine. A joint turns the bucket about one axis, and
whatever is linear in its places then follows base + A cos t + B sin t: both answers and the nearest approach are exact.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import lru_cache
from typing import NamedTuple

import numpy as np

from . import chain
from .arm import Pose
from .arm_plane import point_faults
from .assembly import Assembly
from .correction_block import (
    ADVISED,
    CROSS_SLOPE,
    Advice,
    Levers,
    Plane,
    axis_of,
    correct_joints,
    correct_tilt,
    desk,
    levers,
    moved,
    write_axes,
    write_parts,
)
from .drives import cylinder_length
from .errors import Fault, refuse
from .linkage import OK
from .maps import Vector
from .parameters import BUCKET_POINTS
from .reach import Line

__all__ = ["ADVISED", "Correction", "Corrector", "TiltCorrection", "corrections", "cross_slope_correction"]


class After(NamedTuple):
    """What stands where once a move is made.

    `deepest`: the part of the bucket then farthest below what was corrected to, by `below` (m; above it: negative);
    `lowest`: the part then lowest, `height` (m) over the body origin. Parts named as by `Pose.lowest`.
    """

    deepest: str
    below: float
    lowest: str
    height: float


@dataclass(frozen=True, slots=True)
class Correction:
    """What one joint alone would do, all others still.

    `move_rad` from where it is to `angle` (rad), signed as the joint's angle, and the cylinder's change of length
    `cylinder_move_m` (m, longer positive; None where no cylinder is measured); `reach` (m) where the point comes to.
    `reaches`: it comes onto the line; if not, the move is the one that brings it nearest within the joint's range,
    and `off_by_m` is how far (m, plumb) it stays above the line (below: negative). `after`: what then stands where.
    """

    joint: str
    move_rad: float
    angle: float
    cylinder_move_m: float | None
    reach: float
    reaches: bool
    off_by_m: float
    after: After
    of: "Corrector" = field(repr=False, compare=False)

    @property
    def places(self) -> Mapping[str, Vector]:
        """Where edge, teeth and heel then are (level frame, m), named as by `Pose.lowest`."""
        return self.of.places(self.joint, self.move_rad)


@dataclass(frozen=True, slots=True)
class TiltCorrection:
    """What the tilt alone would do for the cross-slope; `move_rad` to `angle` (rad), left corner up positive.

    `reaches`: the edge comes to the cross-slope wanted; if not, `cross_slope` (ratio, as `Pose.cross_slope`) is the
    nearest within the tilt's range, and `off_by` what it has more than wanted. `after` as in `Correction`.
    """

    move_rad: float
    angle: float
    cross_slope: float
    reaches: bool
    off_by: float
    after: After
    of: "Corrector" = field(repr=False, compare=False)

    @property
    def places(self) -> Mapping[str, Vector]:
        """As `Correction.places`."""
        return self.of.places("tilt", self.move_rad)


def corrections(
    pose: Pose, line: Line, *, point: str = "centre", left_slope: float = 0.0
) -> tuple[Correction, ...]:
    """One `Correction` for each of `ADVISED` that the machine has, for `point` of the bucket and a level-frame line.

    A sloping line counts at the reach where the point comes to. With the edge 8 m out on level ground and 80 mm above a
    level line, the boom would have to come down 0.57 deg, in round figures. The smaller of two moves is told.
    `left_slope` (ratio): the line lies in a plane that rises so much to the left; it runs where the point stands now.
    Raises `Refused` "no-such-point"; "not-finite".
    """
    refuse(point_faults(pose.assembly, point))
    if not math.isfinite(left_slope):
        refuse([Fault("not-finite", "left_slope", str(left_slope), "a finite ratio")])
    return Corrector(pose).to_plane(line, point, left_slope)


def cross_slope_correction(pose: Pose, cross_slope: float) -> TiltCorrection | None:
    """The tilt that would give the edge a cross-slope (ratio, positive with its right corner higher).

    None on an attachment without a tilt axis. Body level, attachment square, 5 % wanted: the tilt goes to -2.86 deg.
    Raises `Refused` "not-finite".
    """
    if not math.isfinite(cross_slope):
        refuse([Fault("not-finite", "cross_slope", str(cross_slope), "a finite ratio")])
    level = Line(pose.height("centre"))
    return Corrector(pose).to_cross_slope(cross_slope, level, "centre", 0.0)


class Corrector:
    """The corrections of one pose, for whoever asks several; arguments are checked by the caller."""

    __slots__ = ("_axes", "_levers", "_moves", "_parts", "_pose", "_told")

    def __init__(self, pose: Pose) -> None:
        assembly = pose.assembly
        row = np.empty(chain.WIDTH)
        chain.solve(assembly.parameters, assembly.limits, pose.q, row)
        self._pose, self._levers = pose, _levers(assembly)
        self._parts, self._axes, self._moves, self._told = desk(self._levers)
        write_parts(row, self._levers.edge, self._parts)
        write_axes(assembly.parameters, pose.q, self._axes)

    def places(self, joint: str, move: float) -> dict[str, Vector]:
        """Where edge, teeth and heel are (level frame, m) once one of `ADVISED` has moved (rad)."""
        axis = axis_of(self._axes, ADVISED.index(joint))
        return {
            name: moved((x, y, z), axis, move)
            for name, (x, y, z) in zip(self._levers.parts, self._parts.tolist(), strict=True)
            if not math.isnan(x)
        }

    def to_plane(
        self, line: Line, point: str, left_slope: float, joints: int = len(ADVISED)
    ) -> tuple[Correction, ...]:
        """As `corrections`, of the first `joints` of `ADVISED`."""
        of, moves, told = self._levers, self._moves, self._told
        index = BUCKET_POINTS.index(point)
        correct_joints(
            self._pose.q, of.spans, of.bar, of.cylinders, self._parts, self._axes, moves, told, joints, index,
            self._plane(line, index, left_slope),
        )  # fmt: skip
        every = [Advice(*one) for one in told[:joints].tolist()]
        return tuple([self._correction(i, one) for i, one in enumerate(every) if one.told])

    def to_cross_slope(
        self, cross_slope: float, line: Line, point: str, left_slope: float
    ) -> TiltCorrection | None:
        """As `cross_slope_correction`; `After` is told of the plane of a line through `point`."""
        if "tilt" not in self._pose.assembly.ranges:
            return None
        moves, told = self._moves, self._told
        correct_tilt(
            self._pose.q, self._levers.spans, self._parts, self._axes, moves, told[CROSS_SLOPE], cross_slope,
            self._plane(line, BUCKET_POINTS.index(point), left_slope),
        )  # fmt: skip
        one = Advice(*told[CROSS_SLOPE].item())
        return TiltCorrection(
            one.move, one.angle, one.slope, bool(one.reaches), one.off_by, self._after(one), self
        )

    def _plane(self, line: Line, point: int, left_slope: float) -> Plane:
        lateral = self._parts[point, 1]
        return float(line.height), float(line.slope), float(line.reach), float(left_slope), float(lateral)

    def _correction(self, i: int, one: Advice) -> Correction:
        joint, drawn = ADVISED[i], None if math.isnan(one.drawn) else one.drawn
        if one.undrawn != OK:  # refused, and with its reason
            lengths = [
                cylinder_length(self._pose.assembly, joint, at) for at in (one.angle, self._pose.joint(joint))
            ]
            drawn = lengths[0] - lengths[1]
        return Correction(
            joint,
            one.move,
            one.angle,
            drawn,
            one.reach,
            bool(one.reaches),
            one.off_by,
            self._after(one),
            self,
        )

    def _after(self, one: Advice) -> After:
        parts = self._levers.parts
        return After(parts[one.deepest], one.below, parts[one.lowest], one.low_height)


@lru_cache(maxsize=64)
def _levers(assembly: Assembly) -> Levers:
    return levers(assembly)
