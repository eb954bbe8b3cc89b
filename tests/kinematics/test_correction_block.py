"""What the compiled corrections say of the bucket after a move, against turns of bodies (`scipy`) and a scan of moves."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from kinematics.arm import Pose, pose
from kinematics.assembly import assemble
from kinematics.correction_block import ALIKE_M, MOVES, REACHED, better, moved, wave_at, write_moves
from kinematics.corrections import corrections, cross_slope_correction
from kinematics.drives import cylinder_length
from kinematics.parameters import BUCKET_POINTS
from kinematics.reach import Line
from tests.amounts import several

from .machines import (
    DIGGING,
    LEVEL,
    mini_bucket,
    mini_machine,
    plain_bucket,
    plain_machine,
    random_angles,
    seeded,
    unit,
)
from .plainly import in_plain_python

SAME = 1e-12  # rounding of one turn over a few metres
small = st.floats(-3.0, 3.0)


@given(
    at=st.tuples(small, small, small),
    on=st.tuples(small, small, small),
    move=st.floats(-6, 6),
    seed=st.integers(0, 999),
)
def test_a_place_turns_by_the_right_hand(
    at: tuple[float, float, float], on: tuple[float, float, float], move: float, seed: int
) -> None:
    axis = unit(*np.random.default_rng(seed).normal(size=3).tolist())
    found = np.array(moved(at, (*on, *axis), move))
    turn = Rotation.from_rotvec(move * np.array(axis))
    assert np.all(np.isfinite(found))
    assert np.max(np.abs(found - (turn.apply(np.subtract(at, on)) + on))) <= 1e-14 * 50


@settings(max_examples=several(200), deadline=None)
@given(base=small, a=small, b=small, low=st.floats(-6.0, 0.0), high=st.floats(0.0, 6.0))
def test_the_moves_hold_the_nearest(base: float, a: float, b: float, low: float, high: float) -> None:
    """No move of a scan comes nearer than the best of those, and none of them lies outside."""
    moves = np.empty(MOVES)
    count = write_moves((base, a, b), low, high, moves)
    assert 3 <= count <= MOVES
    tried = moves[:count].tolist()
    assert all(low <= t <= high for t in tried)
    nearest = min(abs(wave_at((base, a, b), t)) for t in tried)
    scan = [abs(wave_at((base, a, b), float(t))) for t in np.linspace(low, high, 500)]
    assert nearest <= min(scan) + SAME


def test_which_move_is_told() -> None:
    """(off, move) against (off, move): the smallest that reaches, else the least off, of two as much off the smaller."""
    for off, move, best_off, best, told in (
        (0.0, 2.0, 0.1, 1.0, True), (0.1, 1.0, 0.0, 2.0, False), (0.0, -1.0, 0.0, 2.0, True),
        (0.0, 2.0, 0.0, -1.0, False),
        (0.5 * REACHED, 0.1, 0.0, 0.2, True), (0.1, 2.0, -0.2, 1.0, True), (0.1, 0.5, -0.1, 1.0, True),
        (0.1, 1.0, 0.1, 1.0, False), (math.inf, 0.1, math.inf, 0.2, True),
    ):  # fmt: skip
        assert better(off, move, best_off, best) == told


def started(seed: int) -> Pose:
    assembly = seeded(seed, linkage=seed % 2 == 0, driven=seed % 3 == 0)
    return pose(assembly, **random_angles(np.random.default_rng([91, seed]), assembly))


@settings(max_examples=several(60), deadline=None)
@given(
    seed=st.integers(0, 2000),
    rise=st.floats(-1.0, 1.0),
    slope=st.floats(-0.3, 0.3),
    left=st.floats(-0.3, 0.3),
)
def test_deepest_and_lowest_are_of_the_places(seed: int, rise: float, slope: float, left: float) -> None:
    start = started(seed)
    x0, y0, z0 = start.level("centre")
    line = Line(z0 + rise, slope, x0)
    for one in corrections(start, line, left_slope=left):
        after, places = one.after, one.places
        assert set(places) >= {
            name for name in BUCKET_POINTS if not name.startswith("tooth") or start.has_teeth
        }
        below = {name: line.height_at(x) + left * (y - y0) - z for name, (x, y, z) in places.items()}
        assert abs(below[after.deepest] - after.below) <= SAME
        assert max(below.values()) <= after.below + SAME + ALIKE_M
        assert abs(places[after.lowest][2] - after.height) <= SAME
        assert min(z for _, _, z in places.values()) >= after.height - SAME - ALIKE_M
        assert abs(below["centre"] + one.off_by_m) <= SAME
    tilt = cross_slope_correction(start, 0.02)
    if tilt is not None:
        level = {name: z0 - z for name, (_, _, z) in tilt.places.items()}
        assert abs(level[tilt.after.deepest] - tilt.after.below) <= SAME


def test_parts_that_stand_alike_are_told_by_the_first() -> None:
    """Level machine, square bucket: left, centre and right are one height, whatever a rounding says."""
    start = pose(assemble(plain_machine(), plain_bucket()), **LEVEL, **(DIGGING | {"bucket": 1.1}))
    for one in corrections(start, Line(start.height("centre") - 0.02)):
        assert one.after.deepest == "left"
        assert one.after.lowest == "left"


def test_cylinders_of_every_joint() -> None:
    assembly = assemble(mini_machine(), mini_bucket())
    start = pose(assembly, **LEVEL, boom=0.3, stick=-1.5, bucket=0.0)
    found = corrections(start, Line(start.height("centre") - 0.02))
    assert [one.joint for one in found] == ["boom", "stick", "bucket"]
    for one in found:
        wanted = cylinder_length(assembly, one.joint, one.angle) - cylinder_length(
            assembly, one.joint, start.joint(one.joint)
        )
        assert one.cylinder_move_m == pytest.approx(wanted, abs=SAME)


def sample() -> list[list[float]]:
    """Moves and what is left of a few poses."""
    found = []
    for seed in range(15):
        start = started(seed)
        x, _, z = start.level("centre")
        for one in corrections(start, Line(z - 0.1, 0.05, x), left_slope=-0.02):
            drawn = one.cylinder_move_m or 0.0
            found.append([one.move_rad, drawn, one.reach, float(one.reaches), one.off_by_m, one.after.below])
    return found


def test_the_same_without_the_compiler() -> None:
    plain = in_plain_python("test_correction_block", "sample")
    assert len(plain) > 40
    assert np.max(np.abs(np.array(plain) - np.array(sample()))) <= 1e-9
