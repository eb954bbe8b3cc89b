"""`Trust`, which is by rates, against readouts repeated with drawn errors (GUM supplement 1)."""

import dataclasses
import math

import numpy as np
import pytest

from kinematics.arm import pose
from kinematics.errors import Refused
from kinematics.estimates import Estimates
from kinematics.levelling import Enters
from kinematics.observed import Observed, chained
from kinematics.sensing import readings_of
from kinematics.sensing_block import program
from kinematics.sources import KINDS, Kind, sources_of
from kinematics.trials import BLOCK, Rehearsal, Trials, trials
from kinematics.trust import Trust
from kinematics.trust_block import NUMBERS
from kinematics.trust_desk import said_in

from .plainly import in_plain_python
from .test_sensing_block import SENSED, unchecked
from .trust_chains import FIRST, SECOND, SET, Job, job, postures

COUNT = 150_000
NOT_LINEAR = 0.005
"""Of a standard uncertainty: what the second order adds, errors being some 0.01 rad at most of arms of some metres."""
NARROWER = 0.04
"""Of an interval: the part by which rectangular parts draw it in at the most."""
JOBS = {
    "two-piece edge": ("midi-8t with digging-1500", "touch", (0.0, 0.0)),
    "compact": ("compact-1t8 with compact-bucket-400", "touch", (0.0, 0.0)),
    "coupler's play": ("crawler-14t with coupled-900", "turning", (0.0, 0.0)),
    "tilting": ("crawler-14t with tilting-1800", "laser", (0.0, 0.0)),
    "rotating, sloping": ("crawler-14t with tilt-rotator-1600", "touch", (0.2, -0.1)),
    "two stands": ("crawler-14t with digging-1500", "laser", (0.0, 0.0)),
    "turning point, sloping": ("midi-8t with tilting-1800", "turning", (-0.1, 0.05)),
    "rotating by laser": ("midi-8t with tilt-rotator-1600", "laser", (0.0, 0.0)),
}


def judged(of: Job) -> dict[str, float]:
    """The numbers of `Trust` by name."""
    owed = [chained(t, of.observed, {}, of.estimates, of.sensors, of.sources) for t in (of.terms, of.cut)]
    trust = Trust(of.sensors, of.sources, of.estimates, *owed, fall=of.fall)
    said = said_in(program(of.sensors).numbers, readings_of(of.sensors, of.dig))
    assert trust.judge(said, of.dig.q)
    return dict(zip(NUMBERS, trust.numbers.tolist(), strict=True))


def repeated(of: Job, count: int = COUNT, seed: int = 5) -> Trials:
    return trials(
        of.sensors, of.sources, of.estimates, of.terms, of.observed, {}, of.dig, "centre", count, seed, of.cut,
        fall=of.fall,
    )  # fmt: skip


def agree(deviations: np.ndarray, standard: float) -> None:
    """Standard deviation, mean and interval of what was drawn, against a standard uncertainty."""
    count = len(deviations)
    assert np.all(np.isfinite(deviations))
    assert math.isfinite(standard)
    assert standard > 0.0
    drawn = float(np.std(deviations, ddof=1))
    assert abs(drawn / standard - 1.0) <= 4.0 / math.sqrt(2.0 * count) + NOT_LINEAR
    assert abs(float(np.mean(deviations))) <= standard * (4.0 / math.sqrt(count) + 4.0 * NOT_LINEAR)
    low, high = np.quantile(deviations, [0.025, 0.975])
    assert 1.96 * (1.0 - NARROWER) <= (high - low) / (2.0 * standard) <= 1.96 * 1.02


@pytest.mark.parametrize("name", JOBS)
def test_uncertainty_is_what_repeating_shows(name: str) -> None:
    pair, kind, fall = JOBS[name]
    of = job(pair, kind, fall=fall)
    told, drawn = judged(of), repeated(of)
    assert drawn.lost == 0
    assert drawn.cuts is not None
    agree(drawn.deviations, told["centre_elevation_u"])
    agree(drawn.cuts, told["centre_cut_u"])
    agree(drawn.cross_slopes, told["cross_slope_u"])
    assert drawn.elevation.standard == pytest.approx(float(np.std(drawn.deviations, ddof=1)), rel=1e-12)


@pytest.mark.parametrize("point", ["left", "right"])
def test_corners(point: str) -> None:
    of = job("crawler-14t with tilting-1800", "touch")
    drawn = trials(of.sensors, of.sources, of.estimates, of.terms, of.observed, {}, of.dig, point, COUNT, 8)
    assert drawn.cuts is None
    assert drawn.cut is None
    agree(drawn.deviations, judged(of)[f"{point}_elevation_u"])


