"""A leaf against `angles_from`, `pose`, `readout` and `coupler_play` together: the same numbers, or it says False."""

import copy
import math
import pickle
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from kinematics.arm import Pose, pose
from kinematics.assembly import JOINTS, assemble
from kinematics.corrections import ADVISED, Correction, TiltCorrection
from kinematics.errors import Refused
from kinematics.grade import Layer, Target
from kinematics.leaf import Leaf
from kinematics.leaf_block import CHOICES, NOTHING, NUMBERS, WORDS
from kinematics.levelling import Book, Laser
from kinematics.machine import Offset
from kinematics.parameters import EDGE_POINTS
from kinematics.readout import LINES, Advised, Aim, Readout, readout
from kinematics.sensing import angles_from, readings_of
from kinematics.sensitivity import coupler_play
from kinematics.sensor import Measure
from kinematics.sensor_set import SensorSet
from tests.amounts import several

from .machines import plain_bucket, plain_machine, random_angles, seeded
from .plainly import in_plain_python
from .sensor_sets import random_set, sensor, slowest
from .test_sensing_block import SENSED, by_name, flat, unchecked

SAME = 1e-9  # m, rad, ratio: rounding of angles from steep arcsines, over some twenty metres
# Inclinometers nearer to the vertical than this turn rounding into more.
LEAST_RISE = 0.1
LEAST = math.radians(0.005), 0.0005, 0.0005
# An edge on end has a cross-slope of any size.
STEEPEST_EDGE = 10.0

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Case:
    """What a leaf is made of."""

    sensors: SensorSet
    book: Book
    aim: Aim | None
    line: str
    lean: float | None
    point: str = "centre"

    def leaf(self) -> Leaf:
        return Leaf(
            self.sensors, self.book, self.aim, line=self.line, point=self.point, lean=self.lean, least=LEAST
        )


def book_at(elevation: float, *, struck: float | None = None) -> Book:
    """The body origin at this elevation, and a level laser plane struck where asked."""
    book = Book().placed().declared(1, "slab", 100.0).laser_set_up(Laser(10.0, 0.0))
    book, _ = book.touched(2, "slab", 100.0 - elevation, check=False)
    return book if struck is None else book.struck_by_laser(3, struck, None)[0]


def random_case(rng: np.random.Generator, sensors: SensorSet, there: Pose) -> Case:
    """The lowest point somewhere about the target; with and without target, limit, laser, lean and teeth."""
    toothed = sensors.assembly.attachment.teeth is not None
    book = book_at(103.0, struck=float(rng.uniform(-1.0, 2.0)) if rng.random() < 0.5 else None)
    depth = 100.0 - (103.0 + there.lowest()[1]) + rng.uniform(-0.1, 1.0)
    limit = depth + rng.uniform(0.0, 3.0) if rng.random() < 0.5 else None
    target = Target("pit", "slab", (Layer("all", depth),), 0.0, rng.uniform(0.01, 0.1), limit)
    return Case(
        sensors, book, Aim(target, book.points["slab"]) if rng.random() < 0.85 else None,
        "teeth" if toothed and rng.random() < 0.5 else "edge",
        math.acos(there.plumb[2]) + rng.uniform(-0.006, 0.006) if rng.random() < 0.5 else None,
        str(rng.choice(EDGE_POINTS)),
    )  # fmt: skip


def slowly(case: Case, readings: Any) -> tuple[Pose, Readout] | None:
    """What the slow path tells, None where it refuses, warns, has a reason or a correction past the limit."""
    try:
        found = pose(case.sensors.assembly, **angles_from(unchecked(case.sensors), readings))
        told = readout(found, case.book, case.aim, line=case.line, point=case.point, lean=case.lean)
    except Refused:
        return None
    advised = (*told.corrections, *(() if told.tilt is None else (told.tilt,)))
    past = any(fault.code == "below-floor-limit" for each in advised for fault in each.then)
    return None if told.warnings or told.why_not or past else (found, told)


