"""A machine written out once more in numbers of the `uncertainties` package, which carries derivatives of its own: the
same combined standard uncertainty, and the same of each part."""

import dataclasses
import math
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from uncertainties import ufloat, umath

from kinematics.arm import Pose, pose
from kinematics.assembly import assemble
from kinematics.estimates import Estimates
from kinematics.levelbook import curvature_and_refraction_m
from kinematics.levelling import Book, Laser
from kinematics.machine import AttachmentUncertainty, MachineUncertainty, Receiver
from kinematics.observed import Observed, chained
from kinematics.sensing import readings_of
from kinematics.sensing_block import program
from kinematics.sensor import Measure
from kinematics.sensor_set import SensorSet
from kinematics.sources import KINDS, Kind, sources_of
from kinematics.trust import Trust
from kinematics.trust_block import CHOICES, NONE, NUMBERS, TOLD
from kinematics.trust_desk import said_in

from .machines import plain_bucket, plain_machine
from .sensor_sets import sensor

RECEIVER = (1.1, 0.0, 0.35)
MACHINE = plain_machine(
    receiver=Receiver(RECEIVER, (0.0, 0.0, 1.0)),
    uncertainty=MachineUncertainty(0.003, 0.002, {"boom_length": 0.0041}, pin_slop=0.0012, flex=0.0035),
)
BUCKET = plain_bucket(uncertainty=AttachmentUncertainty(0.002, 0.0015, {"centre_x": 0.001}, edge_wear=0.0045))
ASSEMBLY = assemble(MACHINE, BUCKET)
ESTIMATES = Estimates(
    contact=0.0021, benchmark=0.0016, receiver=0.0013, laser_level=6e-5, places_apart=17.0, laser_distance=80.0,
    temperature=12.0, distance=0.04,
)  # fmt: skip
FALL = 0.013  # of the laser
SEEN = {2: ("centre", 1), 4: ("receiver", 1), 6: ("receiver", 2)}
"""Of each entry: which point was measured, in which stand."""
NAMES = ("body", "boom", "stick", "bucket")
# An analytic derivative on either side: rounding of some hundred operations.
RELATIVE = 1e-9


def sensors_by(measures: Measure) -> SensorSet:
    """One of a kind on every joint, the body by gravity; every figure another."""
    known: dict[str, Any] = {}
    for i, name in enumerate(NAMES):
        kind = Measure.PITCH_ROLL if name == "body" else measures
        skew = {} if kind == Measure.ANGLE else {"skew_uncertainty": 0.01}
        known[name] = sensor(
            name, kind, noise=0.0004 + 0.0001 * i, zero_uncertainty=0.0009 + 0.0002 * i, per_kelvin=(3 + i) * 1e-5, **skew
        )  # fmt: skip
    return SensorSet(ASSEMBLY, known)


