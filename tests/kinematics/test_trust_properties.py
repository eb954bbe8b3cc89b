"""What must be so of the uncertainty of any readout, whatever the numbers: facts of the trade (domain.md 7)."""

import dataclasses
import math
from collections.abc import Sequence

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import brentq

from kinematics.arm import Pose, pose
from kinematics.assembly import assemble
from kinematics.errors import Refused
from kinematics.estimates import Estimates
from kinematics.grade import Layer, Target
from kinematics.leaf import Leaf
from kinematics.leaf_block import CHOICES as LEAF_CHOICES
from kinematics.leaf_block import NUMBERS as LEAF_NUMBERS
from kinematics.levelling import Book, Enters, Known
from kinematics.machine import MachineUncertainty
from kinematics.observed import Observed, chained
from kinematics.rates_at import RatesAt
from kinematics.readout import Aim
from kinematics.sensing import angles_from, readings_of
from kinematics.sensing_block import program
from kinematics.sensor import Measure
from kinematics.sensor_set import SensorSet
from kinematics.sources import KINDS, Kind, Sources, sources_of
from kinematics.trust import Trust
from kinematics.trust_block import NUMBERS
from kinematics.trust_desk import Owed, said_in
from kinematics.trust_rates import CUT
from tests.amounts import several

from .machines import plain_bucket, plain_machine, random_angles, seeded
from .sensor_sets import random_set, sensor
from .test_sensing_block import flat
from .trust_chains import BENCHMARK, FIRST, SECOND, SET, Job, job

LASTING = (Kind.ZEROS, Kind.SKEW, Kind.DIMENSIONS, Kind.WEAR)
ROUNDING = 1e-12  # m: of heights of some ten metres


def trusted(of: Job, terms: object = None, estimates: Estimates | None = None) -> tuple[Trust, Owed]:
    """A trust that has judged the job's dig, elevation alone."""
    around = estimates or of.estimates
    owed = chained(of.terms if terms is None else terms, of.observed, {}, around, of.sensors, of.sources)  # type: ignore[arg-type]
    trust = Trust(of.sensors, of.sources, around, owed, None)
    said = said_in(program(of.sensors).numbers, readings_of(of.sensors, of.dig))
    assert trust.judge(said, of.dig.q)
    return trust, owed


def parts_of(trust: Trust, owed: Owed, sources: Sources, row: int = 1) -> dict[Kind, float]:
    """Variance (m2) by kind, of uncorrelated sources, from rates alone."""
    shares = ((trust.rows()[row] + owed.edge + owed.strikes) * sources.standard) ** 2
    return dict(
        zip(KINDS, (np.bincount(sources.kinds, shares, len(KINDS)) + owed.rest).tolist(), strict=True)
    )


def owing_nothing(sources: Sources) -> Owed:
    none = np.zeros(len(sources.names))
    return Owed(none, none, np.zeros(len(KINDS)))


def number(trust: Trust, name: str) -> float:
    return float(trust.numbers[NUMBERS.index(name)])


@pytest.mark.parametrize("pair", ["crawler-14t with tilting-1800", "midi-8t with digging-1500"])
def test_one_posture_at_touch_and_dig_leaves_no_constant_part(pair: str) -> None:
    of = job(pair, "touch")
    there = of.observed[SET].poses[0]
    alike, apart = dataclasses.replace(of, dig=there), parts_of(*trusted(of), of.sources)
    found = parts_of(*trusted(alike), of.sources)
    for kind in LASTING:
        assert math.sqrt(apart[kind]) > 1e-4
        assert math.sqrt(found[kind]) <= ROUNDING
    for kind in (Kind.NOISE, Kind.SLOP, Kind.FLEX):  # once at each end
        one = parts_of(trusted(alike)[0], owing_nothing(of.sources), of.sources)
        assert found[kind] == pytest.approx(2.0 * one[kind], rel=1e-9)


