"""One pose: published planar arms, attitude conventions, signs, pins, and points."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kinematics.arm import Pose, pose
from kinematics.assembly import STOP_SLACK_RAD, Assembly, assemble
from kinematics.drives import cylinder_length, four_bar_from_bucket, four_bar_from_idler, joint_angle
from kinematics.errors import Refused
from kinematics.machine import BucketLinkage, Range, Receiver
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

ROUND_M = 1e-9  # sums of a few lengths of some metres: rounding only
FREE = Range(-math.pi, math.pi)


def planar(
    lengths: tuple[float, float, float], degrees: tuple[float, float, float]
) -> tuple[float, float, float]:
    """(x, z, inclination in deg) of the end of a planar arm of three links, as boom, fore boom and stick."""
    machine = plain_machine(
        boom_foot_x=0.0, boom_length=lengths[0], fore_boom_length=lengths[1], stick_length=lengths[2],
        boom=FREE, fore_boom=FREE, stick=FREE, bucket=FREE,
    )  # fmt: skip
    boom, fore_boom, stick = (math.radians(angle) for angle in degrees)
    found = pose(
        assemble(machine, plain_bucket()), **LEVEL, boom=boom, fore_boom=fore_boom, stick=stick, bucket=0.0
    ).pins()
    x, y, z = found["bucket_pin"]
    link_x, _, link_z = found["link_pin"]  # with the bucket at 0 its pin line goes on along the stick
    assert y == 0.0
    return x, z, math.degrees(math.atan2(link_z - z, link_x - x))


# --- published planar arms ---


def test_planar_arm_of_three_links() -> None:
    """J. J. Craig, Introduction to Robotics, planar 3R exercise, links 4, 3, 2 at 10, 20, 30 deg: x 7.5373 (seen),
    y 3.9266, 60 deg (from memory)."""
    x, z, angle = planar((4.0, 3.0, 2.0), (10.0, 20.0, 30.0))
    assert abs(x - 7.5373) <= 5e-5
    assert abs(z - 3.9266) <= 5e-5
    assert abs(angle - 60.0) <= 1e-9


def test_planar_arm_other_way_round() -> None:
    """The same exercise's second inverse branch (derived): 27.115, -20.002, 52.887 deg."""
    x, z, angle = planar((4.0, 3.0, 2.0), (27.115, -20.002, 52.887))
    printed = 3 * math.radians(5e-4) * 9.0  # three angles of three decimals on an arm of 9
    assert abs(x - 7.5373) <= printed
    assert abs(z - 3.9266) <= printed
    assert abs(angle - 60.0) <= 3 * 5e-4


@pytest.mark.parametrize("degrees", [(0.0, 90.0, -90.0), (67.3801, -90.0, 22.6199)])
def test_planar_arm_to_a_published_target(degrees: tuple[float, float, float]) -> None:
    """K. Lynch and F. Park, Modern Robotics, Example 6.1 (problem seen, solutions derived): links 3, 2, 1 to (4, 2)
    at 0 deg."""
    x, z, angle = planar((3.0, 2.0, 1.0), degrees)
    printed = 2 * math.radians(5e-5) * 6.0
    assert abs(x - 4.0) <= printed
    assert abs(z - 2.0) <= printed
    assert abs(angle) <= 2 * 5e-5


@given(st.tuples(*[st.floats(-180.0, 180.0)] * 3))
@settings(deadline=None)
def test_planar_arm_never_reaches_the_published_point_out_of_reach(
    degrees: tuple[float, float, float],
) -> None:
    """Craig, the same arm of 4, 3, 2: (-3.1245, 9.1674) is 9.685 away (input seen), more than 9."""
    x, z, _ = planar((4.0, 3.0, 2.0), degrees)
    assert math.hypot(x, z) <= 9.0 + ROUND_M
    assert math.hypot(-3.1245, 9.1674) == pytest.approx(9.685, abs=5e-4)
    assert math.dist((x, z), (-3.1245, 9.1674)) >= 9.685 - 9.0 - 5e-4