class Written:
    """The machine in its plane: body level from side to side, so that nothing aside counts. One variable for all that is
    constant, a new one for what comes anew; `kinds` says which part each belongs to."""

    def __init__(self, measures: Measure) -> None:
        self.gravity = measures != Measure.ANGLE
        self.sensors = sensors_by(measures).sensors
        self.kinds: dict[Any, Kind] = {}
        self.zeros: dict[str, Any] = {}
        for name, one in self.sensors.items():
            assert not isinstance(one.zero_uncertainty, tuple)
            self.zeros[name] = self.new(one.zero_uncertainty, Kind.ZEROS)
        u = MACHINE.uncertainty, BUCKET.uncertainty
        assert u[0] is not None
        assert u[1] is not None
        self.length = {
            "boom_foot_x": MACHINE.boom_foot_x, "boom_length": MACHINE.boom_length, "stick_length": MACHINE.stick_length,
            "receiver_x": RECEIVER[0], "receiver_z": RECEIVER[2], "centre_x": -0.2, "centre_z": -1.2,
        }  # fmt: skip
        of = {**u[0].of, **u[1].of}
        for name in self.length:
            every = u[1].lengths if name.startswith("centre") else u[0].lengths
            self.length[name] += self.new(of.get(name, every), Kind.DIMENSIONS)
        self.wear = self.new(u[1].edge_wear, Kind.WEAR)
        self.slop, self.flex = u[0].pin_slop or 0.0, u[0].flex

    def new(self, standard: float | None, kind: Kind) -> Any:
        assert standard is not None
        made = ufloat(0.0, standard)
        self.kinds[made] = kind
        return made

    def drifts(self) -> dict[str, Any]:
        return {
            name: self.new((one.per_kelvin or 0.0) * ESTIMATES.temperature, Kind.TEMPERATURE)
            for name, one in self.sensors.items()
        }

    def height(self, q: dict[str, float], drift: dict[str, Any] | None, *, receiver: bool = False) -> Any:
        """Over the origin, of the edge's centre or of the receiver, with fresh noise and slop."""
        off = {
            name: self.zeros[name] + self.new(one.noise, Kind.NOISE) + (0.0 if drift is None else drift[name])
            for name, one in self.sensors.items()
        }
        nose = q["pitch"] + off["body"]
        ups: list[Any] = []
        up = q["pitch"]
        for name in NAMES[1:]:
            up += q[name]
            before = ups[-1] if ups else nose
            ups.append(up + off[name] if self.gravity else before + q[name] + off[name])
        m = self.length
        z = m["boom_foot_x"] * umath.sin(nose) + m["boom_length"] * umath.sin(ups[0])
        for _ in range(2 if receiver else 3):  # pins, each rectangular over its whole clearance
            z += self.new(self.slop / math.sqrt(12.0), Kind.SLOP)
        if receiver:
            return z + m["receiver_x"] * umath.sin(ups[1]) + m["receiver_z"] * umath.cos(ups[1])
        # The floor of this bucket runs along its x, towards the heel.
        x, up_z = m["centre_x"] + self.wear, m["centre_z"]
        z += m["stick_length"] * umath.sin(ups[1]) + x * umath.sin(ups[2]) + up_z * umath.cos(ups[2])
        return z + self.new(self.flex, Kind.FLEX)

    def parts(self, of: Any) -> dict[Kind, float]:
        """Variance by kind."""
        found = dict.fromkeys(KINDS, 0.0)
        for variable, deviation in of.error_components().items():
            found[self.kinds[variable]] += deviation**2
        return found


def at(boom: float, stick: float, bucket: float) -> dict[str, float]:
    return {"pitch": 0.03, "boom": boom, "stick": stick, "bucket": bucket}


def solved(q: dict[str, float]) -> Pose:
    return pose(ASSEMBLY, roll=0.0, **q)


TOUCH, DIG = at(0.55, -1.5, 0.9), at(0.2, -1.2, 1.1)
UP, DOWN = at(0.9, -1.1, 0.4), at(0.88, -1.12, 0.4)
LATER = [at(0.8, -1.9, 0.7), at(0.81, -1.88, 0.7)]


def touched(written: Written) -> tuple[Book, dict[int, list[dict[str, float]]], Any, Any]:
    """Benchmark 1, touch 2: (book, poses by entry, elevation, cut) of a dig against a target hung on the benchmark."""
    book = Book().declared(1, "slab", 100.0).placed()
    book, _ = book.touched(2, "slab", solved(TOUCH).height("centre"), check=False)
    benchmark = written.new(ESTIMATES.benchmark, Kind.BENCHMARK)
    touch = written.height(TOUCH, None) + written.new(ESTIMATES.contact, Kind.CONTACT)
    dig = written.height(DIG, written.drifts())
    return book, {2: [TOUCH]}, benchmark - touch + dig, dig - touch


