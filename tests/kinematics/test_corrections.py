"""Corrections: the advised move, made in a new pose, brings the point onto the line; where none does, none is nearer."""

import math

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from kinematics.arm import Pose, pose
from kinematics.assembly import assemble
from kinematics.corrections import ADVISED, corrections, cross_slope_correction
from kinematics.drives import cylinder_length
from kinematics.errors import Refused
from kinematics.machine import Range
from kinematics.parameters import EDGE_POINTS
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
    tiltrotator_bucket,
)
from .poses import LEAST_RUN_M

ON_LINE_M = 1e-9  # rounding over some twenty metres
ON_SLOPE = 1e-9
TRIED = 301


def angles_of(found: Pose) -> dict[str, float]:
    joints = {name: found.joint(name) for name in found.assembly.ranges}
    return joints | {"pitch": float(found.q[0]), "roll": float(found.q[1])}


def moved(found: Pose, joint: str, angle: float) -> Pose:
    return pose(found.assembly, **(angles_of(found) | {joint: angle}))


def started(seed: int, *, linkage: bool) -> Pose:
    assembly = seeded(seed, linkage=linkage, driven=linkage)
    found = pose(assembly, **random_angles(np.random.default_rng([70, seed]), assembly))
    left, right = found.level("left"), found.level("right")
    assume(math.dist(left[:2], right[:2]) > LEAST_RUN_M)
    return found


def whole_range(found: Pose, joint: str) -> list[float]:
    span = found.assembly.ranges[joint]
    return [float(angle) for angle in np.linspace(span.low, span.high, TRIED)]


def off(found: Pose, line: Line, point: str) -> float:
    reach, _, height = found.level(point)
    return height - line.height_at(reach)


@given(
    seed=st.integers(0, 2000), linkage=st.booleans(), point=st.sampled_from(EDGE_POINTS),
    rise=st.floats(-1.5, 1.5), slope=st.floats(-0.5, 0.5),
)  # fmt: skip
@settings(deadline=None, max_examples=several(60))
def test_a_correction_brings_the_point_onto_the_line_or_nearest(
    seed: int, linkage: bool, point: str, rise: float, slope: float
) -> None:
    start = started(seed, linkage=linkage)
    reach, _, height = start.level(point)
    line = Line(height + rise, slope, reach)
    found = corrections(start, line, point=point)
    assert [one.joint for one in found] == [name for name in ADVISED if name in start.assembly.ranges]
    for one in found:
        span = start.assembly.ranges[one.joint]
        assert span.low - 1e-12 <= one.angle <= span.high + 1e-12
        assert abs(one.angle - one.move_rad - start.joint(one.joint)) <= 1e-12
        there = moved(start, one.joint, one.angle)
        assert abs(there.level(point)[0] - one.reach) <= ON_LINE_M
        assert abs(off(there, line, point) - one.off_by_m) <= ON_LINE_M
        if one.cylinder_move_m is None:
            assert one.joint not in start.assembly.cylinders
        else:
            change = there.cylinders()[one.joint] - start.cylinders()[one.joint]
            assert abs(change - one.cylinder_move_m) <= ON_LINE_M
        tried = [
            (angle, off(moved(start, one.joint, angle), line, point))
            for angle in whole_range(start, one.joint)
        ]
        if one.reaches:
            assert abs(one.off_by_m) <= ON_LINE_M
            # No smaller move crosses the line: on the way there it stays on the side where it started.
            shorter = [
                value for angle, value in tried if abs(angle - start.joint(one.joint)) < abs(one.move_rad)
            ]
            assert all(value * -rise > 0.0 for value in shorter)
        else:
            assert abs(one.off_by_m) <= min(abs(value) for _, value in tried) + ON_LINE_M
            assert all(value * one.off_by_m > 0.0 for _, value in tried)


def test_boom_down_by_the_round_figure() -> None:
    """80 mm high, some 8 m from the boom foot: about 0.57 deg of boom, and its cylinder gets shorter."""
    assembly = assemble(plain_machine(boom_length=6.5), plain_bucket())
    start = pose(assembly, **LEVEL, **DIGGING)
    from_foot = start.reach - 0.2
    line = Line(start.height("centre") - 0.08)
    boom = corrections(start, line)[0]
    assert boom.joint == "boom"
    assert boom.reaches
    # The chord against the tangent: half the move squared of the lever.
    assert abs(boom.move_rad + 0.08 / from_foot) <= 2e-4
    driven = assemble(mini_machine(), mini_bucket())
    start = pose(driven, **LEVEL, boom=0.3, stick=-1.5, bucket=0.0)
    boom = corrections(start, Line(start.height("centre") - 0.05))[0]
    assert boom.cylinder_move_m is not None
    assert boom.move_rad < 0.0 > boom.cylinder_move_m
    wanted = cylinder_length(driven, "boom", boom.angle) - cylinder_length(driven, "boom", 0.3)
    assert abs(wanted - boom.cylinder_move_m) <= ON_LINE_M


