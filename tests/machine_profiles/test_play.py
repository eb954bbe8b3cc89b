"""A coupler's play and the boom foot over the ground: from the file to what they do to a height, and their refusals."""

import dataclasses
import math

import numpy as np
import pytest

from kinematics.arm import pose
from kinematics.assembly import Assembly, assemble
from kinematics.chain import POINTS
from kinematics.errors import Refused
from kinematics.machine import MOST_PLAY_RAD, Attachment, Machine, Offset
from kinematics.sensitivity import coupler_play
from machine_profiles import parse_profile, shipped
from tests.kinematics.machines import plain_bucket, plain_machine, random_angles, seeded

from .texts import edited, text_of

STEP_RAD = 1e-4
# A central difference over 1e-4 rad of a lever of some metres: 1e-8 of its third derivative, rounding 1e-11.
DIFFERENCE_M = 1e-7
PLAY_RAD = math.radians(1.3)


def with_coupler(assembly: Assembly, turn: float, play: float | None) -> Assembly:
    """The same machine, its coupler turned further by `turn` (rad)."""
    step = assembly.attachment.coupler
    assert step is not None
    turned = dataclasses.replace(step, angle=step.angle + turn)
    tool = dataclasses.replace(assembly.attachment, coupler=turned, coupler_play=play)
    return assemble(assembly.machine, tool)


def coupled() -> list[Assembly]:
    """Random machines with couplers, tilt, rotation, swing and fore booms, and a shipped one with a linkage."""
    found = [each for each in map(seeded, range(8000, 8040)) if each.attachment.coupler is not None]
    carrier, tool = (
        shipped()[key].geometry for key in (("machine", "compact-1t8"), ("attachment", "coupled-900"))
    )
    assert isinstance(carrier, Machine)
    assert isinstance(tool, Attachment)
    own = dataclasses.replace(tool, pin_spacing=0.15)
    return [*found, assemble(carrier, own)]


def test_play_is_that_of_a_small_turn_of_the_coupler() -> None:
    """Against the heights themselves with the coupler turned a little either way, on a leaning machine."""
    assemblies = coupled()
    assert len(assemblies) >= 15
    assert any(each.attachment.rotate is not None for each in assemblies)
    largest = 0.0
    for index, assembly in enumerate(assemblies):
        angles = random_angles(np.random.default_rng([21, index]), assembly)
        here = pose(with_coupler(assembly, 0.0, PLAY_RAD), **angles)
        up, down = (pose(with_coupler(assembly, way, None), **angles) for way in (STEP_RAD, -STEP_RAD))
        for point in here.places():
            slope = (up.height(point) - down.height(point)) / (2 * STEP_RAD)
            expected = 0.5 * PLAY_RAD * abs(slope)
            found = coupler_play(here, point)
            assert math.isfinite(found)
            assert abs(found - expected) <= DIFFERENCE_M, point
            largest = max(largest, found)
    assert largest > 0.005


def test_play_at_a_level_lever() -> None:
    """Pins level, edge 1 m ahead of the coupler's pin: half of 0.01 rad times 1 m is 5 mm; straight below it nothing."""
    edge = ((1.0, 0.7, -1.2), (1.0, 0.0, -1.2), (1.0, -0.7, -1.2))
    heel = ((0.0, 0.6, -1.2), (0.0, -0.6, -1.2))
    tool = plain_bucket(edge=edge, heel=heel, coupler=Offset(0.1, -0.3, 0.0), coupler_play=0.01)
    found = pose(assemble(plain_machine(), tool), pitch=0.0, roll=0.0, boom=0.6, stick=-1.6, bucket=1.0)
    for point in ("left", "centre", "right"):
        assert abs(coupler_play(found, point) - 0.005) <= 1e-12
    for point in ("heel_left", "heel_right"):
        assert abs(coupler_play(found, point)) <= 1e-12


def test_no_play_measured_none_told() -> None:
    assembly = coupled()[0]
    angles = random_angles(np.random.default_rng(3), assembly)
    for play in (None, 0.0):
        found = pose(with_coupler(assembly, 0.0, play), **angles)
        assert [coupler_play(found, point) for point in found.places()] == [0.0] * len(found.places())


def test_the_receiver_does_not_rock_and_a_missing_point_is_refused() -> None:
    assembly = next(each for each in coupled() if each.machine.receiver and not each.attachment.teeth)
    angles = random_angles(np.random.default_rng(4), assembly)
    found = pose(with_coupler(assembly, 0.0, PLAY_RAD), **angles)
    assert coupler_play(found, "receiver") == 0.0
    with pytest.raises(Refused) as refused:
        coupler_play(found, "tooth_left")
    assert [fault.code for fault in refused.value.faults] == ["no-such-point"]
    assert "tooth_left" in POINTS


def test_play_moves_no_place() -> None:
    """It is carried beside the geometry: a pose of the coupled bucket is the same with and without."""
    assembly = coupled()[0]
    angles = random_angles(np.random.default_rng(5), assembly)
    with_play, without = (pose(with_coupler(assembly, 0.0, play), **angles) for play in (PLAY_RAD, None))
    assert with_play.places() == without.places()


@pytest.mark.parametrize(
    ("play", "codes"),
    [
        (-0.001, ["out-of-range"]), (MOST_PLAY_RAD * 1.001, ["out-of-range"]), (math.nan, ["not-finite"]),
        (math.inf, ["not-finite"]), (-math.inf, ["not-finite"]),
    ],
)  # fmt: skip
def test_absurd_plays(play: float, codes: list[str]) -> None:
    with pytest.raises(Refused) as refused:
        plain_bucket(coupler=Offset(0.1, -0.3, 0.0), coupler_play=play)
    assert [fault.code for fault in refused.value.faults] == codes
    assert [fault.where for fault in refused.value.faults] == ["coupler_play"]


def test_the_limits_of_play_are_taken() -> None:
    for play in (0.0, MOST_PLAY_RAD):
        assert plain_bucket(coupler=Offset(0.1, -0.3, 0.0), coupler_play=play).coupler_play == play
    text = edited(text_of("attachment", "coupled-900"), ("play = 0.6", "play = 5"))
    bucket = parse_profile(text).geometry
    assert isinstance(bucket, Attachment)
    assert bucket.coupler_play == MOST_PLAY_RAD


def test_a_play_needs_a_coupler() -> None:
    with pytest.raises(Refused) as refused:
        plain_bucket(coupler_play=0.01)
    assert [fault.code for fault in refused.value.faults] == ["half-described"]


@pytest.mark.parametrize(
    ("height", "code"),
    [(0.0, "not-positive"), (-1.7, "not-positive"), (math.nan, "not-finite"), (math.inf, "not-finite"),
     (-math.inf, "not-finite")],
)  # fmt: skip
def test_a_boom_foot_in_the_ground_is_refused(height: float, code: str) -> None:
    with pytest.raises(Refused) as refused:
        plain_machine(boom_foot_height=height)
    assert [(fault.code, fault.where) for fault in refused.value.faults] == [(code, "boom_foot_height")]


def test_what_is_not_measured_is_none() -> None:
    machine = shipped()["machine", "published-mini"].geometry
    assert isinstance(machine, Machine)
    assert machine.boom_foot_height is None
    ground = shipped()["machine", "crawler-21t"].geometry
    assert isinstance(ground, Machine)
    assert ground.boom_foot_height == 1.85
    bucket = shipped()["attachment", "tilt-rotator-1600"].geometry
    assert isinstance(bucket, Attachment)
    assert bucket.coupler is not None
    assert bucket.coupler_play is None
