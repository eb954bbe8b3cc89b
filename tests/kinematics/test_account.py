"""The budget source by source against what a stream is told in short, and what would help."""

import math

import numpy as np
import pytest

from kinematics.account import account, helps
from kinematics.arm import Pose, pose
from kinematics.estimates import Estimates
from kinematics.levelling import Enters
from kinematics.observed import Observed, chained
from kinematics.sensing import readings_of
from kinematics.sensor_set import SensorSet
from kinematics.sources import Kind, sources_of, with_standard
from kinematics.trust import Trust
from kinematics.trust_block import NUMBERS, WORTH
from kinematics.trust_desk import Owed
from kinematics.trust_rates import ROWS, SLOPE

from .test_sensing_block import SENSED, unchecked

ESTIMATES = Estimates()
TOUCH = {(2, Enters.BENCHMARK): 1.0, (3, Enters.EDGE): -1.0}
CUT = {(3, Enters.EDGE): -1.0}
CARRIED = {
    **TOUCH, (4, Enters.RECEIVER): 1.0, (6, Enters.CARRIED): 1.0, (6, Enters.RECEIVER): -1.0,
}  # fmt: skip
FALLS = [(0.0, 0.0), (0.02, -0.01)]
TOGETHER = [[], [("boom.zero", "stick.zero", 0.8), ("boom_length", "stick_length", -0.4)]]


def crawler() -> SensorSet:
    return unchecked(SENSED["crawler-14t with tilting-1800"])


def posed(sensors: SensorSet, stick_deg: float, boom_deg: float = 14.0) -> Pose:
    angles = {"boom": boom_deg, "stick": stick_deg, "bucket": 17.4, "tilt": 2.0}
    lean = {"pitch": 0.6, "roll": -0.4}
    return pose(sensors.assembly, **{name: math.radians(angle) for name, angle in (angles | lean).items()})


def judged(
    terms: dict[tuple[int, Enters], float] = TOUCH, fall: tuple[float, float] = (0.0, 0.0),
    correlations: list[tuple[str, str, float]] | None = None, standard: dict[str, float] | None = None,
    owed_cut: Owed | None = None,
) -> Trust:  # fmt: skip
    sensors = crawler()
    sources = with_standard(sources_of(sensors, ESTIMATES, correlations or []), standard or {})
    seen = {
        3: Observed(sensors, sources, [posed(sensors, -70.0)], "centre", 1),
        4: Observed(
            sensors, sources, [posed(sensors, -80.0, 30.0), posed(sensors, -80.0, 30.1)], "receiver", 1
        ),
        6: Observed(sensors, sources, [posed(sensors, -95.0, 35.0)], "receiver", 2),
    }
    owed = [
        chained(each, seen, {2: 0.004}, ESTIMATES, sensors, sources)
        for each in (terms, without_benchmark(terms))
    ]
    trust = Trust(sensors, sources, ESTIMATES, owed[0], owed_cut or owed[1], fall=fall)
    found = posed(sensors, -105.0)
    assert trust.judge(trust.said(readings_of(sensors, found)), found.q)
    return trust


def without_benchmark(terms: dict[tuple[int, Enters], float]) -> dict[tuple[int, Enters], float]:
    return {key: factor for key, factor in terms.items() if key[1] != Enters.BENCHMARK}


@pytest.mark.parametrize("fall", FALLS)
@pytest.mark.parametrize("correlations", TOGETHER)
@pytest.mark.parametrize("terms", [TOUCH, CARRIED])
def test_every_row_by_the_law_of_propagation(
    terms: dict[tuple[int, Enters], float],
    correlations: list[tuple[str, str, float]],
    fall: tuple[float, float],
) -> None:
    trust = judged(terms, fall, correlations)
    for row in range(ROWS):
        made = account(trust, row)
        assert made.standard == pytest.approx(trust.numbers[row], rel=1e-12)
        assert math.fsum(made.combined.parts[0]) == pytest.approx(made.standard**2, rel=1e-12)
        kinds = made.by_kind()
        assert math.fsum(kinds.values()) == pytest.approx(made.standard**2, rel=1e-12)
        assert list(kinds.values()) == sorted(kinds.values(), reverse=True)