def wanted_numbers(case: Case, found: Pose, told: Readout) -> dict[str, float]:
    """`NUMBERS` by name from the slow path, those that are known."""
    play = case.sensors.assembly.attachment.coupler_play
    some: dict[str, float | None] = {
        "lowest_elevation": told.lowest[1], "heel_clearance": found.heel_clearance, "cross_slope": found.cross_slope,
        "target_cross_slope": told.target_cross_slope, "floor_angle": found.floor_angle, "reach": found.reach,
        "lateral": found.lateral,
    }  # fmt: skip
    for name, on_line in zip(EDGE_POINTS, LINES[case.line], strict=True):
        at = told.points[name]
        some |= {
            f"{name}_elevation": at.elevation, f"{name}_below_plane": at.below_plane, f"{name}_target": at.target,
            f"{name}_above_target": None if at.cut_fill is None else at.cut_fill.value_m,
            f"{name}_play": None if play is None else coupler_play(found, on_line),
        }  # fmt: skip
    for joint in told.corrections:
        some |= {
            f"{joint.move.joint}_{name}": value
            for name, value in (
                ("move", joint.move.move_rad), ("angle", joint.move.angle), ("cylinder", joint.move.cylinder_move_m),
                ("off_by", joint.move.off_by_m), ("reach", joint.move.reach), ("below", joint.below_target),
            )
        }  # fmt: skip
    if told.tilt is not None:
        tilt = told.tilt.move
        some |= {
            "tilt_move": tilt.move_rad, "tilt_angle": tilt.angle, "tilt_cross_slope": tilt.cross_slope,
            "tilt_off_by": tilt.off_by, "tilt_below": told.tilt.below_target,
        }  # fmt: skip
    return {name: value for name, value in some.items() if value is not None}


def same_sides(bits: int, move: Correction | TiltCorrection) -> None:
    """But for what is zero, or the least, to a rounding."""
    told: list[tuple[float | None, float]] = [(move.move_rad, LEAST[0])]
    if isinstance(move, Correction):
        told += [(move.cylinder_move_m, LEAST[2]), (move.off_by_m, LEAST[1])]
    assert 0 <= bits < 4 ** len(told)
    for place, (value, least) in enumerate(told):
        own = bits >> 2 * place & 3
        if value is None:
            assert own == 0
        elif abs(value) > SAME and abs(abs(value) - least) > SAME:
            assert own == (value > 0.0) + 2 * (abs(value) < least)


def same_choices(case: Case, leaf: Leaf, found: Pose, told: Readout) -> None:
    """Every choice as the slow path has it; of parts that stand alike to a rounding either."""
    choices: dict[str, int] = dict(zip(CHOICES, leaf.choices.tolist(), strict=True))
    heights = dict(zip((f"edge_{i}" for i in range(99)), found.edge_line()[:, 2].tolist(), strict=False))
    name = leaf.parts[choices.pop("lowest_point")]
    lowest = heights[name] if name in heights else found.height(name)
    assert abs(lowest - found.lowest()[1]) <= SAME
    assert choices.pop("below_limit") == told.below_floor_limit
    assert choices.pop("past_square") == found.past_square
    for each in EDGE_POINTS:
        cut = told.points[each].cut_fill
        assert choices.pop(f"{each}_word") == (NOTHING if cut is None else WORDS.index(cut.word))
        assert choices.pop(f"{each}_below_limit") == (NOTHING if cut is None else cut.below_floor_limit)
    moves: list[tuple[str, Advised[Correction] | Advised[TiltCorrection]]]
    moves = [(each.move.joint, each) for each in told.corrections]
    moves += [] if told.tilt is None else [("tilt", told.tilt)]
    for joint, advised in moves:
        then = advised.move.places
        deep = then[leaf.parts[choices.pop(f"{joint}_lowest")]]
        assert abs(deep[2] - then[advised.deepest][2]) <= SAME
        assert choices.pop(f"{joint}_reaches") == advised.move.reaches
        codes = [fault.code for fault in advised.then]
        assert choices.pop(f"{joint}_past_target") == ("past-target" in codes)
        assert choices.pop(f"{joint}_past_limit") == ("below-floor-limit" in codes)
        same_sides(choices.pop(f"{joint}_sides"), advised.move)
    assert set(choices.values()) <= {NOTHING}


def agrees(case: Case, said: Floats) -> bool:
    """True where both tell the numbers, which are the same; False where the leaf says False, and ought to."""
    leaf = case.leaf()
    assert leaf.plain
    slow = slowly(case, by_name(case.sensors, said))
    assert leaf.read(said) == (slow is not None)
    if slow is None:
        assert np.all(np.isnan(leaf.numbers))
        assert np.all(leaf.choices == NOTHING)
        return False
    found, told = slow
    angles = {"pitch": float(leaf.q[0]), "roll": float(leaf.q[1])} | dict(
        zip(JOINTS, leaf.q[2:].tolist(), strict=True)
    )
    if slowest(case.sensors, angles) < LEAST_RISE or abs(found.cross_slope) > STEEPEST_EDGE:
        return True
    assert np.max(np.abs(leaf.q - found.q)) <= SAME
    wanted = wanted_numbers(case, found, told)
    for name, value in zip(NUMBERS, leaf.numbers.tolist(), strict=True):
        if name in wanted:
            assert math.isfinite(value), name
            assert abs(value - wanted.pop(name)) <= SAME, name
        else:
            assert math.isnan(value), name
    assert wanted == {}
    same_choices(case, leaf, found, told)
    return True


