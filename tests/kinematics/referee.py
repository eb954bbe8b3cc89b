"""What both referee libraries share: the body's attitude as turns of a body, and the readings from places."""

import math

import numpy as np
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation

from kinematics.arm import Pose
from kinematics.chain import POINTS

Places = dict[str, NDArray[np.float64]]
# Two chains of ten turns over 20 m in double precision part by some 1e-14 m. A billionth of a metre is far
# below anything that can be measured, and far above rounding.
REFEREE_M = 1e-9
# The same for angles and slopes; the shortest line that one is taken of is 0.3 m.
REFEREE_RAD = 1e-8


def leaned(pitch: float, roll: float) -> Rotation:
    """A body that stood level, turned left side up about its own x, then nose up about the level y's opposite."""
    return Rotation.from_rotvec([0.0, -pitch, 0.0]) * Rotation.from_rotvec([roll, 0.0, 0.0])


def yaw_to_level(pitch: float, roll: float) -> float:
    """Turn (rad) about plumb that lays the horizontal trace of the leaned body's x-z plane along level x."""
    left = leaned(pitch, roll).apply([0.0, 1.0, 0.0])
    trace = np.cross(left, [0.0, 0.0, 1.0])  # horizontal, and square to the normal of the x-z plane
    return -math.atan2(trace[1], trace[0])


def level_from_body(pitch: float, roll: float) -> NDArray[np.float64]:
    """The rotation from body to level frame, shape (3, 3), from the two turns and the trace."""
    matrix: NDArray[np.float64] = (
        Rotation.from_rotvec([0.0, 0.0, yaw_to_level(pitch, roll)]) * leaned(pitch, roll)
    ).as_matrix()
    return matrix


def assert_same(found: Pose, body: Places, level: Places, mast: NDArray[np.float64] | None) -> None:
    """Every point of `found` stands where the referee has it, and every reading follows from those places.

    `mast` is the referee's mast direction in the level frame, None without a receiver.
    """
    have = set(POINTS)
    if not found.has_teeth:
        have -= {"tooth_left", "tooth_centre", "tooth_right"}
    if mast is None:
        have -= {"receiver"}
    assert set(body) == set(level) == have
    for name in have:
        for ours, theirs in ((found.body(name), body[name]), (found.level(name), level[name])):
            assert np.all(np.isfinite(ours)), name
            assert math.dist(ours, theirs) <= REFEREE_M, name
    assert abs(found.reach - level["centre"][0]) <= REFEREE_M
    assert abs(found.lateral - level["centre"][1]) <= REFEREE_M
    if mast is not None:
        plumb_angle = math.atan2(math.hypot(mast[0], mast[1]), mast[2])
        # acos near 0 and pi turns a rounding of 1e-16 into 1e-8.
        assert abs(found.mast_angle - plumb_angle) <= 10 * REFEREE_RAD
    _assert_readings(found, level)


def _assert_readings(found: Pose, level: Places) -> None:
    left, right = level["left"], level["right"]
    run = math.hypot(left[0] - right[0], left[1] - right[1])
    slope = (right[2] - left[2]) / run
    assert abs(found.cross_slope - slope) <= REFEREE_RAD * (1.0 + slope * slope)
    heel = 0.5 * (level["heel_left"] + level["heel_right"]) - level["centre"]
    # Away from the seat, square to the edge, where the bucket's left is to the left.
    forward = np.array([left[1] - right[1], right[0] - left[0], 0.0]) / run
    floor = math.atan2(heel[2], float(heel @ forward))
    assert abs(math.remainder(found.floor_angle - floor, math.tau)) <= REFEREE_RAD * max(1.0, 0.3 / run)
    # Over the edge's point straight ahead of each heel end, no further out than its corner.
    tool = found.assembly.attachment
    corners = (tool.edge[-1], tool.edge[tool.centre], tool.edge[0])
    heights = [level[name][2] for name in ("right", "centre", "left")]
    ahead = np.interp([end[1] for end in tool.heel], [corner[1] for corner in corners], heights)
    clearance = min(level["heel_left"][2] - ahead[0], level["heel_right"][2] - ahead[1])
    assert abs(found.heel_clearance - clearance) <= REFEREE_M