def test_the_benchmark_is_in_the_elevation_alone() -> None:
    trust = judged()
    elevation, cut = account(trust, 1), account(trust, 4)
    assert elevation.by_kind()[Kind.BENCHMARK] == pytest.approx(0.004**2, rel=1e-12)
    assert Kind.BENCHMARK not in cut.by_kind()
    assert elevation.standard**2 - cut.standard**2 == pytest.approx(0.004**2, rel=1e-9)


def test_a_height_only_then_no_cut() -> None:
    sensors = crawler()
    sources = sources_of(sensors, ESTIMATES)
    trust = Trust(sensors, sources, ESTIMATES, None, None)
    found = posed(sensors, -105.0)
    assert trust.judge(trust.said(readings_of(sensors, found)), found.q)
    assert helps(trust) == []
    assert account(trust, SLOPE).standard == pytest.approx(trust.numbers[SLOPE], rel=1e-12)
    with pytest.raises(ValueError, match="a row that has a number"):
        account(trust, 1)
    assert np.isnan(trust.numbers[:SLOPE]).all()


@pytest.mark.parametrize("terms", [TOUCH, CARRIED])
def test_what_would_help_most_is_what_is_told(terms: dict[tuple[int, Enters], float]) -> None:
    trust = judged(terms)
    every = helps(trust)
    now = account(trust, 4).standard
    assert [each.standard for each in every] == sorted(each.standard for each in every)
    assert all(each.standard < now for each in every)
    told = trust.numbers[NUMBERS.index("remedied_u")]
    if every[0].standard < WORTH * now:
        assert told == pytest.approx(every[0].standard, rel=1e-12)
    else:
        assert math.isnan(told)


@pytest.mark.parametrize("terms", [TOUCH, CARRIED])
@pytest.mark.parametrize("fall", FALLS)
def test_a_touch_in_this_posture_leaves_what_was_promised(
    terms: dict[tuple[int, Enters], float], fall: tuple[float, float]
) -> None:
    """Cut against a target on the benchmark touched: done, it is as said, drift counted."""
    [promise] = [each for each in helps(judged(terms, fall)) if each.remedy == "touch"]
    sensors = crawler()
    sources = sources_of(sensors, ESTIMATES)
    seen = {7: Observed(sensors, sources, [posed(sensors, -105.0)], "centre", 2)}
    cut = chained({(7, Enters.EDGE): -1.0}, seen, {}, ESTIMATES, sensors, sources)
    done = judged(terms, fall, owed_cut=cut)
    assert account(done, 4).standard == pytest.approx(promise.standard, rel=1e-12)
    assert promise.standard < account(judged(terms, fall), 4).standard


def test_a_better_zero_is_as_good_as_promised() -> None:
    """The zero of that sensor known to 0.02 deg, touches and strikes as before."""
    trust = judged(CARRIED)
    [found] = [each for each in helps(trust) if each.remedy == "zero"]
    better = judged(CARRIED, standard={found.source: math.radians(0.02)})
    assert account(better, 4).standard == pytest.approx(found.standard, rel=1e-12)


def test_a_better_dimension_is_as_good_as_promised() -> None:
    [found] = [each for each in helps(judged(CARRIED)) if each.remedy == "measure"]
    better = judged(CARRIED, standard={found.source: 0.001})
    assert account(better, 4).standard == pytest.approx(found.standard, rel=1e-12)


def test_a_better_laser_is_as_good_as_promised() -> None:
    [found] = [each for each in helps(judged(CARRIED)) if each.remedy == "level"]
    parts = account(judged(CARRIED), 4).by_kind()
    now = account(judged(CARRIED), 4).standard
    assert found.standard**2 == pytest.approx(now**2 - 0.91 * parts[Kind.LEVEL], rel=1e-12)