def test_on_the_line_nothing_moves() -> None:
    start = pose(assemble(plain_machine(), plain_bucket()), **LEVEL, **DIGGING)
    for one in corrections(start, Line(start.height("centre"))):
        assert one.reaches
        assert abs(one.move_rad) <= 1e-9


def test_out_of_a_joints_power() -> None:
    """A line 3 m down is past what a bucket with its edge some 1.2 m from its pin can do, not past the boom."""
    start = pose(assemble(plain_machine(), plain_bucket()), **LEVEL, **DIGGING)
    found = {one.joint: one for one in corrections(start, Line(start.height("centre") - 3.0))}
    assert found["boom"].reaches
    assert not found["bucket"].reaches
    # At best the edge hangs plumb below its pin: hypot(0.2, 1.2), now 1.2 below it.
    assert abs(found["bucket"].off_by_m - (3.0 + 1.2 - math.hypot(0.2, 1.2))) <= ON_LINE_M
    assert "tilt" not in found


def test_refused() -> None:
    start = pose(assemble(plain_machine(), plain_bucket()), **LEVEL, **DIGGING)
    for point in ("tooth_left", "receiver", "edge"):
        with pytest.raises(Refused) as refused:
            corrections(start, Line(0.0), point=point)
        assert refused.value.code == "no-such-point"
    start = pose(assemble(plain_machine(), tiltrotator_bucket()), **LEVEL, **DIGGING, tilt=0.0, rotate=0.0)
    with pytest.raises(Refused) as refused:
        cross_slope_correction(start, math.nan)
    assert refused.value.code == "not-finite"


# --- tilt for cross-slope ---


def test_tilt_for_a_cross_slope() -> None:
    """Body level, attachment square: 5 % with the right corner higher is a tilt of -atan(0.05), -2.86 deg."""
    assembly = assemble(plain_machine(), tiltrotator_bucket())
    start = pose(assembly, **LEVEL, **DIGGING, tilt=0.2, rotate=0.0)
    found = cross_slope_correction(start, 0.05)
    assert found is not None
    assert found.reaches
    assert abs(found.angle + math.atan(0.05)) <= ON_SLOPE
    assert abs(found.move_rad - (found.angle - 0.2)) <= ON_SLOPE
    too_much = cross_slope_correction(start, -2.0)
    assert too_much is not None
    assert not too_much.reaches
    assert abs(too_much.angle - 0.7) <= ON_SLOPE  # the end of its range
    assert abs(too_much.off_by - (2.0 - math.tan(0.7))) <= ON_SLOPE


def test_no_tilt_no_correction() -> None:
    start = pose(assemble(plain_machine(), plain_bucket()), **LEVEL, **DIGGING)
    assert cross_slope_correction(start, 0.02) is None


@given(seed=st.integers(0, 2000), wanted=st.floats(-1.0, 1.0))
@settings(deadline=None, max_examples=several(60))
def test_the_tilt_gives_the_cross_slope_or_the_nearest(seed: int, wanted: float) -> None:
    assembly = seeded(seed)
    assume("tilt" in assembly.ranges)
    start = started(seed, linkage=False)
    found = cross_slope_correction(start, wanted)
    assert found is not None
    there = moved(start, "tilt", found.angle)
    slope = there.cross_slope
    # A steep edge's slope goes with the square of its height over its run.
    steep = 1.0 + slope * slope
    assert abs(slope - found.cross_slope) <= ON_SLOPE * steep * math.sqrt(steep)
    assert abs(slope - wanted - found.off_by) <= ON_SLOPE * steep * math.sqrt(steep)
    tried = [
        (angle, moved(start, "tilt", angle).cross_slope - wanted) for angle in whole_range(start, "tilt")
    ]
    if found.reaches:
        assert abs(slope - wanted) <= ON_SLOPE * steep * math.sqrt(steep)
        before = start.cross_slope - wanted
        shorter = [value for angle, value in tried if abs(angle - start.joint("tilt")) < abs(found.move_rad)]
        assert all(value * before > 0.0 for value in shorter)
    else:
        assert abs(found.off_by) <= min(abs(value) for _, value in tried) + ON_SLOPE
        assert all(value * found.off_by > 0.0 for _, value in tried)


def test_a_joint_in_the_slack_of_its_stop() -> None:
    """A hair past its stop, as a noisy sensor has it: the advice leads back into the range."""
    assembly = assemble(plain_machine(boom=Range(-0.8, 0.6)), plain_bucket())
    start = pose(assembly, **LEVEL, **(DIGGING | {"boom": 0.602}))
    boom = corrections(start, Line(start.height("centre") + 0.5))[0]
    assert not boom.reaches
    assert boom.move_rad == 0.0
    down = corrections(start, Line(start.height("centre") - 0.5))[0]
    assert down.reaches
    assert down.angle < 0.6