def some_case(seed: int, machine: int, *, linkage: bool, driven: bool) -> tuple[Case, Floats]:
    rng = np.random.default_rng([81, seed])
    assembly = seeded(machine, linkage=linkage, driven=driven)
    angles = random_angles(rng, assembly)
    sensors = random_set(rng, assembly, angles)
    there = pose(assembly, **angles)
    return random_case(rng, sensors, there), flat(sensors, readings_of(sensors, there))


@settings(max_examples=several(400), deadline=None)
@given(machine=st.integers(0, 39), linkage=st.booleans(), driven=st.booleans(), seed=st.integers(0, 2**31))
def test_any_machine(machine: int, linkage: bool, driven: bool, seed: int) -> None:
    case, said = some_case(seed, machine, linkage=linkage, driven=driven)
    agrees(case, said)
    agrees(case, said + np.random.default_rng(seed).normal(0.0, 0.01, len(said)))


@settings(max_examples=several(200), deadline=None)
@given(pair=st.sampled_from(sorted(SENSED)), seed=st.integers(0, 2**31))
def test_shipped_pairs(pair: str, seed: int) -> None:
    rng = np.random.default_rng([82, seed])
    there = pose(SENSED[pair].assembly, **random_angles(rng, SENSED[pair].assembly))
    agrees(random_case(rng, SENSED[pair], there), flat(SENSED[pair], readings_of(SENSED[pair], there)))


def test_it_is_not_all_left_to_the_slow_path() -> None:
    """Every shipped set, a digging posture, the edge over the target: one call tells it all."""
    told: Counter[str] = Counter()
    for pair, sensors in SENSED.items():
        for seed in range(20):
            rng = np.random.default_rng([83, seed])
            there = pose(sensors.assembly, **random_angles(rng, sensors.assembly))
            if there.heel_clearance < 0.0 or there.past_square:
                continue
            case = replace(random_case(rng, sensors, there), lean=None)
            told[pair] += agrees(case, flat(sensors, readings_of(sensors, there)))
    assert set(told) == set(SENSED)
    assert min(told.values()) >= 1
    assert sum(told.values()) >= 5 * len(SENSED)


# --- by hand ---

RIG = assemble(plain_machine(), plain_bucket())
ENCODERS = {joint: sensor(joint, Measure.ANGLE) for joint in RIG.ranges} | {
    "body": sensor("body", Measure.PITCH_ROLL)
}
DIGGING = {"body": (0.0, 0.0), "boom": 0.6, "stick": -1.6, "bucket": 1.05}
POSED = pose(RIG, pitch=0.0, roll=0.0, boom=0.6, stick=-1.6, bucket=1.05)


def over_target(over: float, limit: float | None = None, **changes: Any) -> Case:
    """The edge this far over a target 1.42 below the slab."""
    book = book_at(98.58 + over - POSED.height("centre"))
    target = Target("pit", "slab", (Layer("all", 1.42),), 0.0, 0.03, limit)
    parts: dict[str, Any] = {
        "sensors": SensorSet(RIG, ENCODERS), "book": book, "aim": Aim(target, book.points["slab"]), "line": "edge",
        "lean": None,
    }  # fmt: skip
    return Case(**(parts | changes))


def test_a_cut_by_hand() -> None:
    case = over_target(0.1)
    leaf, said = case.leaf(), flat(case.sensors, DIGGING)
    assert leaf.said_by == tuple(name for name in ENCODERS for _ in range(2 if name == "body" else 1))
    assert leaf.read(said)
    numbers, choices = (
        dict(zip(NUMBERS, leaf.numbers, strict=True)),
        dict(zip(CHOICES, leaf.choices, strict=True)),
    )
    assert abs(numbers["centre_above_target"] - 0.1) <= SAME
    assert abs(numbers["centre_elevation"] - 98.68) <= SAME
    assert choices["centre_word"] == WORDS.index("cut")
    assert choices["boom_reaches"] == 1
    assert abs(numbers["boom_off_by"]) <= SAME
    assert numbers["boom_move"] < 0.0
    assert agrees(case, said)


