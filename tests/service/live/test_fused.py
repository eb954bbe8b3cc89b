"""Raw frames of one case: when an angle is given, what is refused, and what shows that the gyro is wrong."""

import math
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from kinematics.errors import Fault
from kinematics.machine import Point
from service.live.fused import Fused
from service.live.stillness import between

from .shaken import GRAVITY, ZERO_DEG_S, Floats, raised, shaken, turning

HZ = 100.0
# Half of what a profile of a good inclinometer gives, and a mean over an engine's shaking.
REST_DEG = 0.1


def times(seconds: float, hz: float = HZ) -> Floats:
    return np.arange(round(seconds * hz)) / hz


def fed(at_s: Floats, force: Floats, rates: Floats, fused: Fused | None = None) -> list[Point | Fault]:
    fused = fused or Fused()
    return [fused.add(t, (a, b, c), (d, e, f)) for t, (a, b, c), (d, e, f) in
            zip(at_s.tolist(), force.tolist(), rates.tolist(), strict=True)]  # fmt: skip


def off_deg(found: Point | Fault, true: Floats) -> float:
    assert isinstance(found, tuple), found
    assert all(math.isfinite(each) for each in found)
    return math.degrees(between(found, (true[0], true[1], true[2])))


def worst(told: list[Point | Fault], true: Floats) -> float:
    """The largest error (deg) of all angles that were given."""
    return max(off_deg(each, up) for each, up in zip(told, true, strict=True) if isinstance(each, tuple))


def codes(told: list[Point | Fault]) -> set[str]:
    return {each.code for each in told if isinstance(each, Fault)}


def still(seconds: float, seed: int = 1, shake: float = 0.5) -> tuple[Floats, Floats, Floats]:
    at_s = times(seconds)
    return at_s, *shaken(np.random.default_rng(seed), at_s, *turning(at_s, 0.0 * at_s, 1), shake=shake)


@pytest.mark.parametrize("shake", [0.0, 0.5, 1.5])
def test_it_settles_over_an_engine(shake: float) -> None:
    at_s, force, rates = still(6.0, shake=shake)
    fused = Fused()
    told = fed(at_s, force, rates, fused)
    first = next(i for i, each in enumerate(told) if not isinstance(each, Fault))
    assert 1.9 < at_s[first] < 2.6
    assert codes(told[:first]) == {"settling"}
    # A mean over two seconds of shaking; that over one quarter has swung by more when it begins.
    most = REST_DEG * max(1.0, shake)
    assert max(off_deg(each, np.array([0.0, 0.0, 1.0])) for each in told[first + 200 :]) <= most
    assert fused.zero is not None
    # 0.08 deg/s from sample to sample, 200 of them, and the shaking's rest.
    assert np.max(np.abs(np.degrees(fused.zero) - ZERO_DEG_S)) <= 0.05


def test_no_rest_no_angle() -> None:
    at_s = times(15.0)
    angle = math.radians(20.0) * np.sin(2.0 * np.pi * 0.5 * at_s)
    told = fed(at_s, *shaken(np.random.default_rng(2), at_s, *turning(at_s, angle, 1)))
    assert codes(told) == {"settling"}
    assert not any(isinstance(each, tuple) for each in told)


MOVES = [(4.0, 6.0, math.radians(40.0)), (9.0, 11.0, math.radians(-55.0))]


def moved(axis: int = 1, scale: float = 1.005) -> tuple[Floats, Floats, Floats, Floats]:
    """Times, samples and true plumb of a case that is raised and lowered with rests between."""
    at_s = times(14.0)
    force, rates = turning(at_s, -raised(at_s, MOVES), axis)
    return at_s, *shaken(np.random.default_rng(3), at_s, force, rates, scale=scale), force / GRAVITY


@pytest.mark.parametrize("axis", [0, 1])
def test_it_follows(axis: int) -> None:
    at_s, force, rates, plumb = moved(axis)
    told = fed(at_s, force, rates)
    assert codes(told[300:]) == {"gyro-unproved"}, "while it turns for the first time"
    # Half a percent of 55 deg, and a tenth at rest.
    assert worst(told[300:], plumb[300:]) <= 0.4
    assert codes(told[750:]) == set(), "the second turn is believed"


@pytest.mark.parametrize("seed", range(3))
def test_jitter_and_lost_frames(seed: int) -> None:
    at_s, force, rates, plumb = moved()
    rng = np.random.default_rng([4, seed])
    dense = np.sort(at_s + rng.uniform(-0.003, 0.003, len(at_s)))  # the true moments of samples
    turn = raised(dense, MOVES)
    force, rates = turning(dense, -turn, 1)
    plumb = force / GRAVITY
    # Taken at uneven moments, shaking is noise, which a mean lessens but slowly.
    force, rates = shaken(rng, dense, force, rates, shake=0.2)
    kept = rng.random(len(dense)) > 0.02
    told = fed(dense[kept], force[kept], rates[kept])
    true = plumb[kept]
    assert codes(told) == {"settling", "gyro-unproved"}
    assert worst(told[300:], true[300:]) <= 0.5
    assert codes(told[740:]) == set()


