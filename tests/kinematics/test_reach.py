"""Placing a bucket point: published planar arms, every machine there and back, refusals that say by how much."""

import math

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from kinematics.arm import Pose, pose
from kinematics.assembly import Assembly, assemble
from kinematics.errors import Refused
from kinematics.machine import Attachment, BucketLinkage, Range
from kinematics.parameters import BUCKET_POINTS
from kinematics.reach import Line, Placement, place_edge
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

PLACED_M = 1e-9  # rounding over an arm of twenty metres, far below anything that can be measured
PLACED_RAD = 1e-9
FREE = Range(-math.pi, math.pi)
SOLVED = ("boom", "stick", "bucket")


def planar(boom: float, stick: float, bucket: float) -> Assembly:
    """Three links in a plane; the bucket's floor runs on along its link, so that its floor angle is the link's own."""
    attachment = Attachment(
        pin_spacing=0.4,
        edge=((bucket, 0.5, 0.0), (bucket, 0.0, 0.0), (bucket, -0.5, 0.0)),
        centre=1,
        heel=((bucket + 1.0, 0.45, 0.0), (bucket + 1.0, -0.45, 0.0)),
    )
    machine = plain_machine(
        boom_foot_x=0.0, boom_length=boom, stick_length=stick, boom=FREE, stick=FREE, bucket=FREE
    )
    return assemble(machine, attachment)


def placed(assembly: Assembly, **wish: object) -> Placement:
    """`place_edge`, for wishes put together from parts."""
    return place_edge(assembly, **wish)  # type: ignore[arg-type]


def degrees_of(found: Pose) -> tuple[float, ...]:
    return tuple(math.degrees(found.joint(name)) for name in SOLVED)


def numbers_of(refused: pytest.ExceptionInfo[Refused], code: str) -> dict[str, dict[str, float]]:
    """Where to numbers, of the faults; every one must have this code."""
    faults = refused.value.faults
    assert {fault.code for fault in faults} == {code}
    return {fault.where: dict(fault.numbers) for fault in faults}


# --- published planar arms ---


def test_planar_arm_of_three_links() -> None:
    """J. J. Craig, Introduction to Robotics, planar 3R exercise, links 4, 3, 2: x 7.5373 (seen), y 3.9266, 60 deg (from
    memory) back to 10, 20, 30 deg (seen) and to 27.115, -20.002, 52.887 (derived)."""
    found = placed(
        planar(4.0, 3.0, 2.0),
        **LEVEL,
        point="centre",
        reach=7.5373,
        height=3.9266,
        floor_angle=math.radians(60),
    )
    both = {degrees_of(found.pose), *map(degrees_of, found.others)}
    assert len(both) == 2
    # Half a unit of the fourth decimal, over 4 * 3 * sin 20 deg = 4.1 m of lever: 0.007 deg.
    for expected in ((10.0, 20.0, 30.0), (27.115, -20.002, 52.887)):
        assert min(max(abs(a - b) for a, b in zip(one, expected, strict=True)) for one in both) <= 0.01


def test_planar_arm_to_a_published_target() -> None:
    """K. Lynch and F. Park, Modern Robotics, Example 6.1 (problem seen, solutions derived): 3, 2, 1, flat at (4, 2)."""
    found = placed(planar(3.0, 2.0, 1.0), **LEVEL, point="centre", reach=4.0, height=2.0, floor_angle=0.0)
    printed = 5e-5 + 1e-9
    for one, expected in (
        (found.pose, (67.3801, -90.0, 22.6199)),
        (found.others[0], (0.0, 90.0, -90.0)),
    ):
        assert max(abs(a - b) for a, b in zip(degrees_of(one), expected, strict=True)) <= printed
    assert len(found.others) == 1