@pytest.mark.parametrize(
    ("case", "said"),
    [
        (over_target(0.1), DIGGING | {"boom": math.nan}),
        (over_target(0.1), DIGGING | {"boom": 1.2}),
        (over_target(0.1), DIGGING | {"bucket": 0.9}),  # heel rubs
        (over_target(0.1, limit=1.43), DIGGING | {"boom": 0.55}),  # below the floor limit
        (over_target(0.1, lean=0.01), DIGGING),  # it leans otherwise than when its height was set
    ],
)  # fmt: skip
def test_what_is_left_to_the_slow_path(case: Case, said: dict[str, Any]) -> None:
    leaf = case.leaf()
    assert leaf.plain
    assert not leaf.read(flat(case.sensors, said))
    assert np.all(np.isnan(leaf.numbers))


def test_a_correction_past_the_floor_limit_is_left_to_the_slow_path() -> None:
    """A limit 10 mm under the target; with the body 2 deg over a corner stands 24 mm under the centre."""
    leaning = DIGGING | {"body": (0.0, math.radians(2.0))}
    for limit, sound in ((1.43, False), (5.0, True)):
        case = over_target(0.2, limit)
        assert agrees(case, flat(case.sensors, leaning)) == sound


def test_sets_and_aims_that_are_not_covered() -> None:
    case = over_target(0.1)
    assert case.aim is not None
    sloping = Aim(replace(case.aim.target, along_percent=2.0), case.aim.benchmark)
    fall = replace(book_at(100.0, struck=1.0), laser=Laser(10.0, 0.01))
    said = flat(case.sensors, DIGGING)
    for other in (
        replace(case, aim=sloping), replace(case, line="teeth"), replace(case, line="heel"),
        replace(case, book=case.book.moved()), replace(case, book=fall), replace(case, lean=math.nan),
    ):  # fmt: skip
        leaf = other.leaf()
        assert not leaf.plain
        assert not leaf.read(said)
        assert np.all(np.isnan(leaf.numbers))


@pytest.mark.parametrize("copied", [copy.copy, copy.deepcopy, pickle.dumps])
def test_it_is_not_copied(copied: Callable[[Leaf], object]) -> None:
    with pytest.raises(TypeError, match="make another"):
        copied(over_target(0.1).leaf())


def test_a_row_of_another_shape() -> None:
    for said in (np.zeros(4), np.zeros(1), np.zeros((1, 5))):
        with pytest.raises(ValueError, match="boom"):
            over_target(0.1).leaf().read(said)


def test_play_of_a_coupler() -> None:
    """0.01 rad of play; what it makes at the edge is a lever's sine of half of it, to first order."""
    tool = plain_bucket(coupler=Offset(0.2, -0.1, 0.3), coupler_play=0.01)
    assembly = assemble(plain_machine(), tool)
    case = over_target(0.5, sensors=SensorSet(assembly, ENCODERS), aim=None)
    for bucket in (0.8, 0.9, 1.0):
        said = flat(case.sensors, DIGGING | {"body": (0.03, 0.05), "bucket": bucket})
        assert agrees(case, said)
        leaf = case.leaf()
        leaf.read(said)
        assert leaf.numbers[NUMBERS.index("left_play")] > 1e-4


def test_one_read_leaves_nothing_to_the_next() -> None:
    case = over_target(0.1)
    leaf, said = case.leaf(), flat(case.sensors, DIGGING)
    assert leaf.read(said)
    first = leaf.numbers.copy(), leaf.choices.copy(), leaf.q.copy()
    assert not leaf.read(flat(case.sensors, DIGGING | {"boom": math.nan}))
    assert leaf.read(said)
    for then, now in zip(first, (leaf.numbers, leaf.choices, leaf.q), strict=True):
        assert np.array_equal(then, now, equal_nan=True)


def sample() -> list[list[float | None]]:
    """Numbers and choices of a few leaves; None for NaN, which JSON does not know."""
    found: list[list[float | None]] = []
    for seed in range(25):
        case, said = some_case(seed, seed % 20, linkage=seed % 2 == 0, driven=seed % 3 == 0)
        leaf = case.leaf()
        read = leaf.read(said)
        # The sign of what is zero to a rounding is anybody's.
        choices = [
            each & 0b101010 if name.endswith("_sides") else each
            for name, each in zip(CHOICES, leaf.choices.tolist(), strict=True)
        ]
        told: list[float] = [float(read), *leaf.numbers.tolist(), *choices]
        found.append([None if math.isnan(value) else value for value in told])
    return found


def test_the_same_without_the_compiler() -> None:
    ours = sample()
    assert sum(each[0] == 1.0 for each in ours) >= 3
    for one, other in zip(ours, in_plain_python("test_leaf", "sample"), strict=True):
        assert [value is None for value in one] == [value is None for value in other]
        for mine, plain in zip(one, other, strict=True):
            assert mine is None or abs(mine - plain) <= SAME
    assert ADVISED[-1] == "tilt"