def test_a_gap_and_a_step_back_begin_anew() -> None:
    at_s, force, rates = still(12.0)
    for late in (0.6, -1.0):
        shifted = at_s + np.where(at_s >= 5.0, late, 0.0)
        fused = Fused()
        told = fed(shifted, force, rates, fused)
        again = told[500:]
        assert isinstance(told[499], tuple)
        assert codes(again) == {"settling"}
        assert 190 <= sum(isinstance(each, Fault) for each in again) <= 260
        assert fused.zero is not None, "what the gyro reads at rest is known all the same"


def test_a_frame_twice() -> None:
    at_s, force, rates = still(4.0)
    fused = Fused()
    before = fed(at_s, force, rates, fused)[-1]
    again = fused.add(float(at_s[-1]), (0.0, 5.0, 5.0), (1.0, 1.0, 1.0))
    assert isinstance(again, Fault)
    assert again.code == "duplicate-reading"
    after = fused.add(float(at_s[-1]) + 0.01, (0.0, 0.0, 9.81), (0.007, -0.01, 0.005))
    assert isinstance(before, tuple)
    assert off_deg(after, np.array(before)) < 0.05


def test_too_seldom() -> None:
    at_s = times(10.0, 10.0)
    told = fed(at_s, *turning(at_s, 0.0 * at_s, 1))
    assert codes(told) == {"settling", "too-seldom"}
    assert isinstance(told[-1], Fault)


WRONG: dict[str, Callable[[Floats], Floats]] = {
    "sign of y": lambda w: w * [1, -1, 1],
    "x and y": lambda w: w[:, [1, 0, 2]],
    "y and z": lambda w: w[:, [0, 2, 1]],
    "half": lambda w: 0.5 * w,
    "dead": lambda w: 0.0 * w,
}


@pytest.mark.parametrize("wrong", WRONG)
def test_the_gyro_is_wrong(wrong: str) -> None:
    at_s, force, rates, _ = moved()
    fused = Fused()
    told = fed(at_s, force, WRONG[wrong](rates), fused)
    last = told[-1]
    assert isinstance(last, Fault)
    assert last.code == "gyro-disagrees"
    assert "deg apart" in last.found
    # Put right on the way: a move that agrees, and it is believed again.
    again = fed(at_s + 20.0, force, rates, fused)
    assert codes(again[-100:]) == set()


def test_degrees_for_radians() -> None:
    """The zero error alone, taken for rad/s, would be 42 deg/s while plumb stands still."""
    at_s, force, rates, _ = moved()
    told = fed(at_s, force, np.degrees(rates))
    assert codes(told) >= {"gyro-disagrees"}
    assert not any(isinstance(each, tuple) for each in told)


def swung(axis: int, seconds: float = 16.0) -> tuple[Floats, Floats, Floats]:
    """A case on the level at the axis itself of a machine that swings there by 120 deg and back; rates on `axis`."""
    at_s = times(seconds)
    angle = raised(at_s, [(4.0, 8.0, math.radians(120.0)), (11.0, 15.0, math.radians(-120.0))])
    force, rates = np.zeros((len(at_s), 3)), np.zeros((len(at_s), 3))
    force[:, 2] = GRAVITY
    rates[:, axis] = np.gradient(angle, at_s)
    return at_s, *shaken(np.random.default_rng(5), at_s, force, rates)


def test_a_swing_about_plumb_is_consistent() -> None:
    told = fed(*swung(2))
    assert codes(told) == {"settling"}
    assert max(off_deg(each, np.array([0.0, 0.0, 1.0])) for each in told[400:]) <= 0.3


@pytest.mark.parametrize("axis", [0, 1])
def test_a_swing_seen_on_another_axis(axis: int) -> None:
    at_s, force, rates = swung(axis, 11.0)
    told = fed(at_s, force, rates)
    assert codes(told[-50:]) == {"gyro-disagrees"}


def test_a_slow_even_swing_is_no_zero_error() -> None:
    """2 deg/s about plumb for 3 s: gravity shows nothing of it. A longer rest before it told the truth."""
    at_s = times(14.0)
    force, rates = turning(at_s, 0.0 * at_s, 1)
    rates[(at_s > 9.0) & (at_s < 12.0), 2] = math.radians(2.0)
    fused = Fused()
    fed(at_s, *shaken(np.random.default_rng(6), at_s, force, rates), fused)
    assert fused.zero is not None
    assert np.max(np.abs(np.degrees(fused.zero) - ZERO_DEG_S)) <= 0.06