def test_planar_arm_out_of_reach() -> None:
    """Craig's arm asked for (-3.1245, 9.1674) (seen): 9.685 away, longer than 9; the bucket along the way, it misses
    by 0.685. With the bucket held so, no reach does: its pin alone stands 7.27 high, over boom and stick of 7."""
    towards = math.atan2(9.1674, -3.1245)
    with pytest.raises(Refused) as refused:
        placed(
            planar(4.0, 3.0, 2.0), **LEVEL, point="centre", reach=-3.1245, height=9.1674, floor_angle=towards
        )
    told = numbers_of(refused, "out-of-reach")["reach"]
    assert abs(told["miss_m"] - 0.685) <= 5e-4
    assert 9.1674 - 2.0 * math.sin(towards) > 7.0
    assert "nearest_reach_m" not in told
    assert "0.685 m" in str(refused.value)


def test_too_near_and_no_reach_at_all() -> None:
    """A boom of 4 m and a stick of 3 m keep the bucket pin 1 m off; 7 m is as high as it comes."""
    assembly = planar(4.0, 3.0, 2.0)
    with pytest.raises(Refused) as refused:
        placed(assembly, **LEVEL, point="centre", reach=2.25, height=0.0, floor_angle=0.0)
    told = numbers_of(refused, "out-of-reach")["reach"]
    assert abs(told["miss_m"] - 0.75) <= PLACED_M
    assert abs(told["nearest_reach_m"] - 3.0) <= 1e-6
    with pytest.raises(Refused) as refused:
        placed(assembly, **LEVEL, point="centre", reach=2.0, height=7.5, floor_angle=0.0)
    told = numbers_of(refused, "out-of-reach")["reach"]
    assert abs(told["miss_m"] - 0.5) <= PLACED_M
    assert "nearest_reach_m" not in told


# --- there and back ---


@given(seed=st.integers(0, 3000), linkage=st.booleans(), point=st.sampled_from(BUCKET_POINTS))
@settings(deadline=None, max_examples=several(150))
def test_there_and_back(seed: int, linkage: bool, point: str) -> None:
    """With and without lean, swing boom, fore boom, coupler, tilt and rotation: from a pose to its placement and back."""
    assembly = seeded(seed, linkage=linkage, driven=linkage)
    assume(not point.startswith("tooth") or assembly.attachment.teeth is not None)
    angles = random_angles(np.random.default_rng([60, seed]), assembly)
    start = pose(assembly, **angles)
    left, right = start.level("left"), start.level("right")
    assume(math.dist(left[:2], right[:2]) > LEAST_RUN_M)
    reach, _, height = start.level(point)
    held = {name: value for name, value in angles.items() if name not in SOLVED}
    found = placed(
        assembly, **held, point=point, reach=reach, height=height, floor_angle=start.floor_angle, near=start
    )
    for one in (found.pose, *found.others):
        there = one.level(point)
        assert abs(there[0] - reach) <= PLACED_M
        assert abs(there[2] - height) <= PLACED_M
        assert abs(math.remainder(one.floor_angle - start.floor_angle, math.tau)) <= PLACED_RAD
        assert all(one.joint(name) == value for name, value in held.items() if name in assembly.ranges)
    apart = max(abs(found.joints[name] - angles[name]) for name in SOLVED)
    assert apart <= PLACED_RAD * stiffness(start)
    for name, length in found.cylinders.items():
        stroke = assembly.cylinders[name].stroke
        assert stroke.low - PLACED_M <= length <= stroke.high + PLACED_M


def stiffness(start: Pose) -> float:
    """How many rad of joint one rad of floor, or one metre of place, asks for: large with the arm straight, or where the
    floor hardly turns with the bucket."""
    given = {name: start.joint(name) for name in start.assembly.ranges}
    given |= {"pitch": float(start.q[0]), "roll": float(start.q[1])}
    step = 1e-6
    columns = []
    for joint in SOLVED:
        up, down = (pose(start.assembly, **(given | {joint: given[joint] + by})) for by in (step, -step))
        turned = math.remainder(up.floor_angle - down.floor_angle, math.tau)
        columns.append((up.reach - down.reach, up.height("centre") - down.height("centre"), turned))
    slopes = np.array(columns).T / (2.0 * step)
    return 1.0 + float(np.linalg.norm(np.linalg.inv(slopes), 2))


