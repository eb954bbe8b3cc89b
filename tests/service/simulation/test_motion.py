"""The true course: smooth, within the joints' pace, on its line, and refused by its step where it cannot be."""

import math
from functools import cache

import numpy as np
import pytest

from kinematics.assembly import JOINTS
from kinematics.errors import Refused
from service.simulation.course import Course
from service.simulation.dig import Dig, shipped_dig
from service.simulation.motion import plan

from .digs import dig_of

# A cubic between knots of 50 mm on links of metres.
ON_LINE_M = 2e-5


@cache
def pump_house() -> tuple[Dig, Course]:
    dig = shipped_dig()
    return dig, plan(dig)


def moments_of(course: Course, step: int, dt: float = 0.01) -> list[float]:
    legs = [leg for leg in course.legs if leg.step == step]
    return np.arange(legs[0].start_s, legs[-1].start_s + legs[-1].seconds, dt).tolist()


def test_joints_never_jump_and_keep_to_their_pace() -> None:
    dig, course = pump_house()
    dt = 0.005
    joints = np.array([course.at(float(t)).stance.joints for t in np.arange(0.0, course.seconds, dt)])
    speeds = np.degrees(np.abs(np.diff(joints, axis=0))) / dt
    assert np.all(np.isfinite(speeds))
    limit = dig.document.pace.joint_deg_s
    # The cubic may swing past the knots' own slope by little; a percent is a fifth of a degree a second.
    assert speeds.max() <= 1.01 * limit
    assert speeds.max() > 0.9 * limit, "a limit that is never met is no limit"
    # From rest to the pace takes a ramp: 1.5 times the mean slope at most, for cubics again a little more.
    jumps = np.abs(np.diff(speeds, axis=0)).max()
    assert jumps <= 1.7 * limit / dig.document.pace.ramp_s * dt
    assert {JOINTS[i] for i in np.flatnonzero(speeds.max(axis=0))} == {"boom", "stick", "bucket", "tilt"}


def test_a_pass_keeps_to_its_line_and_its_speed() -> None:
    course = plan(dig_of('pass over="footing"; height_m=0.2; from_reach_m=6; to_reach_m=4; floor_deg=25; floor_to_deg=5; '
                         "slope_percent=2; speed_m_s=0.3"))  # fmt: skip
    last = course.legs[-2]
    reaches, heights, floors = [], [], []
    for t in np.linspace(last.start_s, last.start_s + last.seconds, 400):
        moment = course.at(float(t))
        reaches.append(moment.pose.reach)
        heights.append(moment.over_slab("centre"))
        floors.append(math.degrees(moment.pose.floor_angle))
    x = np.array(reaches)
    assert np.abs(np.array(heights) - (-1.3 + 0.02 * (x - 6.0))).max() <= ON_LINE_M
    assert [x[0], x[-1]] == pytest.approx([6.0, 4.0], abs=1e-6)
    assert [floors[0], floors[-1]] == pytest.approx([25.0, 5.0], abs=1e-6)
    speeds = np.abs(np.diff(x)) / (last.seconds / 399)
    assert speeds.max() == pytest.approx(0.3, rel=0.002)


def test_a_touch_rests_where_it_says_and_is_recorded_at_its_end() -> None:
    course = plan(
        dig_of('touch reach_m=5.2; height_m=0.002; still_s=2; record="reference"', "wait seconds=1")
    )
    [mark] = course.marks
    for back in (0.0, 1.0, 1.99):
        moment = course.at(mark.at_s - back)
        assert moment.over_slab("centre") == pytest.approx(0.002, abs=ON_LINE_M)
        assert moment.pose.reach == pytest.approx(5.2, abs=ON_LINE_M)
    assert course.at(mark.at_s - 2.0).pose.q.tolist() == course.at(mark.at_s).pose.q.tolist()


def test_a_strike_is_slow_and_plumb_both_ways() -> None:
    course = plan(dig_of("strike speed_mm_s=20; lean_deg=4"))
    crossings = []
    dt = 0.01
    heights = [(t, course.at(t)) for t in np.arange(0.0, course.seconds, dt).tolist()]
    over = [moment.over_slab("receiver") - 2.75 for _, moment in heights]
    for i in range(1, len(over)):
        if over[i - 1] * over[i] <= 0.0 and heights[i][0] > 2.0:
            crossings.append((over[i] - over[i - 1]) / dt)
            # The body's roll of 0.4 deg is the rest of the mast's lean.
            assert math.degrees(heights[i][1].pose.mast_angle) == pytest.approx(4.0, abs=0.03)
    assert crossings[-2:] == [pytest.approx(0.02, rel=0.01), pytest.approx(-0.02, rel=0.01)]


def test_swinging_on_a_slope_turns_the_lean_and_keeps_the_tilt() -> None:
    course = plan(dig_of('travel stand="second"; seconds=4', "swing by_deg=90"))
    before, after = course.at(4.0), course.at(course.seconds)
    pitch, roll = (math.degrees(angle) for angle in after.stance.lean())
    # Anticlockwise by a quarter: what leaned ahead is now to the right; 2 deg nose up becomes right side up.
    assert [pitch, roll] == pytest.approx([1.0, -2.0], abs=0.01)
    for t in moments_of(course, 2, 0.1):
        lean = course.at(t).stance.lean()
        total = math.degrees(math.acos(math.cos(lean[0]) * math.cos(lean[1])))
        assert total == pytest.approx(math.degrees(math.acos(before.pose.plumb[2])), abs=1e-9)
        assert course.at(t).stance.origin == before.stance.origin
        assert course.at(t).stance.joints == before.stance.joints


def test_travel_is_marked_only_where_it_is_recorded() -> None:
    course = plan(dig_of('travel stand="second"', 'travel stand="first"; recorded=false'))
    assert [(mark.number, mark.at_s) for mark in course.marks] == [(1, 0.0)]
    assert course.at(15.0).stance.origin == pytest.approx(1.48)
    assert course.at(30.0).stance.origin == pytest.approx(1.62)


def test_a_turn_moves_one_joint_alone() -> None:
    course = plan(dig_of('turn joint="bucket"; by_deg=-20'))
    a, b = course.at(0.0).stance, course.at(course.seconds).stance
    turned = np.degrees(np.array(b.joints) - np.array(a.joints))
    assert turned[JOINTS.index("bucket")] == pytest.approx(-20.0)
    assert np.count_nonzero(turned) == 1


def test_what_cannot_be_reached_is_refused_by_its_step_all_at_once() -> None:
    dig = dig_of("place height_m=0; reach_m=5", "place height_m=0; reach_m=9", 'turn joint="bucket"; by_deg=200',
                 "pass from_reach_m=6; to_reach_m=4; height_m=0; floor_deg=25; speed_m_s=4")  # fmt: skip
    with pytest.raises(Refused) as caught:
        plan(dig)
    told = [(fault.where.split(": ")[1], fault.code) for fault in caught.value.faults]
    assert told == [("step 2", "out-of-reach"), ("step 3", "beyond-joint"), ("step 4", "too-fast")]
    assert all(fault.where.startswith("pit.toml:") for fault in caught.value.faults)


def test_a_start_beyond_a_joint_is_refused() -> None:
    dig = dig_of("wait seconds=1")
    far = dig.document.start.model_copy(
        update={"joints_deg": {"boom": 80.0, "stick": -90.0, "bucket": 40.0, "tilt": 0.0}}
    )
    object.__setattr__(dig, "document", dig.document.model_copy(update={"start": far}))
    with pytest.raises(Refused, match="boom") as caught:
        plan(dig)
    assert "start" in caught.value.faults[0].where
