"""What the sensors of a machine saw while its receiver went through a plane whose height is known."""

import math
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from kinematics.arm import pose
from kinematics.assembly import assemble
from kinematics.crossing_seen import CrossingSeen, crossing, crossing_of, is_attempt, together
from kinematics.errors import Refused
from kinematics.sensing import readings_of
from kinematics.sensor_set import SensorSet
from kinematics.strikes import StrikeRules, turned_down_because
from kinematics.striking import InPlane, Striking
from kinematics.track import Track
from tests.amounts import several

from .streams import UPRIGHT, Course, Motion, assembly, crawler, feed, hear, noisy

RULES = StrikeRules()
TURNS = 10.0
PLANE = 0.95
BAND = 0.006
# The mean of two ways has no lag and no dead band left; what stays is that bits come once a turn: 0.1 s at 20 mm/s are
# 2 mm at each end, even, so at most 1 mm of the middle of each way and as much of their mean.
ONCE_A_TURN_M = 0.001
# One way at 20 mm/s: that and the lag, 0.05 s.
LAG_S = 0.05
EXACT_M = 2e-5  # parabolas through a course at constant speed of the edge, not of the angles
SMALL = 0.0002  # rad, 0.01 deg, as good sensors have it


def seen(
    height: Callable[[float], float],
    times: tuple[float, float] = (0.0, 4.0),
    *,
    noise_rad: float = 0.0,
    hz: float = 50.0,
    bits: bool = True,
    lag_s: float = 0.0,
    band: float = BAND,
    seed: int = 0,
    lean: Motion | None = None,
) -> list[CrossingSeen]:
    """Every pass of a receiver whose height (m) is told, as it is seen when it is complete."""
    course = Course("receiver", UPRIGHT, height)
    track, striking = Track(crawler(), times[1] - times[0] + 1.0), Striking(TURNS)
    motion: Motion = course if lean is None else (lambda t: {**course(t), **lean(t)})
    feed(track, motion, times, hz, noise_rad=noise_rad, rng=np.random.default_rng(seed))
    hear(striking, course, PLANE, times, hz=TURNS, lag_s=lag_s, band=band, bits=bits)
    return [crossing_of(track, each, RULES) for each in striking.due(times[1] + 1.0)]


def only(found: list[CrossingSeen]) -> CrossingSeen:
    (one,) = found
    assert math.isfinite(one.receiver_height_m)
    return one


def codes(found: CrossingSeen, other: CrossingSeen | None = None) -> list[str]:
    return [fault.code for fault in turned_down_because(crossing(found, other), RULES, TURNS, PLANE)]


def steady(speed: float, at_s: float = 2.63) -> Callable[[float], float]:
    return lambda t: PLANE + speed * (t - at_s)


def up_and_down(t: float) -> float:
    """20 mm/s up through the plane at 2.03 s, and down again at 4.73 s."""
    return PLANE + 0.02 * (1.35 - abs(t - 3.38))


# The plane


@pytest.mark.parametrize("bits", [True, False])
def test_up_and_down_give_the_plane(bits: bool) -> None:
    first, second = seen(up_and_down, (0.0, 6.0), bits=bits, lag_s=LAG_S)
    assert (first.up, second.up) == (True, False)
    assert together(first, second)
    found = crossing(first, second)
    assert abs(found.receiver_height - PLANE) <= ONCE_A_TURN_M
    assert found.half_difference is not None
    # The lag puts the plane 1 mm higher on the way up, 1 mm lower on the way down.
    assert found.half_difference == pytest.approx(0.02 * LAG_S, abs=ONCE_A_TURN_M)
    assert codes(first, second) == []


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize("noise_deg", [0.01, 0.05])
def test_up_and_down_under_noise(seed: int, noise_deg: float) -> None:
    """0.05 deg put one pose 4 mm off, a parabola through 25 readings 1.2, the mean of two ways 0.9: three of these."""
    first, second = seen(
        up_and_down, (0.0, 6.0), lag_s=LAG_S, noise_rad=math.radians(noise_deg), seed=seed
    )  # fmt: skip
    found = crossing(first, second)
    assert abs(found.receiver_height - PLANE) <= (0.002 if noise_deg < 0.05 else 0.003)
    assert codes(first, second) == []