def test_correlated_dimensions() -> None:
    """Links taped with one tape, err alike, or each out of what is left of another."""
    of = job("crawler-14t with digging-1500", "touch")
    told = []
    for coefficient in (0.0, -0.95, 0.95):
        pairs = [
            ("idler_pivot_x", "power_link_length", coefficient),
            ("stick_length", "idler_length", coefficient),
        ]
        sources = sources_of(of.sensors, of.estimates, pairs)
        seen = {SET: dataclasses.replace(of.observed[SET], sources=sources)}
        other = dataclasses.replace(of, sources=sources, observed=seen)
        told.append(judged(other)["centre_elevation_u"])
        agree(repeated(other).deviations, told[-1])
    assert min(abs(each / told[0] - 1.0) for each in told[1:]) > 0.03  # more than `agree` allows


def test_another_attachment_after_a_turning_point() -> None:
    """A stone set with one bucket and touched with another: the arm's errors are the same, the buckets' are not."""
    first, second = (
        unchecked(SENSED[f"crawler-14t with {name}"]) for name in ("digging-1500", "ditching-1800")
    )
    of = job("crawler-14t with ditching-1800", "turning")
    sources = sources_of(first, of.estimates)
    at = postures(first.assembly)
    seen = {
        SET: Observed(first, sources, [pose(first.assembly, **at.touch)], "centre", 1),
        FIRST: Observed(first, sources, [pose(first.assembly, **at.before[0])], "centre", 1),
        SECOND: dataclasses.replace(of.observed[SECOND], setup=2),
    }
    other = dataclasses.replace(of, observed=seen)
    assert other.sensors.assembly.attachment == second.assembly.attachment
    told = judged(other)
    assert abs(told["centre_elevation_u"] / judged(of)["centre_elevation_u"] - 1.0) > 1e-3
    agree(repeated(other).deviations, told["centre_elevation_u"])


def test_another_machines_drift_is_a_new_one_in_each_stand() -> None:
    """A stone carried through two stands by a machine whose sensors drift alone, then touched by another."""
    first = unchecked(SENSED["midi-8t with digging-1500"])
    of = job("crawler-14t with digging-1500", "touch")
    sources = sources_of(first, of.estimates)
    drifts = np.zeros(len(sources.names))
    drifts[sources.drifts] = 0.003
    alone = dataclasses.replace(sources, standard=drifts)
    still = dataclasses.replace(of.sources, standard=np.zeros(len(of.sources.names)))
    at = postures(first.assembly)
    places = {
        2: (at.touch, 1),
        3: (at.dig, 1),
        4: (at.touch, 2),
        5: (at.dig, 2),
        6: (at.touch, 3),
        7: (at.dig, 3),
    }
    seen = {
        seq: Observed(first, alone, [pose(first.assembly, **angles)], "centre", stand)
        for seq, (angles, stand) in places.items()
    } | {8: dataclasses.replace(of.observed[SET], sources=still, setup=4)}
    terms = {(seq, Enters.EDGE): -1.0 if seq % 2 == 0 else 1.0 for seq in seen}
    exact = dataclasses.replace(of.estimates, contact=0.0)
    other = dataclasses.replace(of, observed=seen, terms=terms, cut=terms, sources=still, estimates=exact)
    told = judged(other)["centre_elevation_u"]
    one_stand = {key: factor for key, factor in terms.items() if key[0] < 6 or key[0] == 8}
    once = judged(dataclasses.replace(other, terms=one_stand))["centre_elevation_u"]
    assert once > 1e-3
    assert told == pytest.approx(
        once * math.sqrt(2.0), rel=1e-9
    )  # two stands alike, each with a drift of its own
    agree(repeated(other).deviations, told)


def test_threads_and_blocks_do_not_matter() -> None:
    of = job("crawler-14t with digging-1500", "laser")
    count = 2 * BLOCK + 500
    whole = repeated(of, count, 3)
    run = Rehearsal(
        of.sensors, of.sources, of.estimates, of.terms, of.observed, {}, of.dig, "centre", count, 3, of.cut, fall=of.fall
    )  # fmt: skip
    for first, end in ((2 * BLOCK, count), (0, 2 * BLOCK)):
        run.fill(first, end)
    assert np.array_equal(run.result().deviations, whole.deviations)
    for first, end in ((1, BLOCK), (0, BLOCK + 1), (0, 3 * BLOCK)):
        with pytest.raises(Refused, match="multiples"):
            run.fill(first, end)
    assert not np.array_equal(repeated(of, count, 4).deviations, whole.deviations)


