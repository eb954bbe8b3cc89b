"""The bucket linkage over its stroke, and every cylinder across its joint."""

import dataclasses
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from kinematics.assembly import Assembly, assemble
from kinematics.drives import joint_angle
from kinematics.errors import Refused
from kinematics.linkage_course import joint_travels, linkage_course
from kinematics.machine import BucketLinkage, Cylinder, Range
from tests.kinematics.machines import mini_bucket, mini_machine, plain_bucket, plain_machine, seeded
from tests.reference import mini_excavator as mini
from tests.tolerances import ROUNDING

NORTON = BucketLinkage(0.5, 0.0, 0.4, 1.2, 1, Range(math.radians(40.0), math.radians(60.0)))


def nortons() -> Assembly:
    """Idler 40, power link 120, spacing 80, pins 100 apart (R. L. Norton, Design of Machinery, Example 4-1), in cm."""
    return assemble(
        plain_machine(stick_length=1.5, bucket=NORTON), dataclasses.replace(plain_bucket(), pin_spacing=0.8)
    )


def test_nortons_positions_transmission_and_velocity() -> None:
    course = linkage_course(nortons(), count=3)
    # Example 4-1 (from memory): power link 20.298, bucket 57.325 deg; transmission angle is what is between them.
    assert math.degrees(course.power_link[0]) == pytest.approx(20.298, abs=0.0005)
    assert math.degrees(course.bucket[0]) == pytest.approx(57.325, abs=0.0005)
    assert math.degrees(course.at_link_pin[0]) == pytest.approx(57.325 - 20.298, abs=0.001)
    # Example 6-7 (from memory): 25 rad/s of the idler turn the bucket by 6.998 rad/s.
    assert 25.0 * course.by_idler[0] == pytest.approx(6.998, abs=0.0005)
    # At the idler pin: 40 deg back along the idler, 20.298 deg on along the power link.
    assert math.degrees(course.at_idler_pin[0]) == pytest.approx(180.0 - (40.0 - 20.298), abs=0.001)


def test_the_published_mini_excavators_bucket_range() -> None:
    course = linkage_course(assemble(mini_machine(), mini_bucket()))
    low, high = (angle for joint, _, angle in mini.PAIRS if joint == "bucket")
    turned = course.bucket_range.high - course.bucket_range.low
    assert turned == pytest.approx(low - high, abs=1.1e-4)  # two angles printed to four decimals
    assert course.cylinder is not None
    assert course.cylinder[[0, -1]].tolist() == [0.84, 1.26]


@given(st.integers(0, 60), st.integers(2, 400))
def test_no_place_of_the_stroke_is_nearer_to_a_line_than_the_margins(seed: int, count: int) -> None:
    course = linkage_course(seeded(seed, linkage=True, driven=seed % 2 == 0), count=count)
    for margin, angle in ((course.dead_centre, course.at_link_pin), (course.toggle, course.at_idler_pin)):
        assert margin.angle <= float(np.minimum(angle, math.pi - angle).min()) + ROUNDING
        assert margin.length > 0.0
    # To rounding of the way there and back.
    assert course.bucket.min() >= course.bucket_range.low - 1e-9
    assert course.bucket.max() <= course.bucket_range.high + 1e-9


@given(st.integers(0, 40))
def test_ratios_are_what_small_steps_show(seed: int) -> None:
    assembly = seeded(2 * seed, linkage=True, driven=True)
    course = linkage_course(assembly, count=7)
    assert course.cylinder is not None
    assert course.by_cylinder is not None
    for length, ratio in zip(course.cylinder[1:-1].tolist(), course.by_cylinder[1:-1].tolist(), strict=True):
        step = 1e-6
        turned = joint_angle(assembly, "bucket", length + step) - joint_angle(
            assembly, "bucket", length - step
        )
        assert turned / (2.0 * step) == pytest.approx(ratio, rel=1e-5)  # a step's curvature and rounding


@given(st.integers(0, 60))
def test_levers_are_the_pins_distance_from_the_cylinders_line(seed: int) -> None:
    assembly = seeded(seed, linkage=True, driven=True)
    for travel in joint_travels(assembly):
        cylinder = assembly.cylinders.get(travel.joint)
        if cylinder is None:
            assert travel.lever_greatest is None
            continue
        assert travel.stroke == cylinder.stroke
        seen = [
            _distance(cylinder, length)
            for length in np.linspace(cylinder.stroke.low, cylinder.stroke.high, 801)
        ]
        assert travel.lever_shortest == pytest.approx(seen[0], rel=1e-9)
        assert travel.lever_longest == pytest.approx(seen[-1], rel=1e-9)
        assert travel.lever_greatest is not None
        assert max(seen) <= travel.lever_greatest * (1.0 + 1e-9)
        assert max(seen) >= travel.lever_greatest * (1.0 - 1e-4)  # 801 places of a flat top


def _distance(cylinder: Cylinder, length: float) -> float:
    """From the joint's pin to the line through foot and eye: twice the triangle's area (Heron) over its base."""
    a, b = math.hypot(cylinder.foot_x, cylinder.foot_z), math.hypot(cylinder.eye_x, cylinder.eye_z)
    s = 0.5 * (a + b + length)
    return 2.0 * math.sqrt(max(s * (s - a) * (s - b) * (s - length), 0.0)) / length


def test_strokes_of_the_published_mini_excavator() -> None:
    assembly = assemble(mini_machine(), mini_bucket())
    travels = {travel.joint: travel for travel in joint_travels(assembly)}
    for joint in ("boom", "stick"):
        angles = sorted(angle for name, _, angle in mini.PAIRS if name == joint)
        turns = travels[joint].turns
        assert [turns.low, turns.high] == pytest.approx(angles, abs=5e-5)  # half the last printed digit


def test_without_a_measured_linkage_there_is_no_course() -> None:
    with pytest.raises(Refused) as refused:
        linkage_course(assemble(plain_machine(), plain_bucket()))
    assert refused.value.code == "no-linkage"
    with pytest.raises(Refused) as refused:
        linkage_course(nortons(), count=1)
    assert refused.value.code == "out-of-range"