# --- attitude ---


def leaning(pitch_deg: float, roll_deg: float, assembly: Assembly | None = None) -> Pose:
    stands = assembly or assemble(plain_machine(), plain_bucket())
    return pose(stands, pitch=math.radians(pitch_deg), roll=math.radians(roll_deg), **DIGGING)


@pytest.mark.parametrize(
    ("pitch_deg", "roll_deg", "side_axis_deg", "printed_deg"),
    [
        # Public inclinometer manuals list Euler pitch and roll (SAE J670 axes) apart from tilt angles (seen);
        # the numbers are derived from that.
        (10.0, 20.0, 19.6835, 5e-5),
        # Both 10 deg: an inclinometer on the side axis reads 9.85, not 10 (derived).
        (10.0, 10.0, 9.85, 5e-3),
    ],
)
def test_side_axis_reads_another_angle_than_roll(
    pitch_deg: float, roll_deg: float, side_axis_deg: float, printed_deg: float
) -> None:
    _, side, _ = leaning(pitch_deg, roll_deg).plumb
    assert abs(math.degrees(math.asin(side)) - side_axis_deg) <= printed_deg


def test_total_tilt() -> None:
    """Euler pitch 10, roll 20 deg: total tilt 22.2687 deg (derived)."""
    assert abs(math.degrees(math.acos(leaning(10.0, 20.0).plumb[2])) - 22.2687) <= 5e-5


def test_cross_slope_of_a_square_attachment() -> None:
    """Left side up 5 deg, nose up 3 deg: -8.74 %, its right corner lower (derived: tan of asin(cos 3 sin 5))."""
    found = leaning(3.0, 5.0)
    assert abs(100 * found.cross_slope - -8.74) <= 5e-3
    assert found.height("right") < found.height("left")


def test_nose_up_lifts_what_is_ahead() -> None:
    """1 deg lifts a point 10 m ahead by 0.175 m (arithmetic: 10 sin 1 deg)."""
    machine = plain_machine(
        boom_foot_x=0.0, boom_length=6.0, stick_length=4.0, boom=FREE, stick=FREE, bucket=FREE
    )
    flat = plain_bucket(edge=((0, 0.5, 0), (0, 0, 0), (0, -0.5, 0)), heel=((0.5, 0.5, 0), (0.5, -0.5, 0)))
    found = pose(assemble(machine, flat), pitch=math.radians(1), roll=0.0, boom=0.0, stick=0.0, bucket=0.0)
    assert abs(found.height("centre") - 0.1745) <= 5e-5
    assert abs(found.reach - 10.0 * math.cos(math.radians(1))) <= ROUND_M
    assert found.cross_slope == 0.0


# --- signs ---


def test_raising_and_curling() -> None:
    """A positive step raises a link that points forward; a negative step of bucket curls the edge in."""
    assembly = assemble(plain_machine(), plain_bucket())
    start = pose(assembly, **LEVEL, **DIGGING)
    raised = pose(assembly, **LEVEL, **(DIGGING | {"boom": 0.61}))
    assert raised.pins()["stick_pin"][2] > start.pins()["stick_pin"][2]
    curled = pose(assembly, **LEVEL, **(DIGGING | {"bucket": 0.9}))
    assert curled.reach < start.reach
    assert abs(start.floor_angle) <= ROUND_M
    # Curled in by 0.1 the heel, away from the seat, hangs below the edge.
    assert abs(curled.floor_angle - -0.1) <= ROUND_M
    assert curled.heel_clearance < 0.0


def turned(**angles: float) -> Pose:
    given_angles = {"tilt": 0.0, "rotate": 0.0} | angles
    return pose(assemble(plain_machine(), tiltrotator_bucket()), **LEVEL, **DIGGING, **given_angles)


def test_tilt_raises_the_left_corner() -> None:
    """Tilt axis pointing away from the machine, floor flat in digging posture: by the right hand left goes up."""
    found = turned(tilt=math.radians(10))
    assert found.height("left") > found.height("right")
    assert abs(found.cross_slope - -math.tan(math.radians(10))) <= ROUND_M