@pytest.mark.parametrize("speed", [0.02, -0.02, 0.01])
def test_one_way_with_heights_is_exact(speed: float) -> None:
    found = only(seen(steady(speed), bits=False))
    assert abs(found.receiver_height_m - PLANE) <= EXACT_M
    assert found.at_s == pytest.approx(2.63, abs=1e-3)
    assert found.up == (speed > 0.0)
    assert found.vertical_speed_m_s == pytest.approx(abs(speed), rel=0.01)
    assert codes(found) == []


def test_the_dead_band_goes_out_though_the_speed_changes() -> None:
    """Into the band of 20 mm at 40 mm/s, on at 10: halfway in time would be 4 mm too high, halfway in height is not.

    Allowed: bits once a turn, 4 mm at one end and 1 mm at the other, half of their sum at worst.
    """

    def slowing(t: float) -> float:
        return PLANE + (0.04 if t < 2.05 else 0.01) * (t - 2.05)

    found = only(seen(slowing, band=0.02))
    assert found.up is True
    assert abs(found.receiver_height_m - PLANE) <= 0.0025
    middle = pose(assembly(), **Course("receiver", UPRIGHT, slowing)(found.passed.at_s)).height("receiver")
    assert abs(middle - PLANE) > 0.0025, "the middle of the time is worse"


def test_a_stop_in_the_plane() -> None:
    """Up into the band, 1.5 s of rest 1 mm over its middle, and back down: known within half the dead band."""
    found = only(seen(lambda t: PLANE + 0.001 - 0.02 * max(1.6 - t, t - 3.1, 0.0)))
    assert found.up is None, "neither up nor down"
    assert abs(found.receiver_height_m - PLANE) <= 0.5 * BAND
    assert codes(found) == []


@pytest.mark.parametrize("off", [0.0015, -0.0015])
def test_a_stop_by_heights_is_exact(off: float) -> None:
    """The height told takes the plane from where the receiver stood."""
    found = only(
        seen(lambda t: PLANE + off - math.copysign(0.02, off) * -max(1.6 - t, t - 3.1, 0.0), bits=False)
    )
    # Samples within 2 mm of the beam before and after the rest, 1 in 30 of them, 0.5 mm off at most.
    assert abs(found.receiver_height_m - PLANE) <= 1e-4
    assert found.up is None


def test_readings_and_angles_give_the_height() -> None:
    found = only(seen(steady(0.02), noise_rad=SMALL))
    assert pose(assembly(), **found.angles).height("receiver") == found.receiver_height_m


def test_there_and_back_has_no_direction() -> None:
    """Into the band and out again below, faster up than down: not two ways, and not one through."""
    found = only(seen(lambda t: PLANE - 0.001 - (0.03 * max(2.5 - t, 0.0) + 0.02 * max(t - 2.5, 0.0))))
    assert found.up is None


def test_pairs() -> None:
    first, second = seen(up_and_down, (0.0, 6.0))
    assert together(second, first)
    assert not together(first, first)
    assert not together(first, replace(second, up=None))
    assert not together(first, replace(second, at_s=first.at_s + 4.01))
    assert not together(first, replace(second, receiver_height_m=first.receiver_height_m + 0.101))


def test_the_worse_of_two_ways_is_judged() -> None:
    first, second = seen(up_and_down, (0.0, 6.0))
    both = crossing(
        replace(first, vertical_speed_m_s=0.03, mast_angle=0.1, tilt_spread=0.001, steady_s=0.4),
        replace(second, vertical_speed_m_s=0.04, mast_angle=0.05, tilt_spread=0.002, steady_s=2.0),
    )
    assert (both.vertical_speed, both.mast_angle, both.tilt_spread, both.steady_s) == (0.04, 0.1, 0.002, 0.4)


