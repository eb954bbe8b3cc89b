"""A zone to be dug, as a grid of places for the edge, and the pose in each: the inverse of `reach` for many at once."""

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import TypedDict

import numpy as np
from numpy.typing import NDArray

from .arm_plane import SOLVED, Hold, angle_fault, floor_roots, hold
from .assembly import ROUNDING_RAD, Assembly
from .errors import Fault, refuse
from .machine import Range
from .reach import CLOSES_M, candidates, past_range
from .sensing_block import ANGLES
from .zone_block import BEYOND, OK, OUT_OF_REACH

Floats = NDArray[np.float64]
MOST_SIDE = 1000
FARTHEST_M = 100.0
_FEWEST = 2


class Standing(TypedDict):
    """What stands still (rad); None for a joint that is not there."""

    pitch: float
    roll: float
    swing_boom: float | None
    fore_boom: float | None
    tilt: float | None
    rotate: float | None


@dataclass(frozen=True, slots=True)
class Zone:
    """Reaches (m, level, ahead of the swing axis) and heights (m over the body origin) of the edge's centre.

    `columns` of reaches and `rows` of heights, evenly apart, both ends among them. In each the floor lies at
    `floor_angle` (rad, as `Pose.floor_angle`), tilt, rotation and swing boom at 0, a fore boom at `fore_boom` (rad), the
    body leaning by `pitch`, `roll` (rad). Range(3, 8) in 6 columns: 3, 4, 5, 6, 7, 8 m.
    Raises `Refused` with every fault: "not-finite", "out-of-range", "range-swapped", "angle-absurd".
    """

    reach: Range
    height: Range
    columns: int
    rows: int
    floor_angle: float = 0.0
    pitch: float = 0.0
    roll: float = 0.0
    fore_boom: float | None = None

    def __post_init__(self) -> None:
        refuse(self.faults())

    def faults(self) -> Iterator[Fault]:
        """What is wrong with it, as far as it can be seen without a machine."""
        for name in ("reach", "height"):
            span: Range = getattr(self, name)
            bad = [f"{name}.{end}" for end in ("low", "high") if not abs(getattr(span, end)) <= FARTHEST_M]
            for where in bad:
                yield Fault(
                    "out-of-range", where, f"{getattr(span, where.rpartition('.')[2]):g} m",
                    f"at most {FARTHEST_M:g} m either way", "check the unit and the decimal point",
                )  # fmt: skip
            if not bad and not span.low < span.high:
                yield Fault(
                    "range-swapped", name, f"from {span.low:g} to {span.high:g} m", "the lower end below the upper",
                    "which is which is not guessed", {"low_m": span.low, "high_m": span.high},
                )  # fmt: skip
        for name in ("columns", "rows"):
            count = getattr(self, name)
            if isinstance(count, bool) or not isinstance(count, int) or not _FEWEST <= count <= MOST_SIDE:
                yield Fault(
                    "out-of-range", name, repr(count), f"a whole number from {_FEWEST} to {MOST_SIDE}"
                )
        yield from angle_fault("floor_angle", self.floor_angle, math.pi)

    @property
    def reaches(self) -> Floats:
        """(columns,) m, ascending."""
        return np.linspace(self.reach.low, self.reach.high, self.columns)

    @property
    def heights(self) -> Floats:
        """(rows,) m, ascending."""
        return np.linspace(self.height.low, self.height.high, self.rows)

    def standing(self, assembly: Assembly) -> Standing:
        """What stands still, as `reach.place_edge` takes it: every joint that there is at 0, but for a fore boom."""
        swing, tilt, rotate = (
            0.0 if name in assembly.ranges else None for name in ("swing_boom", "tilt", "rotate")
        )
        return {
            "pitch": self.pitch, "roll": self.roll, "swing_boom": swing, "fore_boom": self.fore_boom, "tilt": tilt,
            "rotate": rotate,
        }  # fmt: skip


@dataclass(frozen=True, slots=True, eq=False)
class Placed:
    """Angles of every cell: `q` (rows, columns, 9) rad in the order of `sensing_block.ANGLES`, NaN where there is no
    posture, and `status` (rows, columns) of `zone_block.STATUS`."""

    held: Hold
    q: Floats
    status: NDArray[np.uint8]


def place_all(assembly: Assembly, zone: Zone) -> Placed:
    """The pose in every cell that `place_edge` would give first: elbow up where both do.

    Raises `Refused` as `arm_plane.hold` and `floor_roots` do: "no-floor-angle", "missing-joint", "too-steep", ...
    """
    standing = zone.standing(assembly)
    held = hold(assembly, **standing)
    angles, at = floor_roots(held, zone.floor_angle), held.on_hitch("centre")
    reach, height = (grid.ravel() for grid in np.meshgrid(zone.reaches, zone.heights))
    joints, margin = candidates(held, at, angles, reach, height)
    # Roots, sides, cells: elbow up first, as `place_edge` has it.
    joints = np.swapaxes(joints, 1, 2).reshape(len(SOLVED), -1, reach.size)
    closes = np.swapaxes(margin >= -CLOSES_M, 0, 1).reshape(-1, reach.size)
    good = closes & (past_range(assembly, joints) <= ROUNDING_RAD)
    found, chosen = good.any(axis=0), np.argmax(good, axis=0)
    status = np.where(found, OK, np.where(closes.any(axis=0), BEYOND, OUT_OF_REACH)).astype(np.uint8)
    q = np.zeros((reach.size, len(ANGLES)))
    cells = np.arange(reach.size)
    for name, values in zip(SOLVED, joints, strict=True):
        q[:, ANGLES.index(name)] = values[chosen, cells]
    for name, angle in (("pitch", zone.pitch), ("roll", zone.roll), ("fore_boom", held.fore)):
        q[:, ANGLES.index(name)] = angle
    q[~found] = math.nan
    return Placed(held, q.reshape(zone.rows, zone.columns, -1), status.reshape(zone.rows, zone.columns))