def carried(written: Written) -> tuple[Book, dict[int, list[dict[str, float]]], Any, Any]:
    """The same with strikes 4 and 6, up and down, before and after a move, on a plane with a fall."""
    book, seen, _, _ = touched(written)

    def mean(poses: list[dict[str, float]]) -> float:
        return sum(solved(q).height("receiver") for q in poses) / len(poses)

    book, _ = book.laser_set_up(Laser(10.0, FALL)).struck_by_laser(4, mean([UP, DOWN]), None)
    book, _ = book.moved().struck_by_laser(6, mean(LATER), 11.0)
    there = written.drifts()

    def struck(poses: list[dict[str, float]], drift: Any) -> Any:
        met = [
            written.height(q, drift, receiver=True) + written.new(ESTIMATES.receiver, Kind.RECEIVER)
            for q in poses
        ]
        return sum(met) / len(met)

    benchmark = written.new(ESTIMATES.benchmark, Kind.BENCHMARK)
    touch = written.height(TOUCH, None) + written.new(ESTIMATES.contact, Kind.CONTACT)
    far = curvature_and_refraction_m(ESTIMATES.laser_distance)
    assert far == pytest.approx(
        0.0675 * (ESTIMATES.laser_distance / 1000.0) ** 2, rel=1e-3
    )  # check_values 4.3
    plane = struck([UP, DOWN], None) - struck(LATER, there)
    plane += written.new(ESTIMATES.laser_level * ESTIMATES.places_apart, Kind.LEVEL)
    plane += written.new(far / math.sqrt(3.0), Kind.CURVATURE)
    plane += FALL * written.new(ESTIMATES.distance, Kind.DISTANCE)
    dig = written.height(DIG, written.drifts())
    return book, seen | {4: [UP, DOWN], 6: LATER}, benchmark - touch + plane + dig, plane + dig - touch


@pytest.mark.parametrize("measures", [Measure.ANGLE, Measure.GRAVITY_ANGLE, Measure.PITCH_ROLL])
@pytest.mark.parametrize("chain", [touched, carried])
def test_the_same_uncertainty_and_the_same_parts(measures: Measure, chain: Callable[..., Any]) -> None:
    written, sensors = Written(measures), sensors_by(measures)
    sources = sources_of(sensors, ESTIMATES)
    assert not sources.assumed
    book, poses, elevation, cut = chain(written)
    observed = {
        seq: Observed(sensors, sources, [solved(q) for q in each], *SEEN[seq])
        for seq, each in poses.items()
    }  # fmt: skip
    assert book.height is not None
    terms = book.height.terms
    against = {key: value for key, value in terms.items() if key[0] != 1}
    owed = [chained(each, observed, {}, ESTIMATES, sensors, sources) for each in (terms, against)]
    trust = Trust(sensors, sources, ESTIMATES, *owed)
    dig = solved(DIG)
    assert trust.judge(said_in(program(sensors).numbers, readings_of(sensors, dig)), dig.q)
    for name, told in (("centre_elevation_u", elevation), ("centre_cut_u", cut)):
        assert trust.numbers[NUMBERS.index(name)] == pytest.approx(told.std_dev, rel=RELATIVE)
    parts = written.parts(cut)
    # Of a PITCH_ROLL the plane's own machine has one number and one case more, which here move nothing.
    for row, owes, told in ((1, owed[0], written.parts(elevation)), (1, owed[1], parts)):
        shares = ((trust.rows()[row] + owes.edge + owes.strikes) * sources.standard) ** 2
        ours = np.bincount(sources.kinds, shares, len(KINDS)) + owes.rest
        assert ours.tolist() == pytest.approx([told[kind] for kind in KINDS], rel=RELATIVE, abs=1e-18)
    largest = sorted(
        (kind for kind in KINDS if parts[kind] >= 0.01 * sum(parts.values())), key=lambda k: -parts[k]
    )[:TOLD]
    for i in range(TOLD):
        choice = int(trust.choices[CHOICES.index(f"part_{i}")])
        if i >= len(largest):
            assert choice == NONE
            continue
        assert KINDS[choice] == largest[i]
        part = trust.numbers[NUMBERS.index(f"part_{i}")]
        assert part == pytest.approx(math.sqrt(parts[largest[i]]), rel=RELATIVE)


def test_a_plain_bucket_lies_as_the_referee_takes_it() -> None:
    assert ASSEMBLY.attachment.edge[1] == (-0.2, 0.0, -1.2)
    assert [end[2] for end in ASSEMBLY.attachment.heel] == [-1.2, -1.2]
    flat = solved(at(0.4, -1.3, 0.8))
    written = Written(Measure.ANGLE)
    assert flat.height("centre") == pytest.approx(
        written.height(at(0.4, -1.3, 0.8), None).nominal_value, abs=1e-12
    )
    receiver = written.height(at(0.4, -1.3, 0.8), None, receiver=True)
    assert flat.height("receiver") == pytest.approx(receiver.nominal_value, abs=1e-12)
    assert dataclasses.replace(MACHINE, uncertainty=None) == plain_machine(receiver=MACHINE.receiver)