def test_rotation_is_anticlockwise_from_above() -> None:
    """At +90 deg the bucket's left, before towards the operator's left, points back to the seat."""
    before, after = turned(), turned(rotate=math.radians(90))
    middle = before.body("centre")[0] + 0.4  # the axis stands 0.4 m beyond the edge
    assert abs(before.body("left")[1] - 0.7) <= ROUND_M
    assert abs(after.body("left")[0] - (middle - 0.7)) <= ROUND_M
    assert abs(after.body("right")[0] - (middle + 0.7)) <= ROUND_M
    assert abs(after.body("centre")[1] - -0.4) <= ROUND_M


@pytest.mark.parametrize(
    ("degrees", "past"), [(0, False), (89, False), (-89, False), (91, True), (-91, True), (179, True)]
)
def test_past_square(degrees: float, past: bool) -> None:
    assert turned(rotate=math.radians(degrees)).past_square is past


def test_cross_slope_is_the_buckets_own_past_square() -> None:
    """Left side of the body up 5 deg, bucket turned round: its own right corner is now the higher one."""
    assembly = assemble(plain_machine(), tiltrotator_bucket())
    slopes = [
        pose(assembly, pitch=0.0, roll=math.radians(5), **DIGGING, tilt=0.0, rotate=rotate).cross_slope
        for rotate in (0.0, math.pi)
    ]
    assert abs(slopes[0] - -math.tan(math.radians(5))) <= ROUND_M
    assert abs(slopes[1] - math.tan(math.radians(5))) <= ROUND_M


def test_swing_boom_is_anticlockwise_from_above() -> None:
    machine = plain_machine(swing_post_x=0.5, boom_foot_x=0.1, swing_boom=Range(-1.0, 1.0))
    found = pose(assemble(machine, plain_bucket()), **LEVEL, **DIGGING, swing_boom=0.5)
    assert found.lateral > 0.0
    x, y, _ = found.body("centre")
    assert abs(math.atan2(y, x - 0.5) - 0.5) <= ROUND_M


def test_mast_angle() -> None:
    """A mast square to the stick stands plumb where the stick lies level, and leans as the stick does."""
    machine = plain_machine(receiver=Receiver((0.5, 0.0, 0.3), (0.0, 0.0, 1.0)), stick=Range(-1.5, 0.5))
    assembly = assemble(machine, plain_bucket())
    for stick in (-0.6, -0.8, -0.4):
        found = pose(assembly, **LEVEL, boom=0.6, stick=stick, bucket=0.0)
        assert abs(found.mast_angle - abs(0.6 + stick)) <= 1e-7  # acos near 1
    assert math.isnan(pose(assemble(plain_machine(), plain_bucket()), **LEVEL, **DIGGING).mast_angle)


# --- pins, lowest point, missing points ---


@given(seed=st.integers(0, 400))
@settings(deadline=None, max_examples=several(120))
def test_pins_stand_their_lengths_apart(seed: int) -> None:
    assembly = seeded(seed, linkage=True, driven=True)
    angles = random_angles(np.random.default_rng([7, seed]), assembly)
    machine, bar = assembly.machine, assembly.machine.bucket
    assert isinstance(bar, BucketLinkage)
    pins = pose(assembly, **angles).pins()
    links = [
        ("stick_pin", "bucket_pin", machine.stick_length),
        ("bucket_pin", "link_pin", assembly.attachment.pin_spacing),
        ("idler_pivot", "idler_pin", bar.idler_length),
        ("idler_pin", "link_pin", bar.power_link),
        ("bucket_cylinder_foot", "idler_pin", cylinder_length(assembly, "bucket", angles["bucket"])),
    ]
    if machine.fore_boom_length is None:
        links.append(("boom_foot_pin", "stick_pin", machine.boom_length))
    else:
        links.append(("boom_foot_pin", "fore_boom_pin", machine.boom_length))
        links.append(("fore_boom_pin", "stick_pin", machine.fore_boom_length))
    for joint in ("boom", "fore_boom", "stick"):
        if joint in assembly.cylinders:
            length = cylinder_length(assembly, joint, angles[joint])
            links.append((f"{joint}_cylinder_foot", f"{joint}_cylinder_eye", length))
            cylinder = assembly.cylinders[joint]
            joint_pin = {"boom": "boom_foot_pin"}.get(joint, f"{joint}_pin")
            eye = math.hypot(cylinder.eye_x, cylinder.eye_z)
            links.append((joint_pin, f"{joint}_cylinder_eye", eye))
    for one, other, length in links:
        assert abs(math.dist(pins[one], pins[other]) - length) <= ROUND_M, (one, other)


