"""What was to be expected of a check: what cancels, what counts twice, what is shared."""

import math
from dataclasses import replace

import numpy as np
import pytest

from kinematics.arm import Pose
from kinematics.arm import pose as solved
from kinematics.checked import Expected, expected_of
from kinematics.errors import Refused
from kinematics.estimates import Estimates
from kinematics.levelling import Enters
from kinematics.observed import Observed
from kinematics.rates_at import RatesAt
from kinematics.shared import Owners
from kinematics.sources import Sources, plain_sensors, sources_of, with_standard
from tests.demo_machine import arm_of_demo, place_edge

ARM = arm_of_demo()
SENSORS = plain_sensors(ARM)
STILL = Estimates(temperature=0.0)
BENCHMARK, TOUCH, CHECK = 1, 2, 3
TERMS = {(TOUCH, Enters.EDGE): -1.0, (CHECK, Enters.EDGE): 1.0}
"""A staff that hangs on the benchmark that was touched: its elevation cancels."""


def expected(
    touch: Pose, check: Pose, sources: Sources, estimates: Estimates = STILL, **more: float
) -> Expected:
    """Of one check after one touch; `more`: the benchmark's own factor."""
    observed = {
        seq: Observed(SENSORS, sources, [pose], "centre", setup)
        for seq, pose, setup in ((TOUCH, touch, 1), (CHECK, check, 2))
    }
    terms = TERMS | {(BENCHMARK, Enters.BENCHMARK): more.get("benchmark", 0.0)}
    return expected_of(
        CHECK, Enters.EDGE, terms, observed, {BENCHMARK: 0.004}, estimates, SENSORS, sources, Owners()
    )


def test_in_the_posture_of_the_touch_only_what_is_anew_counts_and_twice() -> None:
    sources, pose = sources_of(SENSORS, STILL), place_edge(ARM, -1.6, -70.0)
    found = expected(pose, pose, sources)
    assert found.common == pytest.approx(found.own, rel=1e-9), (
        "the touch's own noise and contact, shared by all checks"
    )
    rates = RatesAt(SENSORS, sources).of_height(pose, "centre")
    by = (rates * sources.standard)[~sources.lasting]
    assert found.own == pytest.approx(math.sqrt(float(by @ by) + STILL.contact**2), rel=1e-9)
    assert found.standard == pytest.approx(math.sqrt(2.0) * found.own, rel=1e-9)


def test_elsewhere_zeros_come_in_by_the_difference_of_their_rates() -> None:
    sources = sources_of(SENSORS, STILL)
    touch, check = place_edge(ARM, -1.6, -70.0), place_edge(ARM, -2.6, -105.0)
    name = next(each for each in sources.known if each.startswith("boom") and each.endswith("zero"))
    only = with_standard(sources, dict.fromkeys(sources.known, 0.0) | {name: 0.001})
    bare = replace(STILL, contact=0.0)
    found = expected(touch, check, only, bare)
    at = [RatesAt(SENSORS, only).of_height(pose, "centre")[only.names.index(name)] for pose in (touch, check)]
    assert found.own == 0.0
    assert found.common == pytest.approx(abs(at[1] - at[0]) * 0.001, rel=1e-9)


def test_a_benchmark_of_another_datum_counts() -> None:
    """An elevation by total station does not hang on the touched benchmark: its 4 mm stay."""
    sources, pose = sources_of(SENSORS, STILL), place_edge(ARM, -1.6, -70.0)
    apart, alike = expected(pose, pose, sources, benchmark=1.0), expected(pose, pose, sources)
    assert apart.common == pytest.approx(math.hypot(alike.common, 0.004), rel=1e-9)
    assert apart.own == alike.own


def test_warmth_since_the_touch_is_shared() -> None:
    cool, warm = (replace(STILL, temperature=kelvins) for kelvins in (0.0, 20.0))
    pose = place_edge(ARM, -1.6, -70.0)
    one, other = (expected(pose, pose, sources_of(SENSORS, each), each) for each in (cool, warm))
    assert other.own == pytest.approx(one.own)
    assert other.common > one.common


def test_by_repetition() -> None:
    """Drawn errors through the pose itself, encoders and lean, 4000 draws: the spread of a spread is 1.1 %."""
    sources = sources_of(SENSORS, STILL)
    touch, check = place_edge(ARM, -1.6, -70.0), place_edge(ARM, -2.4, -95.0)
    noises = [each for each in sources.known if ".noise" in each]
    only = with_standard(sources, dict.fromkeys(sources.known, 0.0) | dict.fromkeys(noises, 0.001))
    found = expected(touch, check, only, replace(STILL, contact=0.0))
    draw = np.random.default_rng(11)

    def height(pose: Pose) -> float:
        joints = {name: pose.joint(name) + 0.001 * draw.standard_normal() for name in ARM.ranges}
        lean = {
            name: float(pose.q[i]) + 0.001 * draw.standard_normal()
            for i, name in enumerate(("pitch", "roll"))
        }
        return solved(ARM, **lean, **joints).height("centre")

    drawn = [height(check) - height(touch) for _ in range(4000)]
    assert np.std(drawn) == pytest.approx(found.standard, rel=0.045)


def test_an_observation_that_is_not_there() -> None:
    sources, pose = sources_of(SENSORS, STILL), place_edge(ARM, -1.6, -70.0)
    observed = {CHECK: Observed(SENSORS, sources, [pose], "centre", 2)}
    with pytest.raises(Refused) as told:
        expected_of(CHECK, Enters.EDGE, TERMS, observed, {}, STILL, SENSORS, sources, Owners())
    assert told.value.code == "no-observation"