@given(st.integers(0, 10_000))
@settings(deadline=None, max_examples=several(60))
def test_so_on_any_machine(seed: int) -> None:
    rng = np.random.default_rng(seed)
    assembly = seeded(seed, linkage=bool(seed % 2), driven=bool(seed % 3))
    angles = random_angles(rng, assembly)
    sensors = random_set(rng, assembly, angles)
    try:
        there = pose(assembly, **angles)
        angles_from(sensors, readings_of(sensors, there))
    except Refused:
        return
    sources = sources_of(sensors, Estimates())
    of = Job(
        sensors, sources, Estimates(), {(BENCHMARK, Enters.BENCHMARK): 1.0, (SET, Enters.EDGE): -1.0}, {},
        {SET: Observed(sensors, sources, [there], "centre", 1)}, there,
    )  # fmt: skip
    try:
        trust, owed = trusted(of)
    except Refused:  # a linkage at dead centre
        return
    found = parts_of(trust, owed, sources)
    size = 1.0 + float(np.max(np.abs(trust.rows())))
    for kind in LASTING:
        assert math.sqrt(found[kind]) <= ROUNDING * size
    assert sum(found.values()) == pytest.approx(number(trust, "centre_elevation_u") ** 2, rel=1e-9)


def plain_set(measures: Measure) -> SensorSet:
    assembly = assemble(plain_machine(), plain_bucket())
    kinds = {"body": Measure.PITCH_ROLL, "boom": measures, "stick": measures, "bucket": measures}
    return SensorSet(assembly, {name: sensor(name, kind) for name, kind in kinds.items()})


def rates_by_name(sensors: SensorSet, found: Pose) -> dict[str, float]:
    sources = sources_of(sensors, Estimates())
    return dict(
        zip(sources.names, RatesAt(sensors, sources).of_height(found, "centre").tolist(), strict=True)
    )


def test_an_encoders_bias_carries_the_whole_arm_a_gravity_sensors_the_boom_alone() -> None:
    """A boom of 5 m: the encoder's lever goes from its foot to the edge, the gravity sensor's to the stick pin."""
    by_encoder, by_gravity = plain_set(Measure.ANGLE), plain_set(Measure.GRAVITY_ANGLE)
    angles = {"pitch": 0.0, "roll": 0.0, "boom": 0.2, "stick": -1.1, "bucket": 0.9}
    found = pose(by_encoder.assembly, **angles)
    lever = found.reach - by_encoder.assembly.machine.boom_foot_x
    assert rates_by_name(by_encoder, found)["boom.zero"] == pytest.approx(lever, abs=1e-12)
    of_boom = rates_by_name(by_gravity, pose(by_gravity.assembly, **angles))["boom.zero"]
    assert of_boom == pytest.approx(5.0 * math.cos(0.2), abs=1e-12)


def test_drift_of_0_005_deg_a_kelvin_over_30_k_at_8_m_is_21_mm() -> None:
    """Domain fact, section 7: 8 m x 0.15 deg = 20.9 mm. One encoder at the boom, edge 8 m ahead of its pin."""
    known = {
        name: dataclasses.replace(one, per_kelvin=math.radians(0.005) if name == "boom" else 0.0)
        for name, one in plain_set(Measure.ANGLE).sensors.items()
    }
    sensors = SensorSet(assemble(plain_machine(stick_length=4.0), plain_bucket()), known)
    estimates = Estimates(temperature=30.0)
    sources = sources_of(sensors, estimates)
    foot = sensors.assembly.machine.boom_foot_x

    def at(stick: float) -> Pose:
        return pose(sensors.assembly, pitch=0.0, roll=0.0, boom=0.3, stick=stick, bucket=-0.1 - stick)

    dig = at(brentq(lambda stick: at(stick).reach - foot - 8.0, -1.9, -0.5, xtol=1e-13))
    assert dig.reach - foot == pytest.approx(8.0, abs=1e-9)
    trust = Trust(sensors, sources, estimates, owing_nothing(sources), None)
    assert trust.judge(said_in(program(sensors).numbers, readings_of(sensors, dig)), dig.q)
    by_drift = trust.rows()[1, sources.drifts] * sources.standard[sources.drifts]
    assert math.sqrt(float(np.sum(by_drift**2))) == pytest.approx(0.021, abs=0.0005)


