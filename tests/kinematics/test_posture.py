"""Signs of tilt and rotation in digging posture, against plain trigonometry."""

import math
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kinematics.errors import Refused
from kinematics.machine import Attachment, Axis, Offset, Point, Range
from kinematics.posture import corner_step

TURN = Range(-math.pi, math.pi)


def upright(point: Point, lean: float) -> Point:
    """A point given with the floor flat, in a frame whose x axis leans by `lean` (rad, from x towards z)."""
    x, y, z = point
    c, s = math.cos(lean), math.sin(lean)
    return x * c + z * s, y, z * c - x * s


def bucket(lean: float, tilt: Point = (0.0, 0.0, -0.8)) -> Attachment:
    """1.8 m wide, edge 1 m towards the machine and 0.8 m down, floor 0.7 m; pins leaning; axes level and plumb."""
    edge = [upright((-1.0, y, -0.8), lean) for y in (0.9, 0.0, -0.9)]
    heel = [upright((-0.3, y, -0.8), lean) for y in (0.9, -0.9)]
    ahead, up = upright((1.0, 0.0, 0.0), lean), upright((0.0, 0.0, 1.0), lean)
    return Attachment(
        pin_spacing=0.42,
        edge=tuple(edge),
        centre=1,
        heel=(heel[0], heel[1]),
        tilt=Axis(upright(tilt, lean), ahead, TURN),
        rotate=Axis(upright((0.1, 0.0, 0.0), lean), up, TURN),
    )


@pytest.mark.parametrize("lean_deg", [-42.0, 0.0, 30.0, 170.0])
def test_tilt_raises_the_left_corner(lean_deg: float) -> None:
    """Axis at the edge's height: up 0.9 sin 10 deg = 0.1563 m, and in by 0.9 (1 - cos 10 deg)."""
    forward, left, up = corner_step(bucket(math.radians(lean_deg)), tilt=math.radians(10), rotate=0.0)
    assert all(map(math.isfinite, (forward, left, up)))
    assert abs(up - 0.9 * math.sin(math.radians(10))) <= 1e-12
    assert abs(left - 0.9 * (math.cos(math.radians(10)) - 1)) <= 1e-12
    assert abs(forward) <= 1e-12


@pytest.mark.parametrize("lean_deg", [-42.0, 0.0, 30.0, 170.0])
def test_rotation_is_anticlockwise_from_above(lean_deg: float) -> None:
    """Corner at (-1.1, 0.9) from the axis; a quarter turn anticlockwise puts it at (-0.9, -1.1)."""
    forward, left, up = corner_step(bucket(math.radians(lean_deg)), tilt=0.0, rotate=math.pi / 2)
    assert abs(forward - (-0.9 + 1.1)) <= 1e-12
    assert abs(left - (-1.1 - 0.9)) <= 1e-12
    assert abs(up) <= 1e-12


def test_coupler_and_mount_change_nothing_that_the_floor_does_not_see() -> None:
    plain = bucket(0.0)
    turned = bucket(0.0)
    steps = Offset(0.2, -0.3, 0.7)
    held = replace(turned, coupler=steps)
    for tilt, rotate in ((0.2, 0.0), (0.0, 0.4), (0.3, -0.2)):
        expected = corner_step(plain, tilt=tilt, rotate=rotate)
        assert math.dist(corner_step(held, tilt=tilt, rotate=rotate), expected) <= 1e-12


@given(tilt=st.floats(-1.0, 1.0), rotate=st.floats(-3.0, 3.0), lean=st.floats(-3.0, 3.0))
def test_the_step_does_not_depend_on_the_pins(tilt: float, rotate: float, lean: float) -> None:
    here = corner_step(bucket(lean), tilt=tilt, rotate=rotate)
    there = corner_step(bucket(0.0), tilt=tilt, rotate=rotate)
    assert all(map(math.isfinite, here))
    assert math.dist(here, there) <= 1e-10


def test_no_angle_no_step() -> None:
    assert corner_step(bucket(0.5), tilt=0.0, rotate=0.0) == (0.0, 0.0, 0.0)


def test_refusals_name_the_axis() -> None:
    fixed = replace(bucket(0.0), tilt=None, rotate=None)
    with pytest.raises(Refused) as caught:
        corner_step(fixed, tilt=0.1, rotate=math.nan)
    assert [(fault.code, fault.where) for fault in caught.value.faults] == [
        ("no-such-joint", "tilt"),
        ("not-finite", "rotate"),
    ]
    assert corner_step(fixed, tilt=0.0, rotate=0.0) == (0.0, 0.0, 0.0)
