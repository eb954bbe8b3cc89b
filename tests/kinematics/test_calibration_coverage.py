"""Whether a calibration is as good as it says: thousands of machines, each wrong in everything as its sources say, are
touched and calibrated; and what a blunder does to it."""

import dataclasses
import math

import numpy as np
import pytest

from kinematics.calibration import calibrate
from kinematics.calibration_fit import Fitter
from kinematics.calibration_model import Model
from kinematics.calibration_values import value_of
from kinematics.touched import HeightSeen
from tests.amounts import several

from .calibration_rig import ROD, STONE, Truth, postures, sensors_of, sources_so, zeros_of

TRIALS, THROUGH_THE_DOOR, BLUNDERS = several(2000), several(20), several(100)
# What is allowed beside a mean is said of 2000 trials; of fewer it grows as the spread of a mean does, by 1 / sqrt(n).
OF_FEWER = math.sqrt(2000 / TRIALS)
SENSORS = sensors_of("gravity")
UNKNOWNS = (*zeros_of(SENSORS), "boom_length", "stick_length")
# What slop does to the four-bar anew at each touch would need a machine assembled for each.
SOURCES = sources_so(
    SENSORS,
    dict.fromkeys(UNKNOWNS[:3], math.radians(0.5)) | dict.fromkeys(UNKNOWNS[3:], 0.02) | {"pin_slop": 0.0},
)
PLACES = postures(SENSORS, np.random.default_rng(7), 20)
TWO_FEET = 0.6096


def session(seed: int) -> tuple[Truth, list[HeightSeen]]:
    """One machine, two set-ups of a level."""
    truth = Truth(SENSORS, SOURCES, np.random.default_rng([41, seed]))
    return truth, [
        truth.touch(f"rod {i}", ROD if i < 12 else STONE, angles) for i, angles in enumerate(PLACES)
    ]


WAS = np.array([value_of(SENSORS, name) for name in UNKNOWNS])


def test_intervals_cover_and_errors_are_of_the_size_told() -> None:
    deviates, squares = [], []
    for seed in range(TRIALS):
        truth, seen = session(seed)
        found = Fitter(Model(SENSORS, SOURCES, UNKNOWNS, seen)).search()
        planted = np.array([truth.change(name) for name in UNKNOWNS])
        error = found.values - WAS - planted
        deviates.append(error / np.sqrt(np.diagonal(found.covariance)))
        squares.append(float(error @ np.linalg.solve(found.covariance, error)))
        if seed < THROUGH_THE_DOOR:
            told = calibrate(SENSORS, SOURCES, UNKNOWNS, seen)
            assert told.change - planted == pytest.approx(error, abs=1e-12)
            assert told.standard == pytest.approx(
                np.sqrt(np.diagonal(found.covariance)) * told.widened, rel=1e-9
            )
    covered = (np.abs(np.array(deviates)) <= 1.95996).mean(axis=0)
    # Of 2000 trials 95 % cover give or take 0.5 %; the bounds are four times that.
    assert np.all(np.abs(covered - 0.95) <= 0.02 * OF_FEWER)
    # A mean of 2000 chi squares of 5, over 5: 1 give or take 0.014.
    assert abs(np.mean(squares) / len(UNKNOWNS) - 1.0) <= 0.06 * OF_FEWER
    assert np.all(np.abs(np.mean(deviates, axis=0)) <= 0.1 * OF_FEWER)


def test_a_rod_two_feet_off_is_named_and_left_out() -> None:
    squares = []
    for seed in range(BLUNDERS):
        truth, seen = session(10_000 + seed)
        which = seed % len(seen)
        off = TWO_FEET if seed % 2 else -TWO_FEET
        bad = [dataclasses.replace(one, height=one.height + off * (i == which)) for i, one in enumerate(seen)]
        found = Fitter(Model(SENSORS, SOURCES, UNKNOWNS, bad)).search()
        out = np.flatnonzero(~found.used).tolist()
        assert which in out
        assert len(out) <= 2  # now and then one more of 19 good ones
        assert abs(found.off[which] - off) <= 5.0 * found.spread[which]
        error = found.values - WAS - [truth.change(name) for name in UNKNOWNS]
        squares.append(float(error @ np.linalg.solve(found.covariance, error)))
    # As without: a mean of 100 chi squares of 5, over 5, is 1 give or take 0.063; one in 70000 passes 30.
    assert abs(np.mean(squares) / len(UNKNOWNS) - 1.0) <= 0.2 * math.sqrt(100 / BLUNDERS)
    assert max(squares) <= 30.0


def test_several_blunders_do_not_hide_each_other() -> None:
    for seed in range(several(20)):
        _, seen = session(20_000 + seed)
        wrong = {1: 0.3048, 6: 0.3048, 17: -0.1}
        bad = [dataclasses.replace(one, height=one.height + wrong.get(i, 0.0)) for i, one in enumerate(seen)]
        found = Fitter(Model(SENSORS, SOURCES, UNKNOWNS, bad)).search()
        assert set(wrong) <= set(np.flatnonzero(~found.used).tolist())
