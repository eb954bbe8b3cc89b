"""Measured pins in the frame of the body, and held against what is known of their plane and side."""

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares

from kinematics.chain import level_from_body
from kinematics.errors import Fault, refuse
from kinematics.machine import Point

from .pin_table import PLANE_PINS, PinTable
from .tree import Attitude

LEAST_AHEAD_M = 0.5
"""How far ahead of the boom foot pin, level, the bucket pin must be, or nobody could say which way the machine looks."""
MOST_SWUNG_RAD = math.radians(1.0)
"""Two marks 1.8 m apart, each known to a centimetre: 0.45 deg, and the play of a swing boom."""
_SHIFTS = 1e-12  # rad of heading: far below a micrometre at twenty metres


@dataclass(frozen=True, slots=True)
class InBody:
    """Places in body axes (m), x forward, y left, z up: z from the boom foot pin, x and y from the swing axis or, where
    the table has none, from that pin too. `plane_y`: where the arm's plane lies."""

    places: Mapping[str, Point]
    plane_y: float

    def xz(self, name: str) -> tuple[float, float]:
        """(x, z) of a pin."""
        x, _, z = self.places[name]
        return x, z


def in_body(table: PinTable, attitude: Attitude, tolerance: float, boom_foot_left: float | None) -> InBody:
    """Turn a table into the body's axes, whatever its heading and origin; `tolerance` (m) is how far a pin may lie off
    the plane. In a side view `boom_foot_left` (m) says where that plane is.

    A machine that stood at a heading of 30 degrees gives what it gives at 0.
    Raises `Refused`: "out-of-plane" for each pin, "looks-nowhere", "mirrored", "not-square" with the boom swung.
    """
    names = list(table.places)
    points = np.array([table.places[name] for name in names])
    planar = [i for i, name in enumerate(names) if name in PLANE_PINS]
    level = np.array(level_from_body(attitude.pitch, attitude.roll)[:9]).reshape(3, 3)
    stood = points
    if not table.plane:
        points = points - points[planar].mean(axis=0)  # a grid's millions would cost the last digits
        ways = [points @ turn for turn in _headings(points[planar], level[:, 1])]
        stood = max(ways, key=lambda way: _ahead(names, way))
    placed = stood @ level
    refuse(_side_faults(table, names, _ahead(names, stood), placed))
    refuse(_swing_faults(names, placed))
    middle = float(np.mean(placed[planar, 1]))
    refuse(_plane_faults(names, placed, planar, middle, tolerance))
    foot = placed[names.index("boom_foot_pin")]
    axis = placed[names.index("swing_axis")] if "swing_axis" in names else foot
    origin = np.array([axis[0], axis[1], foot[2]])
    plane_y = middle - float(origin[1]) if boom_foot_left is None else boom_foot_left
    seen = (placed - origin).tolist()
    return InBody({name: (x, y, z) for name, (x, y, z) in zip(names, seen, strict=True)}, plane_y)


def _headings(pins: NDArray[np.float64], side: NDArray[np.float64]) -> Iterator[NDArray[np.float64]]:
    """Two turns about plumb that lay the pins' plane square to `side`, the body's y in the level frame: looking one way
    and the other. Points by rows times a turn are points in the level frame."""
    spread = np.linalg.svd(pins[:, :2] - pins[:, :2].mean(axis=0))[2][0]
    for first in (math.atan2(spread[1], spread[0]), math.atan2(-spread[1], -spread[0])):

        def off(heading: NDArray[np.float64]) -> NDArray[np.float64]:
            lateral: NDArray[np.float64] = pins @ _turn(float(heading[0])) @ side
            lateral -= lateral.mean()
            return lateral

        found = least_squares(off, [first], xtol=_SHIFTS, ftol=_SHIFTS, gtol=_SHIFTS)
        yield _turn(float(found.x[0]))


def _turn(heading: float) -> NDArray[np.float64]:
    c, s = math.cos(heading), math.sin(heading)
    return np.array([[c, -s, 0.0], [s, c, 0.0], [0.0, 0.0, 1.0]])


def _ahead(names: list[str], stood: NDArray[np.float64]) -> float:
    """How far the bucket pin is ahead of the boom foot pin, level."""
    return float(stood[names.index("bucket_pin"), 0] - stood[names.index("boom_foot_pin"), 0])


def _side_faults(
    table: PinTable, names: list[str], ahead: float, placed: NDArray[np.float64]
) -> Iterator[Fault]:
    """Whether x leads forward and y to the left, by what is known of every machine."""
    if abs(ahead) < LEAST_AHEAD_M:
        yield Fault(
            "looks-nowhere", "bucket_pin", f"{ahead:.3f} m ahead of the boom foot pin, level",
            f"{LEAST_AHEAD_M:g} m or more, to see which way the machine looks", "reach out further, and measure again",
            {"ahead_m": ahead},
        )  # fmt: skip
    elif ahead < 0.0:
        yield Fault(
            "mirrored", "bucket_pin", f"{-ahead:.3f} m behind the boom foot pin", "x that leads forward",
            "in a side view the machine looks towards greater x: measure it from the right side of the machine",
            {"ahead_m": ahead},
        )  # fmt: skip
    elif not table.plane:
        left, right = (float(placed[names.index(corner), 1]) for corner in ("left", "right"))
        if left <= right:
            yield Fault(
                "mirrored", "left", f"the left corner {right - left:.3f} m to the right of the right one",
                "x, y, z by the right hand, z up, and the bucket square to the arm",
                "a surveyor's north before east is left-handed: swap these two columns; or swap left and right",
                {"left_y_m": left, "right_y_m": right},
            )  # fmt: skip


def _swing_faults(names: list[str], placed: NDArray[np.float64]) -> Iterator[Fault]:
    """Whether the arm looks straight ahead, by one place on both sides of the body."""
    if not {"body_left", "body_right"} <= set(names):
        return
    x, y, _ = placed[names.index("body_left")] - placed[names.index("body_right")]
    # The arm's plane turned to the left has the body's left side behind where it was.
    swung = math.atan2(x, y)
    if abs(swung) > MOST_SWUNG_RAD:
        side = "left" if swung > 0.0 else "right"
        yield Fault(
            "not-square", "body_left", f"an arm that looks {math.degrees(abs(swung)):.2f} deg to the {side}",
            f"straight ahead, within {math.degrees(MOST_SWUNG_RAD):g} deg",
            "set the swing boom straight; measure one and the same place on both sides of the body",
            {"swung_deg": math.degrees(swung)},
        )  # fmt: skip


def _plane_faults(
    names: list[str], placed: NDArray[np.float64], planar: list[int], middle: float, tolerance: float
) -> Iterator[Fault]:
    for i in planar:
        off = float(placed[i, 1]) - middle
        if not abs(off) <= tolerance:
            side = "left" if off > 0.0 else "right"
            yield Fault(
                "out-of-plane", names[i], f"{abs(off) * 1e3:.1f} mm to the {side} of the plane of all pins",
                f"at most {tolerance * 1e3:g} mm", "measure the middle of each pin, swing boom straight; check the roll",
                {"off_mm": off * 1e3},
            )  # fmt: skip