def test_a_laser_10_arc_seconds_off_level_at_30_m_is_1_454_mm() -> None:
    """check_values 4.4. Neither it nor the earth's curvature enters within one stand."""
    of = job("crawler-14t with digging-1500", "laser")
    around = dataclasses.replace(of.estimates, laser_level=math.radians(10.0 / 3600.0), places_apart=30.0)
    found = parts_of(*trusted(of, estimates=around), of.sources)
    assert math.sqrt(found[Kind.LEVEL]) == pytest.approx(1.454e-3, abs=5e-7)
    assert found[Kind.CURVATURE] > 0.0
    within = parts_of(*trusted(job("crawler-14t with digging-1500", "touch"), estimates=around), of.sources)
    assert within[Kind.LEVEL] == within[Kind.CURVATURE] == within[Kind.RECEIVER] == 0.0


def test_two_crossings_halve_the_receivers_variance() -> None:
    of = job("crawler-14t with digging-1500", "laser")
    assert [len(of.observed[seq].poses) for seq in (FIRST, SECOND)] == [2, 2]
    once = {seq: dataclasses.replace(seen, poses=seen.poses[:1]) for seq, seen in of.observed.items()}
    twice, single = (
        parts_of(*trusted(each), of.sources)[Kind.RECEIVER]
        for each in (of, dataclasses.replace(of, observed=once))
    )
    assert single == pytest.approx(2.0 * of.estimates.receiver**2, rel=1e-12)  # two strikes
    assert twice == pytest.approx(0.5 * single, rel=1e-12)


def test_strikes_in_one_posture_leave_of_the_arm_no_more_than_the_touch_does() -> None:
    of = job("crawler-14t with digging-1500", "laser")
    seen = dict(of.observed)
    seen[SECOND] = dataclasses.replace(seen[SECOND], poses=seen[FIRST].poses)
    _, owed = trusted(dataclasses.replace(of, observed=seen))
    assert float(np.max(np.abs(owed.strikes * of.sources.standard))) <= ROUNDING
    _, apart = trusted(of)
    assert float(np.max(np.abs(apart.strikes * of.sources.standard))) > 1e-4


def test_a_benchmark_goes_out_of_a_cut_hung_on_it() -> None:
    of = job("crawler-14t with digging-1500", "laser")
    around = dataclasses.replace(of.estimates, benchmark=0.02)
    elevation, cut = (parts_of(*trusted(of, terms, around), of.sources) for terms in (of.terms, of.cut))
    assert elevation[Kind.BENCHMARK] == pytest.approx(0.02**2, rel=1e-12)
    assert cut[Kind.BENCHMARK] == 0.0
    for kind in KINDS:
        assert kind == Kind.BENCHMARK or cut[kind] == pytest.approx(elevation[kind], rel=1e-12)


@pytest.mark.parametrize("coefficient", [-1.0, 1.0])
def test_two_sources_that_err_as_one(coefficient: float) -> None:
    """Boom and stick lengths wholly together, or against each other: their deviations add before they are squared."""
    of = job("crawler-14t with digging-1500", "touch")
    names = ("boom_length", "stick_length")
    sources = sources_of(of.sensors, of.estimates, [(*names, coefficient)])
    seen = {SET: dataclasses.replace(of.observed[SET], sources=sources)}
    trust, owed = trusted(dataclasses.replace(of, sources=sources, observed=seen))
    alone, _ = trusted(of)
    c = trust.rows()[1] + owed.edge + owed.strikes
    one, other = (c[i] * sources.standard[i] for i in (sources.names.index(name) for name in names))
    told, plain = (number(each, "centre_elevation_u") ** 2 for each in (trust, alone))
    assert abs(one * other) > 1e-8
    assert told - plain == pytest.approx(2.0 * coefficient * one * other, rel=1e-6)
    assert math.isfinite(told)


def test_correlations_that_cannot_be_are_refused() -> None:
    of = job("crawler-14t with digging-1500", "touch")

    def codes(pairs: Sequence[tuple[str, str, float]]) -> set[str]:
        with pytest.raises(Refused) as caught:
            sources_of(of.sensors, of.estimates, pairs)
        return {fault.code for fault in caught.value.faults}

    one, two, three = "boom_length", "stick_length", "idler_length"
    assert codes([(one, two, 0.9), (two, three, 0.9), (one, three, -0.9)]) == {"not-a-correlation"}
    assert codes([(one, two, 1.1)]) == {"not-a-correlation"}
    assert codes([("boom.noise", two, 0.5), ("bom_length", two, 0.5)]) == {
        "not-correlated-so",
        "unknown-parameter",
    }
    assert codes([("pin_slop", one, 0.5)]) == {"not-correlated-so"}