@pytest.mark.parametrize("share", [0.0, 0.8, 1.0])
def test_pins_and_cylinders_at_the_end_stops(share: float) -> None:
    """What pose accepts at an end stop, slack included, has its pins and cylinders too, and these lead back."""
    for seed in range(40):
        assembly = seeded(seed, linkage=True, driven=True)
        angles = random_angles(np.random.default_rng([8, seed]), assembly)
        reach = assembly.ranges["bucket"]
        stop = assembly.stops["bucket"]
        for bucket in (
            (1.0 - share) * reach.low + share * stop.low,
            (1.0 - share) * reach.high + share * stop.high,
        ):
            found = pose(assembly, **(angles | {"bucket": bucket}))
            assert all(math.isfinite(value) for pin in found.pins().values() for value in pin)
            back = joint_angle(assembly, "bucket", found.cylinders()["bucket"])
            assert abs(back - bucket) <= 2.0 * ROUND_M


def test_idler_at_the_end_stop_gives_a_bucket_that_pose_takes() -> None:
    """The published mini excavator's bucket turns 4 times as far as its idler at one end of the stroke."""
    assembly = assemble(mini_machine(), mini_bucket())
    assert assembly.idler is not None
    for idler in (assembly.idler.low - 0.8 * STOP_SLACK_RAD, assembly.idler.high + 0.8 * STOP_SLACK_RAD):
        bucket = four_bar_from_idler(assembly, idler).bucket
        found = pose(assembly, **LEVEL, boom=0.5, stick=-1.5, bucket=bucket)
        assert math.isfinite(found.reach)
        assert abs(four_bar_from_bucket(assembly, bucket).idler - idler) <= ROUND_M


def test_lowest_of_edge_teeth_and_heel() -> None:
    teeth = ((-0.3, 0.6, -1.25), (-0.3, 0.0, -1.25), (-0.3, -0.6, -1.25))
    v_edge = ((-0.2, 0.7, -1.0), (-0.2, 0.3, -1.4), (-0.2, 0.0, -1.2), (-0.2, -0.7, -1.0))
    for attachment, name, drop in (
        (plain_bucket(teeth=teeth), "tooth_centre", 1.25),
        (plain_bucket(edge=v_edge, centre=2), "edge_1", 1.4),
        (plain_bucket(heel=((0.6, 0.65, -1.3), (0.6, -0.65, -1.2))), "heel_left", 1.3),
    ):
        found = pose(assemble(plain_machine(), attachment), **LEVEL, **DIGGING)
        what, height = found.lowest()
        pin = found.pins()["bucket_pin"][2]
        assert abs(height - (pin - drop)) <= ROUND_M
        assert what == name or (name == "tooth_centre" and what.startswith("tooth"))
        assert found.has_teeth is (attachment.teeth is not None)
        assert found.edge_line().shape == (len(attachment.edge), 3)


def test_points_that_the_profile_lacks() -> None:
    found = pose(assemble(plain_machine(), plain_bucket()), **LEVEL, **DIGGING)
    for point in ("tooth_left", "tooth_centre", "tooth_right", "receiver"):
        for place in (found.level, found.body, found.height):
            with pytest.raises(Refused) as refused:
                place(point)
            assert [fault.code for fault in refused.value.faults] == ["no-such-point"]