# Speed


def test_a_pass_too_fast() -> None:
    found = only(seen(steady(0.06), band=0.03))
    assert found.vertical_speed_m_s == pytest.approx(0.06, rel=0.02)
    assert codes(found)[0] == "too-fast"
    assert is_attempt(found, RULES, TURNS)


def test_digging_through_the_plane_is_no_attempt() -> None:
    """1 m/s: ten times 3 mm a turn are 0.3 m/s."""
    found = only(seen(lambda t: PLANE + min(max(1.0 * (t - 2.66), -0.3), 0.3), band=0.25))
    assert found.vertical_speed_m_s > 0.3
    assert not is_attempt(found, RULES, TURNS)


def test_a_jerk_within_a_slow_pass_shows() -> None:
    """10 mm/s with 0.3 s of 60 in the middle: 23 mm/s over all."""
    found = only(seen(lambda t: PLANE + 0.01 * (t - 2.5) + 0.05 * min(max(t - 2.35, 0.0), 0.3), band=0.03))
    assert found.vertical_speed_m_s > 0.045
    assert "too-fast" in codes(found)


@pytest.mark.parametrize("hz", [20.0, 50.0])
def test_noise_is_no_speed(hz: float) -> None:
    """0.05 deg at 5 m make 4 mm of each reading; 20 mm/s stay under the 30 allowed in every one of 25 passes.

    On the mean they come to 20: 3 mm/s over the root of how many, and a little for the steepest part: of 25, 1 mm/s.
    """
    passes = several(25)
    fast = [
        only(seen(steady(0.02), hz=hz, noise_rad=math.radians(0.05), seed=seed)).vertical_speed_m_s
        for seed in range(passes)
    ]
    assert max(fast) < 0.030
    assert np.mean(fast) == pytest.approx(0.02, abs=0.001 * math.sqrt(25 / passes))


# Mast and body


def test_a_leaning_mast() -> None:
    start = UPRIGHT | {"stick": UPRIGHT["stick"] + math.radians(14.0)}
    course = Course("receiver", start, steady(0.02))
    track, striking = Track(crawler(), 5.0), Striking(TURNS)
    feed(track, course, (0.0, 4.0), 50.0, noise_rad=SMALL)
    hear(striking, course, PLANE, (0.0, 4.0))
    (passed,) = striking.due(4.0)
    found = crossing_of(track, passed, RULES)
    assert found.mast_angle == pytest.approx(course.pose(found.at_s).mast_angle, abs=SMALL)
    assert codes(found) == ["mast-leans"]


@pytest.mark.parametrize("lean", ["pitch", "roll"])
@pytest.mark.parametrize("phase", [0.0, 0.8, 1.6, 2.4])
def test_a_body_that_rocks(lean: str, phase: float) -> None:
    """0.1 deg to either side every 2 s, about either axis; the total tilt would hardly show it across the lean."""

    def rocking(t: float) -> dict[str, float]:
        return {lean: UPRIGHT[lean] + math.radians(0.1) * math.sin(math.pi * t + phase)}

    found = only(seen(steady(0.02), lean=rocking, noise_rad=SMALL))
    assert math.radians(0.05) < found.tilt_spread < math.radians(0.25)
    assert "not-steady" in codes(found)


def spread_of(noise_deg: float, hz: float, rock_deg: float, seed: int) -> float:
    """The spread for a body alone that rocks every 2 s; everything else at rest and free of noise."""
    rng = np.random.default_rng([41, seed])
    phase = rng.uniform(0.0, 2.0 * math.pi)
    rest = readings_of(crawler(), pose(assembly(), **UPRIGHT))
    track = Track(crawler())
    for k in range(math.floor(4.0 * hz)):
        t = (k + 0.5) / hz
        for name, said in rest.items():
            if name == "body":
                assert isinstance(said, tuple)
                rocked = said[0] + math.radians(rock_deg) * math.sin(math.pi * t + phase), said[1]
                track.add(name, t, noisy(rocked, math.radians(noise_deg), rng))
            else:
                track.add(name, t, said)
    return crossing_of(track, InPlane(3.0, 2.9, 3.1, 3, None, None, left=True), RULES).tilt_spread