@pytest.mark.parametrize("kind", ["touch", "laser", "turning"])
def test_parts_add_up(kind: str) -> None:
    of = job("crawler-14t with tilting-1800", kind)
    trust, owed = trusted(of)
    whole = number(trust, "centre_elevation_u")
    assert sum(parts_of(trust, owed, of.sources).values()) == pytest.approx(whole**2, rel=1e-12)
    told = [number(trust, f"part_{i}") for i in range(5)]
    assert all(math.isfinite(each) for each in told)
    assert told == sorted(told, reverse=True)
    assert sum(each**2 for each in told) <= whole**2 * (1.0 + 1e-12)


@pytest.mark.parametrize("fall", [(0.0, 0.0), (0.1, 0.02)])
def test_a_sloping_target_alone_makes_cut_differ(fall: tuple[float, float]) -> None:
    of = job("crawler-14t with digging-1500", "touch", dataclasses.replace(Estimates(), benchmark=0.0), fall)
    owed = chained(of.terms, of.observed, {}, of.estimates, of.sensors, of.sources)
    trust = Trust(of.sensors, of.sources, of.estimates, owed, owed, fall=fall)
    assert trust.judge(said_in(program(of.sensors).numbers, readings_of(of.sensors, of.dig)), of.dig.q)
    alike = [trust.numbers[k] == trust.numbers[CUT + k] for k in range(3)]
    assert alike == [not any(fall)] * 3


@pytest.mark.parametrize(
    "pair", ["crawler-14t with tilting-1800", "midi-8t with digging-1500", "compact-1t8 with midi-bucket-700"]
)
def test_a_leaf_tells_the_same_to_the_last_bit(pair: str) -> None:
    of = job(pair, "touch")
    book = Book(setup=1, height=Known(of.height, frozenset({SET})))
    target = Target("t", "slab", (Layer("a", 1.0),), 0.0, 0.03, None)
    owed = [
        chained(terms, of.observed, {}, of.estimates, of.sensors, of.sources) for terms in (of.terms, of.cut)
    ]
    trusts = [Trust(of.sensors, of.sources, of.estimates, *owed) for _ in range(2)]
    aim = Aim(target, Known(100.0, frozenset({BENCHMARK})))
    leaf = Leaf(of.sensors, book, aim, lean=math.acos(of.dig.plumb[2]), trust=trusts[0])
    rng, looked = np.random.default_rng(4), 0
    for _ in range(60):
        try:
            found = pose(of.sensors.assembly, **{
                **random_angles(rng, of.sensors.assembly), "pitch": math.asin(of.dig.plumb[0]), "roll": 0.01,
            })  # fmt: skip
            said = flat(of.sensors, readings_of(of.sensors, found))
        except Refused:
            continue
        if not leaf.read(said):
            continue
        assert trusts[1].judge(said, leaf.q)
        told = leaf.numbers[len(LEAF_NUMBERS) :]
        assert np.array_equal(told, trusts[1].numbers, equal_nan=True)
        assert np.all(np.isfinite(told[: CUT * 2]))
        assert np.array_equal(leaf.choices[len(LEAF_CHOICES) :], trusts[1].choices)
        looked += 1
    assert looked > 5


def test_a_machine_that_says_nothing_is_told_what_was_assumed() -> None:
    sensors = plain_set(Measure.GRAVITY_ANGLE)
    sources = sources_of(sensors, Estimates())
    assert any(text.startswith("pin slop") for text in sources.assumed)
    assert any(text.startswith("lengths of the machine") for text in sources.assumed)
    known = plain_machine(uncertainty=MachineUncertainty(0.003, 0.001, pin_slop=0.0, flex=0.0))
    told = sources_of(SensorSet(assemble(known, plain_bucket()), dict(sensors.sensors)), Estimates())
    assert not any("of the machine" in text or "slop" in text for text in told.assumed)