def test_a_link_that_creeps_is_followed() -> None:
    """1.5 deg/s, evenly, for ten seconds: a filter that takes it for the gyro's zero error stands still."""
    at_s = times(24.0)
    angle = raised(at_s, [(4.0, 6.0, math.radians(20.0))]) + np.radians(1.5) * np.clip(at_s - 11.0, 0.0, 10.0)
    force, rates = turning(at_s, angle, 1)
    told = fed(at_s, *shaken(np.random.default_rng(7), at_s, force, rates))
    true: Any = force / GRAVITY
    assert worst(told[300:], true[300:]) <= 0.4
    assert codes(told[750:]) == set()


# What an adversary found: faults that an angle would not show.


def leaning(deg: float, at_s: Floats, swing: Floats) -> tuple[Floats, Floats, Floats]:
    """Force, rates and plumb of a case with its nose up by so much on a machine that swings by `swing` (n,) rad."""
    up = math.radians(deg)
    plumb = np.tile([math.sin(up), 0.0, math.cos(up)], (len(at_s), 1))
    return GRAVITY * plumb, np.gradient(swing, at_s)[:, None] * plumb, plumb


def test_a_move_about_another_axis_forgives_nothing() -> None:
    """The sign of z turned: a swing shows it, raising the boom says nothing of it; the next swing is not believed."""
    at_s = times(30.0)
    swing = raised(at_s, [(4.0, 7.0, math.radians(90.0)), (20.0, 23.0, math.radians(90.0))])
    force, rates, plumb = leaning(45.0, at_s, swing)
    raise_s = (at_s > 10.0) & (at_s < 17.0)
    turn = raised(at_s, [(11.0, 13.0, math.radians(20.0))])
    own_force, own_rates = turning(at_s, -turn - math.radians(45.0), 1)
    later = at_s >= 10.0
    force[later], plumb[later] = own_force[later], own_force[later] / GRAVITY
    rates[raise_s] = own_rates[raise_s]
    rates[at_s > 17.0] = np.gradient(swing, at_s)[at_s > 17.0, None] * plumb[at_s > 17.0]
    told = fed(at_s, *shaken(np.random.default_rng(8), at_s, force, rates * [1, 1, -1]))
    assert "gyro-disagrees" in codes(told)
    assert lasting_off(told, plumb, at_s) <= 0.5
    sound = fed(at_s, *shaken(np.random.default_rng(8), at_s, force, rates))
    assert codes(sound) == {"settling", "gyro-unproved"}
    assert worst(sound[300:], plumb[300:]) <= 0.5


def test_what_never_rests_is_never_believed_wrongly() -> None:
    at_s = times(60.0)
    swings = raised(at_s, [(4.0 + 6 * k, 9.9 + 6 * k, math.radians(30.0 * (-1) ** k)) for k in range(9)])
    force, rates = turning(at_s, -swings, 1)
    told = fed(at_s, *shaken(np.random.default_rng(9), at_s, force, rates * [1, -1, 1]))
    assert lasting_off(told, force / GRAVITY, at_s) <= 1.0


@pytest.mark.parametrize("faulty", [[0.0, 1.0, 1.0], [1.0, 1.0, 0.5], [0.7, 0.7, 0.7]])
def test_an_accelerometer_that_is_not_right(faulty: list[float]) -> None:
    at_s = times(8.0)
    force, rates = turning(at_s, 0.0 * at_s - math.radians(40.0), 1)
    told = fed(at_s, *shaken(np.random.default_rng(10), at_s, force * faulty, rates))
    assert codes(told) == {"settling", "gravity-off"}
    assert not any(isinstance(each, tuple) for each in told)


def test_frames_that_become_seldom() -> None:
    at_s = np.concatenate([times(8.0), 8.0 + times(8.0, 3.0)])
    force, rates = turning(at_s, -raised(at_s, [(9.0, 11.0, 0.7), (13.0, 15.0, -0.7)]), 1)
    told = fed(at_s, *shaken(np.random.default_rng(11), at_s, force, rates))
    assert codes(told[-20:]) == {"too-seldom"}


def lasting_off(told: list[Point | Fault], true: Floats, at_s: Floats) -> float:
    """For how many seconds in all an angle was given that is more than 1 deg off, after the first three."""
    wrong = [
        isinstance(each, tuple) and off_deg(each, up) > 1.0
        for each, up in zip(told[300:], true[300:], strict=True)
    ]
    return float(np.sum(np.diff(at_s)[299:][np.array(wrong)]))
