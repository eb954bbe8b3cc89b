"""A machine on a slope that swings about its leaning swing axis, against turns of a rigid body by SciPy's Rotation.

The tracks stand still, so the swing axis does; the body's attitude at each swing is read off the turned body as a
sensor would feel it, and only that attitude goes into our pose.
"""

import math

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation

from kinematics.arm import Pose, pose
from kinematics.assembly import Assembly
from kinematics.chain import POINTS
from kinematics.errors import Refused

from .machines import random_angles, seeded
from .referee import REFEREE_M, leaned

# acos of a cosine near 1 turns a rounding of 1e-16 into 1e-8 rad.
TILT_RAD = 1e-7
SWINGS = tuple(math.radians(angle) for angle in range(-180, 181, 24))


def felt(world_from_body: Rotation) -> dict[str, float]:
    """Body pitch and roll (rad) as plumb in body axes gives them."""
    x, y, z = world_from_body.inv().apply([0.0, 0.0, 1.0])
    return {"pitch": math.asin(x), "roll": math.atan2(y, z)}


def named_points(found: Pose) -> dict[str, NDArray[np.float64]]:
    """Body places of all points that the machine has."""
    places = {}
    for name in POINTS:
        try:
            places[name] = np.array(found.body(name))
        except Refused as refused:
            if refused.code != "no-such-point":
                raise
    return places


def swung(seed: int) -> tuple[Assembly, Rotation, dict[str, float], NDArray[np.float64]]:
    """A machine, its stand, its joint angles, and the leaning swing axis in the world."""
    assembly = seeded(seed)
    angles = random_angles(np.random.default_rng([5, seed]), assembly)
    stand = leaned(angles.pop("pitch"), angles.pop("roll"))
    return assembly, stand, angles, stand.apply([0.0, 0.0, 1.0])


@given(seed=st.integers(0, 60), swing=st.floats(-math.pi, math.pi))
@settings(deadline=None)
def test_heights_are_those_of_a_rigid_turn_about_the_leaning_axis(seed: int, swing: float) -> None:
    assembly, stand, joints, axis = swung(seed)
    start = named_points(pose(assembly, **felt(stand), **joints))
    turn = Rotation.from_rotvec(swing * axis)
    found = pose(assembly, **felt(turn * stand), **joints)
    for name, place in start.items():
        height = turn.apply(stand.apply(place))[2]
        assert abs(found.height(name) - height) <= REFEREE_M, name


@given(seed=st.integers(0, 60), swing=st.floats(-math.pi, math.pi))
@settings(deadline=None)
def test_origin_elevation_is_unchanged(seed: int, swing: float) -> None:
    """Each point's height over the origin plus the origin's own elevation is its elevation in the world; an origin
    that moved would show as a common shift of all points."""
    tracks_to_origin = 1.4  # m along the swing axis, up from where it meets the ground
    assembly, stand, joints, axis = swung(seed)
    start = named_points(pose(assembly, **felt(stand), **joints))
    origin = tracks_to_origin * axis[2]
    turn = Rotation.from_rotvec(swing * axis)
    found = pose(assembly, **felt(turn * stand), **joints)
    for name, place in start.items():
        elevation = turn.apply(stand.apply(place + np.array([0.0, 0.0, tracks_to_origin])))[2]
        assert abs(origin + found.height(name) - elevation) <= REFEREE_M, name


def test_total_tilt_is_constant() -> None:
    for seed in range(20):
        assembly, stand, joints, axis = swung(seed)
        total = math.acos(axis[2])
        for swing in SWINGS:
            lean = felt(Rotation.from_rotvec(swing * axis) * stand)
            product = math.cos(lean["pitch"]) * math.cos(lean["roll"])
            assert abs(math.acos(min(1.0, product)) - total) <= TILT_RAD
            assert abs(pose(assembly, **lean, **joints).plumb[2] - axis[2]) <= REFEREE_M


def test_edge_keeps_its_shape_and_distance_from_the_axis() -> None:
    for seed in range(20):
        assembly, stand, joints, axis = swung(seed)
        first = pose(assembly, **felt(stand), **joints)
        corners = [np.array(first.level(name)) for name in ("left", "centre", "right")]
        for swing in SWINGS:
            found = pose(assembly, **felt(Rotation.from_rotvec(swing * axis) * stand), **joints)
            turned = [np.array(found.level(name)) for name in ("left", "centre", "right")]
            for i, j in ((0, 1), (1, 2), (0, 2)):
                apart = np.linalg.norm(corners[i] - corners[j]), np.linalg.norm(turned[i] - turned[j])
                assert abs(apart[0] - apart[1]) <= REFEREE_M
            for before, after in zip(corners, turned, strict=True):
                assert abs(np.linalg.norm(before) - np.linalg.norm(after)) <= REFEREE_M