def test_square_and_level_the_floor_turns_with_the_bucket() -> None:
    """Boom 0.6, stick -1.6, bucket 1.0 hold this floor flat: whatever floor angle f is asked for, the sum is f."""
    assembly = assemble(plain_machine(), plain_bucket())
    flat = pose(assembly, **LEVEL, **DIGGING)
    for floor in (-0.3, 0.0, 0.2, 0.5):
        found = placed(
            assembly,
            **LEVEL,
            point="centre",
            reach=flat.reach,
            height=flat.height("centre"),
            floor_angle=floor,
        )
        assert abs(sum(found.joints.values()) - floor) <= PLACED_RAD


def test_near_chooses_the_elbow() -> None:
    assembly = planar(3.0, 2.0, 1.0)
    wish = {"point": "centre", "reach": 4.0, "height": 2.0, "floor_angle": 0.0}
    found = placed(assembly, **LEVEL, **wish)
    assert found.joints["stick"] < 0.0  # elbow up
    other = placed(assembly, **LEVEL, **wish, near=found.others[0])
    assert other.joints["stick"] > 0.0
    assert degrees_of(other.others[0]) == degrees_of(found.pose)


# --- beyond the joints ---


def triangle_mm(foot: tuple[float, float], eye: tuple[float, float], angle: float) -> float:
    """Length (mm) of a cylinder from its pins, the eye turned by the joint."""
    c, s = math.cos(angle), math.sin(angle)
    return 1e3 * math.hypot(c * eye[0] - s * eye[1] - foot[0], s * eye[0] + c * eye[1] - foot[1])


def test_every_joint_beyond_its_range_says_by_how_much() -> None:
    """The published mini excavator, asked to hold its bucket upside down in a pit: no joint goes that far."""
    machine = mini_machine()
    assembly = assemble(machine, mini_bucket())
    with pytest.raises(Refused) as refused:
        placed(assembly, **LEVEL, point="centre", reach=2.5, height=-2.0, floor_angle=math.radians(-100))
    told = numbers_of(refused, "beyond-joint")
    assert set(told) == set(SOLVED)
    assert "beyond_mm" not in told["bucket"]  # its linkage does not close there at all
    for joint, numbers in told.items():
        span = assembly.ranges[joint]
        low, high = math.degrees(span.low), math.degrees(span.high)
        past = max(low - numbers["angle_deg"], numbers["angle_deg"] - high)
        assert past > 0.0
        assert abs(numbers["beyond_deg"] - past) <= 1e-9
        assert abs(numbers["low_deg"] - low) <= 1e-9
        assert abs(numbers["high_deg"] - high) <= 1e-9
    for joint in ("boom", "stick"):
        cylinder = assembly.cylinders[joint]
        length = triangle_mm(
            (cylinder.foot_x, cylinder.foot_z), (cylinder.eye_x, cylinder.eye_z), math.radians(told[joint]["angle_deg"])
        )  # fmt: skip
        assert abs(told[joint]["cylinder_mm"] - length) <= 1e-6
        past = max(1e3 * cylinder.stroke.low - length, length - 1e3 * cylinder.stroke.high)
        assert abs(told[joint]["beyond_mm"] - past) <= 1e-6
        assert past > 0.0


def test_bucket_cylinder_beyond_its_stroke() -> None:
    """Just past the stop of the mini excavator's bucket the linkage still closes, its cylinder beyond its stroke."""
    assembly = assemble(mini_machine(), mini_bucket())
    held = {"boom": 0.3, "stick": -1.5}
    stop = pose(assembly, **LEVEL, **held, bucket=assembly.ranges["bucket"].high)
    pin = stop.pins()["bucket_pin"]
    # The edge turned on about the bucket pin by 2 deg.
    on, far = math.radians(2.0), (stop.reach - pin[0], stop.height("centre") - pin[2])
    c, s = math.cos(on), math.sin(on)
    with pytest.raises(Refused) as refused:
        placed(
            assembly, **LEVEL, point="centre", floor_angle=math.remainder(stop.floor_angle + on, math.tau),
            reach=pin[0] + c * far[0] - s * far[1], height=pin[2] + s * far[0] + c * far[1],
        )  # fmt: skip
    told = numbers_of(refused, "beyond-joint")["bucket"]
    assert abs(told["beyond_deg"] - 2.0) <= 1e-6
    linkage = assembly.machine.bucket
    assert isinstance(linkage, BucketLinkage)
    assert 0.0 < told["beyond_mm"] < 20.0
    stroke = assembly.cylinders["bucket"].stroke
    lengths = 1e3 * stroke.low - told["beyond_mm"], 1e3 * stroke.high + told["beyond_mm"]
    assert min(abs(told["cylinder_mm"] - length) for length in lengths) <= 1e-6


