"""Stations of a sloping target: measured along the boom, lapsing as the trade expects."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from kinematics.arm import Pose, pose
from kinematics.assembly import assemble
from kinematics.errors import Refused
from kinematics.stations import anchor, station
from tests.kinematics.machines import plain_bucket, plain_machine
from tests.tolerances import NOISE_M

RIG = assemble(plain_machine(), plain_bucket())
LEAN = {"pitch": 0.03, "roll": -0.02}


def at(stick: float, pitch: float = 0.03, roll: float = -0.02) -> Pose:
    return pose(RIG, pitch=pitch, roll=roll, boom=0.6, stick=stick, bucket=1.0)


def test_nearer_is_a_lower_station() -> None:
    """Stations rise away from the machine: an edge drawn in by some reach lies that much lower."""
    zero, near = at(-1.4), at(-1.7)
    known = anchor(zero, "centre", 6.0, None, 1)
    along, right = station(known, near, "centre", None, 1, swung=False)
    assert along == pytest.approx(6.0 - (zero.reach - near.reach), abs=NOISE_M)
    assert along < 6.0
    assert right == pytest.approx(zero.lateral - near.lateral, abs=NOISE_M)


def test_right_corner_lies_to_the_right() -> None:
    zero = at(-1.4, pitch=0.0, roll=0.0)
    known = anchor(zero, "centre", 0.0, None, 1)
    _, right = station(known, zero, "right", None, 1, swung=False)
    half = zero.body("centre")[1] - zero.body("right")[1]
    assert half > 0.0
    assert right == pytest.approx(half, abs=NOISE_M)


@pytest.mark.parametrize(
    ("setup", "swung", "swing", "lean", "words"),
    [
        (2, False, None, LEAN, "tracks have moved"),
        (1, True, None, LEAN, "has swung since"),
        (1, False, 0.1, LEAN, "without a swing angle"),
        (1, False, None, {"pitch": 0.03, "roll": -0.008}, "lean has changed"),
    ],
)
def test_what_makes_it_lapse(
    setup: int, swung: bool, swing: float | None, lean: dict[str, float], words: str
) -> None:
    known = anchor(at(-1.4), "centre", 0.0, None, 1)
    with pytest.raises(Refused) as refused:
        station(known, at(-1.5, **lean), "centre", swing, setup, swung=swung)
    assert refused.value.code == "station-lapsed"
    assert words in refused.value.faults[0].found


@given(st.floats(-0.1, 0.1), st.floats(-0.1, 0.1), st.floats(-3.0, 3.0))
def test_sensed_swing_keeps_a_place_in_space(lean_x: float, lean_y: float, swing: float) -> None:
    """A body swinging about its leaning axis: the same place in space has the same station (scipy rotations)."""
    stand = Rotation.from_euler("xyz", [lean_x, lean_y, 0.0])
    zero = _swung_pose(stand, 0.0, -1.4)
    turned = _swung_pose(stand, swing, -1.6)
    known = anchor(zero, "centre", 2.0, 0.0, 1)
    along, right = station(known, turned, "centre", swing, 1, swung=True)
    body = stand.apply(Rotation.from_euler("z", swing).apply(turned.body("centre")))
    first = stand.apply(zero.body("centre"))
    boom = np.cross(stand.apply([0.0, 1.0, 0.0]), [0.0, 0.0, 1.0])[:2]  # level, and in the arm's plane
    boom /= math.hypot(*boom)
    step = body[:2] - first[:2]
    assert along == pytest.approx(2.0 + step @ boom, abs=NOISE_M)
    assert right == pytest.approx(step @ [boom[1], -boom[0]], abs=NOISE_M)


def _swung_pose(stand: Rotation, swing: float, stick: float) -> Pose:
    """The pose of a body swung on a stand: pitch and roll as plumb lies in the body."""
    n = (stand * Rotation.from_euler("z", swing)).inv().apply([0.0, 0.0, 1.0])
    return at(stick, pitch=math.asin(n[0]), roll=math.atan2(n[1], n[2]))