def test_an_end_stop_refuses_no_draw() -> None:
    """At a joint's stop half of all errors would carry it beyond."""
    of = job("crawler-14t with digging-1500", "touch")
    spans, angles = of.sensors.assembly.ranges, postures(of.sensors.assembly).dig
    for end in ("low", "high"):
        held = dict(angles) | {"boom": getattr(spans["boom"], end), "bucket": getattr(spans["bucket"], end)}
        at_stop = dataclasses.replace(of, dig=pose(of.sensors.assembly, **held))
        drawn = repeated(at_stop)
        assert drawn.lost == 0
        agree(drawn.deviations, judged(at_stop)["centre_elevation_u"])


def test_readings_as_well_as_a_pose() -> None:
    of = job("midi-8t with tilting-1800", "touch")
    said = said_in(program(of.sensors).numbers, readings_of(of.sensors, of.dig))
    by_said = trials(
        of.sensors, of.sources, of.estimates, of.terms, of.observed, {}, said, count=1000, seed=2
    )
    by_pose = trials(
        of.sensors, of.sources, of.estimates, of.terms, of.observed, {}, of.dig, count=1000, seed=2
    )
    assert np.max(np.abs(by_said.deviations - by_pose.deviations)) <= 1e-12


def refused(of: Job, **changes: object) -> set[str]:
    given: dict[str, object] = {
        "point": "centre",
        "count": 1000,
        "seed": 1,
        "pose_or_said": of.dig,
        "observed": of.observed,
    }
    given |= changes
    with pytest.raises(Refused) as caught:
        trials(of.sensors, of.sources, of.estimates, of.terms, benchmarks={}, **given)  # type: ignore[arg-type]
    return {fault.code for fault in caught.value.faults}


def test_refusals() -> None:
    of = job("crawler-14t with digging-1500", "touch")
    assert refused(of, count=1, seed=-1) == {"out-of-range"}
    assert refused(of, count=True) == {"out-of-range"}
    assert refused(of, point="heel_left") == {"no-such-point"}
    assert refused(of, point="middle") == {"no-such-point"}
    assert refused(of, observed={}) == {"no-observation"}
    assert refused(of, pose_or_said=np.zeros(2)) == {"wrong-length"}
    assert refused(of, pose_or_said=np.full(of.sources.numbers, math.nan)) == {"no-pose"}


def with_zeros(of: Job, size_deg: float) -> Job:
    """The same, each sensor's zero unknown by so much."""
    zeros = of.sources.kinds == KINDS.index(Kind.ZEROS)
    wild = dataclasses.replace(
        of.sources, standard=np.where(zeros, math.radians(size_deg), of.sources.standard)
    )
    return dataclasses.replace(
        of, sources=wild, observed={SET: dataclasses.replace(of.observed[SET], sources=wild)}
    )


def test_what_has_no_geometry_is_counted_then_refused() -> None:
    """Zeros unknown by degrees: now and then a draw closes no linkage; by more of them, too many to tell a number."""
    of = job("crawler-14t with digging-1500", "touch")
    few = repeated(with_zeros(of, 3.5), 20_000)
    assert 0 < few.lost <= 200
    assert len(few.deviations) == len(few.cross_slopes) == few.count - few.lost
    assert np.all(np.isfinite(few.deviations))
    many = with_zeros(of, 8.0)
    assert refused(many, observed=many.observed) == {"no-pose"}


def test_without_errors_nothing_deviates() -> None:
    of = job("crawler-14t with tilting-1800", "laser")
    still = dataclasses.replace(of.sources, standard=np.zeros(len(of.sources.names)))
    seen = {seq: dataclasses.replace(each, sources=still) for seq, each in of.observed.items()}
    exact = Estimates(
        contact=0.0, receiver=0.0, laser_level=0.0, laser_distance=0.0, temperature=0.0, distance=0.0
    )
    drawn = repeated(dataclasses.replace(of, sources=still, observed=seen, estimates=exact), 1000)
    assert np.max(np.abs(drawn.deviations)) == 0.0


def some_trials() -> list[float]:
    """What both ways of running give."""
    of = job("crawler-14t with tilting-1800", "turning")
    drawn = repeated(of, 200, 9)
    assert drawn.cuts is not None
    return [*drawn.deviations.tolist(), *drawn.cuts.tolist(), *drawn.cross_slopes.tolist()]


def test_plain_python_gives_the_same() -> None:
    assert some_trials() == pytest.approx(in_plain_python("test_trust_monte_carlo", "some_trials"), abs=1e-12)


def test_terms_are_those_of_the_chain() -> None:
    of = job("crawler-14t with digging-1500", "laser")
    assert {what for _, what in of.terms} == {Enters.BENCHMARK, Enters.EDGE, Enters.RECEIVER, Enters.CARRIED}
    assert {what for _, what in of.cut} == {Enters.EDGE, Enters.RECEIVER, Enters.CARRIED}