@pytest.mark.parametrize("reach", [1.0, 12.0])
def test_nearest_reach_works_and_none_nearer_does(reach: float) -> None:
    assembly = assemble(plain_machine(), plain_bucket())
    wish = {"point": "centre", "height": -2.5, "floor_angle": 0.1}
    with pytest.raises(Refused) as refused:
        placed(assembly, **LEVEL, **wish, reach=reach)
    nearest = refused.value.faults[0].numbers["nearest_reach_m"]
    found = placed(assembly, **LEVEL, **wish, reach=nearest)
    assert abs(found.pose.reach - nearest) <= PLACED_M
    nearer = nearest + math.copysign(2e-6, reach - nearest)
    with pytest.raises(Refused):
        placed(assembly, **LEVEL, **wish, reach=nearer)


# --- what is refused before anything is solved ---


def refused_codes(assembly: Assembly, **changes: object) -> list[tuple[str, str]]:
    wish = {**LEVEL, "point": "centre", "reach": 6.0, "height": -2.0, "floor_angle": 0.0} | changes
    with pytest.raises(Refused) as refused:
        placed(assembly, **wish)
    return [(fault.code, fault.where) for fault in refused.value.faults]


def test_all_faults_at_once() -> None:
    assembly = assemble(plain_machine(), plain_bucket())
    found = refused_codes(
        assembly, reach=math.nan, height=math.inf, floor_angle=4.0, point="tooth_left", pitch=1.0, tilt=0.1
    )
    assert sorted(found) == [
        ("angle-absurd", "floor_angle"), ("no-such-joint", "tilt"), ("no-such-point", "point"),
        ("not-finite", "height"), ("not-finite", "reach"), ("too-steep", "pitch"),
    ]  # fmt: skip
    assert refused_codes(assembly, floor_angle=math.nan) == [("not-finite", "floor_angle")]
    assert refused_codes(assembly, point="receiver") == [("no-such-point", "point")]


def test_joints_not_solved_for_must_be_given() -> None:
    assembly = assemble(plain_machine(), tiltrotator_bucket())
    assert refused_codes(assembly) == [("missing-joint", "tilt"), ("missing-joint", "rotate")]
    assert refused_codes(assembly, tilt=0.0, rotate=9.0) == [("beyond-joint", "rotate")]


def test_arm_square_to_the_reach() -> None:
    machine = plain_machine(swing_post_x=0.5, swing_boom=Range(-1.6, 1.6))
    assembly = assemble(machine, plain_bucket())
    assert refused_codes(assembly, swing_boom=math.pi / 2) == [("arm-sideways", "swing_boom")]


def test_a_floor_that_no_joint_turns() -> None:
    """Turned square to the arm, the bucket's floor lies across it, level whatever boom, stick and bucket do."""
    assembly = assemble(plain_machine(), tiltrotator_bucket())
    assert refused_codes(assembly, tilt=0.0, rotate=math.pi / 2, floor_angle=0.2) == [
        ("no-floor-angle", "floor_angle")
    ]


def test_line() -> None:
    line = Line(-3.0, 0.02, 5.0)
    assert abs(line.height_at(6.0) - -2.98) <= 1e-12
    with pytest.raises(Refused) as refused:
        Line(math.nan, math.inf)
    assert [fault.where for fault in refused.value.faults] == ["height", "slope"]