@pytest.mark.parametrize("hz", [10.0, 50.0, 100.0])
def test_noise_is_no_rocking(hz: float) -> None:
    """Of single readings of 0.05 deg a second spreads over 0.2; of 60 bodies at rest not one passes 0.05."""
    assert max(spread_of(0.05, hz, 0.0, seed) for seed in range(several(60))) <= RULES.steady


@pytest.mark.parametrize("hz", [50.0, 100.0])
def test_rocking_shows_through_noise(hz: float) -> None:
    caught = [spread_of(0.05, hz, 0.1, seed) > RULES.steady for seed in range(several(60))]
    assert caught.count(False) <= several(60) // 60


def test_watched_for_too_short() -> None:
    track, course = Track(crawler()), Course("receiver", UPRIGHT, steady(0.02))
    feed(track, course, (2.0, 4.0), 50.0)
    striking = Striking(TURNS)
    hear(striking, course, PLANE, (2.0, 4.0))
    (passed,) = striking.due(4.0)
    found = crossing_of(track, passed, RULES)
    assert found.steady_s == pytest.approx(0.62, abs=0.1), "from the first reading to the moment"
    assert codes(found) == ["not-watched"]


def test_a_gap_before_is_not_watched() -> None:
    track, course = Track(crawler()), Course("receiver", UPRIGHT, steady(0.02))
    feed(track, course, (0.0, 1.4), 50.0)
    feed(track, course, (2.0, 4.0), 50.0)
    found = crossing_of(track, InPlane(2.63, 2.53, 2.73, 3, None, None, left=True), RULES)
    assert found.steady_s == pytest.approx(0.62, abs=0.03)


# What is refused


def refusal(track: Track, passed: InPlane) -> list[tuple[str, str]]:
    with pytest.raises(Refused) as refused:
        crossing_of(track, passed, RULES)
    return [(fault.code, fault.where) for fault in refused.value.faults]


PASSED = InPlane(2.63, 2.53, 2.73, 3, None, None, left=True)


def test_a_sensor_that_says_nothing() -> None:
    track = Track(crawler())
    feed(track, Course("receiver", UPRIGHT, steady(0.02)), (0.0, 4.0), 20.0, without="stick")
    assert refusal(track, PASSED) == [("not-read-then", "stick")]


def test_a_pass_of_long_ago() -> None:
    track = Track(crawler())
    feed(track, Course("receiver", UPRIGHT, steady(0.02)), (0.0, 4.0), 20.0)
    old = replace(PASSED, at_s=-9.0, first_s=-9.1, last_s=-8.9)
    assert refusal(track, old) == [("not-read-then", name) for name in crawler().all]


def test_a_body_read_too_seldom() -> None:
    """2.5 a second are no gap, but of a second they tell nothing."""
    track, course = Track(crawler()), Course("receiver", UPRIGHT, steady(0.02))
    feed(track, course, (0.0, 4.0), 2.5)
    assert refusal(track, PASSED) in (
        [("too-few-readings", "steady")],
        [("too-few-readings", "vertical_speed")],
    )


def test_a_machine_without_a_receiver() -> None:
    bare = SensorSet(
        assemble(replace(assembly().machine, receiver=None), assembly().attachment), crawler().sensors
    )  # fmt: skip
    track = Track(bare)
    feed(track, lambda _: UPRIGHT, (0.0, 4.0), 20.0)
    assert refusal(track, PASSED) == [("no-such-point", "receiver")]


@pytest.mark.parametrize("value", [math.nan, math.inf])
def test_a_moment_that_is_no_time(value: float) -> None:
    track = Track(crawler())
    feed(track, lambda _: UPRIGHT, (0.0, 4.0), 20.0)
    assert {code for code, _ in refusal(track, replace(PASSED, at_s=value))} == {"not-read-then"}
