"""Columns of poses against the one-pose door, row by row; what is refused, what a failed row leaves alone."""

import dataclasses
import math
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import numpy as np
import pytest

from kinematics.arm import pose
from kinematics.assembly import Assembly, assemble
from kinematics.block import BLOCK
from kinematics.chain import EDGE_PLUMB, OUTPUTS, STEEPEST_RAD
from kinematics.columns import STATUS, Columns, solve_columns
from kinematics.fleet import fleet, varied
from kinematics.machine import Axis, Range

from .machines import DIGGING, LEVEL, plain_bucket, plain_machine, seeded
from .rows import SAME_M, Floats, alike, assert_rows, at, columns_of, outputs_of, refusal, row_of

STILL = LEVEL | DIGGING
PLAIN = assemble(plain_machine(), plain_bucket())
SOME = ["centre_reach", "left_height", "cross_slope"]


def same_bits(one: Columns, other: Columns) -> bool:
    return bool(np.array_equal(one.status, other.status)) and all(
        one.values[name].tobytes() == other.values[name].tobytes() for name in one.values
    )


# Equal to the one-pose door ----------------------------------------------------------------------------------------


def test_columns_equal_poses_of_random_machines() -> None:
    """Every output of machines with and without each part; one row in three is one that must fail."""
    codes: set[str] = set()
    for seed in range(40):
        assembly = seeded(seed, linkage=seed % 2 == 0)
        columns = columns_of(np.random.default_rng([60, seed]), assembly, 40, stray=0.4)
        names = outputs_of(assembly)
        codes |= set(
            assert_rows(solve_columns(fleet([assembly]), columns, names), names, at(assembly, columns))
        )
    assert codes == {"ok", "beyond-joint", "too-steep"}


@pytest.mark.parametrize("count", sorted({1, 2, BLOCK - 1, BLOCK, BLOCK + 1, 255, 256, 257, 1000}))
def test_every_length_of_column(count: int) -> None:
    """Blocks full, short by one, over by one: the last row of each is computed, none twice."""
    assembly = seeded(7)
    columns = columns_of(np.random.default_rng([61, count]), assembly, count, stray=0.1)
    names = ["left_height", "right_lateral", "heel_clearance"]
    found = solve_columns(fleet([assembly]), columns, names)
    assert found.status.shape == (count,)
    assert_rows(found, names, at(assembly, columns))


def test_failed_rows_leave_their_neighbours_alone() -> None:
    """Rows that fail, of every kind, change no bit of any other row, at either end and inside of a block."""
    assembly = assemble(
        plain_machine(), plain_bucket(tilt=Axis((0.2, 0.0, -0.3), (1.0, 0.0, 0.0), Range(-2.0, 2.0)))
    )
    count = 3 * BLOCK
    columns = columns_of(np.random.default_rng(62), assembly, count)
    machines, names = fleet([assembly]), outputs_of(assembly)
    clean = solve_columns(machines, columns, names)
    assert clean.ok.all()
    spoilt = {name: column.copy() for name, column in columns.items()}
    lost = [0, 5, BLOCK - 1, BLOCK, 2 * BLOCK - 1, count - 1]
    spoilt["boom"][[0, BLOCK - 1]] = 1e300, -1.7
    spoilt["pitch"][[5, BLOCK]] = 0.8, -1e300
    spoilt["tilt"][[2 * BLOCK - 1, count - 1]] = -2.5, 1e9
    found = solve_columns(machines, spoilt, names)
    kept = np.setdiff1d(np.arange(count), lost)
    assert not found.ok[lost].any()
    assert found.ok[kept].all()
    for name in names:
        assert np.isnan(found.values[name][lost]).all(), name
        assert found.values[name][kept].tobytes() == clean.values[name][kept].tobytes(), name
    assert [STATUS[code] for code in found.status[lost].tolist()] == [
        "beyond-joint", "too-steep", "beyond-joint", "too-steep", "beyond-joint", "beyond-joint",
    ]  # fmt: skip


def test_edge_that_stands_plumb() -> None:
    """Tilted a quarter turn the square edge stands on end: no cross-slope, no row."""
    assembly = assemble(
        plain_machine(), plain_bucket(tilt=Axis((0.2, 0.0, -0.3), (1.0, 0.0, 0.0), Range(-2.0, 2.0)))
    )
    tilt = np.array([0.0, math.pi / 2, 1.5, math.pi / 2 + 1e-7, math.pi / 2 + 1e-5])
    found = solve_columns(fleet([assembly]), STILL | {"tilt": tilt}, SOME)
    codes = assert_rows(found, SOME, lambda i: pose(assembly, **STILL, tilt=float(tilt[i])))
    # 1.4 m of edge leaning 1e-7 rad runs over 0.14 um, less than a micrometre; 1e-5 over 14.
    assert codes == ["ok", "edge-plumb", "ok", "edge-plumb", "ok"]
    assert found.status[1] == EDGE_PLUMB


def test_stops_to_the_last_bit() -> None:
    """Both doors let the end of the slack through and refuse the next double."""
    for seed in range(6):
        assembly = seeded(seed, linkage=seed % 2 == 0)
        middle = {name: 0.5 * (span.low + span.high) for name, span in assembly.ranges.items()}
        ends = {name: (stop.low, stop.high) for name, stop in assembly.stops.items()}
        for name, (low, high) in (
            ends | {"pitch": (-STEEPEST_RAD, STEEPEST_RAD), "roll": (-0.7853981, 0.7853981)}
        ).items():
            tried = np.array([low, math.nextafter(low, -9.0), high, math.nextafter(high, 9.0)])
            columns = {key: np.full(4, value) for key, value in (LEVEL | middle).items()} | {name: tried}
            codes = assert_rows(solve_columns(fleet([assembly]), columns, SOME), SOME, at(assembly, columns))
            assert codes[0] == codes[2] == "ok", name
            if name != "roll":
                assert codes[1] == codes[3] == ("too-steep" if name == "pitch" else "beyond-joint"), name


# Shapes --------------------------------------------------------------------------------------------------------------


def test_one_number_serves_every_pose() -> None:
    boom = np.linspace(-0.5, 1.0, 300)
    full = solve_columns(
        fleet([PLAIN]), {k: np.full(300, v) for k, v in STILL.items()} | {"boom": boom}, SOME
    )
    assert same_bits(solve_columns(fleet([PLAIN]), {**STILL, "boom": boom}, SOME), full)
    # A list of one is a list that is too short, not a number for all.
    lists = {name: np.array([value]) for name, value in STILL.items()}
    assert refusal(lambda: solve_columns(fleet([PLAIN]), {**lists, "boom": boom}, SOME)).code == "ragged"
    one = solve_columns(fleet([PLAIN]), STILL, SOME)
    assert one.status.shape == (1,)
    assert_rows(one, SOME, lambda _: pose(PLAIN, **STILL))


def test_every_machine_takes_every_pose() -> None:
    """Shape (machines, poses): one machine below the other, each pose in its column."""
    machines = [
        assemble(plain_machine(boom_length=5.0 + 0.3 * k), plain_bucket(pin_spacing=0.3 + 0.01 * k))
        for k in range(3)
    ]
    for count in (1, 2, BLOCK + 3):
        columns = columns_of(np.random.default_rng(63), PLAIN, count, stray=0.1)
        found = solve_columns(fleet(machines), columns, SOME)
        assert found.status.shape == (3, count)
        assert all(column.shape == (3, count) for column in found.values.values())
        for k, machine in enumerate(machines):
            row = Columns({name: column[k] for name, column in found.values.items()}, found.status[k])
            assert_rows(row, SOME, at(machine, columns))


def test_machine_of_each_row() -> None:
    """Runs of one, of a block and more, back and forth between machines of different limits."""
    machines = alike(3, linkage=False)
    runs = [0, 1, 2, 1, 0, *[2] * (BLOCK + 5), 0, *[1] * 3, *[0, 2] * 20, *[1] * (2 * BLOCK), 0]
    which = np.array(runs)
    mixed: dict[str, Floats] = {}
    for k, machine in enumerate(machines):
        own = columns_of(np.random.default_rng([64, k]), machine, which.size, stray=0.1)
        mixed = {name: np.where(which == k, own[name], mixed.get(name, 0.0)) for name in own}
    names = ["left_height", "centre_reach", "floor_angle", "square"]
    for kind in (np.int64, np.uint8, np.int16):
        found = solve_columns(fleet(machines), mixed, names, machine_of=which.astype(kind))
        assert found.status.shape == which.shape
        codes = assert_rows(found, names, lambda i: pose(machines[runs[i]], **row_of(mixed, i)))
        assert codes.count("ok") > 0.8 * which.size


def test_machine_of_a_single_pose_and_of_one_number() -> None:
    machines = [PLAIN, assemble(plain_machine(boom_length=4.0), plain_bucket())]
    for which in ([1], [0, 1, 1]):
        found = solve_columns(fleet(machines), STILL, SOME, machine_of=which)
        assert_rows(found, SOME, lambda i, which=which: pose(machines[which[i]], **STILL))  # type: ignore[misc]


def test_columns_without_rows_give_none() -> None:
    found = solve_columns(fleet([PLAIN]), STILL | {"boom": np.array([])}, SOME)
    assert found.status.shape == (0,)
    assert found.values["left_height"].shape == (0,)
    pair = fleet([PLAIN, PLAIN])
    assert solve_columns(pair, STILL | {"boom": []}, SOME).status.shape == (2, 0)
    assert solve_columns(pair, STILL, SOME, machine_of=np.array([], dtype=np.int64)).status.shape == (0,)
    # No row and one row at once is no shape at all.
    both = STILL | {"boom": np.array([]), "stick": np.array([-1.6])}
    assert refusal(lambda: solve_columns(fleet([PLAIN]), both, SOME)).code == "ragged"


def test_no_outputs_still_judge_every_row() -> None:
    found = solve_columns(fleet([PLAIN]), STILL | {"boom": np.array([0.6, 9.0])}, [])
    assert found.values == {}
    assert [STATUS[code] for code in found.status.tolist()] == ["ok", "beyond-joint"]


# Threads, units, kinds of arrays ---------------------------------------------------------------------------------------


@pytest.mark.parametrize("parts", [1, 3, 64])
def test_parts_change_no_bit(parts: int) -> None:
    machines = alike(2, linkage=False)
    for count in (5, 400):
        columns = columns_of(np.random.default_rng(65), machines[0], count, stray=0.2)
        which = np.random.default_rng(66).integers(0, 2, size=count)
        with ThreadPoolExecutor(4) as pool:
            for more in ({}, {"machine_of": which}):
                whole = solve_columns(fleet(machines), columns, SOME, **more)  # type: ignore[arg-type]
                apart = solve_columns(fleet(machines), columns, SOME, executor=pool, parts=parts, **more)  # type: ignore[arg-type]
                assert whole.status.size == count * (1 if more else 2)
                assert same_bits(apart, whole)


def test_units() -> None:
    """Degrees in, millimetres, percent and degrees out."""
    columns = columns_of(np.random.default_rng(67), PLAIN, 50)
    names = ["centre_height", "cross_slope", "floor_angle"]
    plain = solve_columns(fleet([PLAIN]), columns, names)
    factors = {"centre_height": 1e3, "cross_slope": 100.0, "floor_angle": math.degrees(1.0)}
    found = solve_columns(
        fleet([PLAIN]), {name: np.degrees(column) for name, column in columns.items()}, names,
        angle_unit=math.radians(1.0), factors=factors,
    )  # fmt: skip
    assert found.ok.all()
    for name, factor in factors.items():
        # There and back through degrees: an ulp of a rad, some 10 m away.
        assert np.allclose(found.values[name], plain.values[name] * factor, rtol=1e-12, atol=1e-12 * factor)


def test_kinds_of_numbers() -> None:
    """Whole numbers, halves and other byte orders are the numbers they are."""
    whole = assemble(plain_machine(bucket=Range(-2.0, 2.0)), plain_bucket())
    angles: dict[str, Any] = {
        "pitch": 0,
        "roll": np.int8(0),
        "boom": np.array([0, 1], np.int32),
        "stick": [-1, -2],
        "bucket": np.array([1, 0], np.uint16),
    }
    found = solve_columns(fleet([whole]), angles, SOME)
    expected = {name: np.broadcast_to(np.asarray(column, np.float64), 2) for name, column in angles.items()}
    assert assert_rows(found, SOME, at(whole, expected)) == ["ok", "ok"]
    single = {
        name: column.astype(np.float32)
        for name, column in columns_of(np.random.default_rng(68), PLAIN, 20).items()
    }
    widened = {name: column.astype(np.float64) for name, column in single.items()}
    assert same_bits(
        solve_columns(fleet([PLAIN]), single, SOME), solve_columns(fleet([PLAIN]), widened, SOME)
    )
    swapped = {name: column.astype(">f8") for name, column in widened.items()}
    assert same_bits(
        solve_columns(fleet([PLAIN]), swapped, SOME), solve_columns(fleet([PLAIN]), widened, SOME)
    )


def test_strided_and_locked_arrays_and_none_is_changed() -> None:
    columns = columns_of(np.random.default_rng(69), PLAIN, 300, stray=0.1)
    expected = solve_columns(fleet([PLAIN]), columns, SOME)
    table = np.stack([columns[name] for name in columns], axis=1)
    strided = {name: table[:, k] for k, name in enumerate(columns)}
    backwards = {name: column[::-1].copy()[::-1] for name, column in columns.items()}
    before = table.copy()
    assert not strided["boom"].flags.c_contiguous
    assert same_bits(solve_columns(fleet([PLAIN]), strided, SOME), expected)
    assert same_bits(solve_columns(fleet([PLAIN]), backwards, SOME), expected)
    table.flags.writeable = False
    assert same_bits(solve_columns(fleet([PLAIN]), strided, SOME), expected)
    assert np.array_equal(table, before)
    own = {name: column.copy() for name, column in columns.items()}
    found = solve_columns(fleet([PLAIN]), own, SOME, angle_unit=0.5)
    assert all(np.array_equal(own[name], columns[name]) and own[name].flags.writeable for name in own)
    assert not any(
        np.shares_memory(column, given) for column in found.values.values() for given in own.values()
    )


def test_teeth_and_receiver_of_only_some() -> None:
    """An output that one machine of the fleet lacks is refused; the others are right for both."""
    base = (
        dataclasses.replace(seeded(0).machine, receiver=None)
        if seeded(0).machine.receiver
        else seeded(0).machine
    )
    without = assemble(base, dataclasses.replace(seeded(0).attachment, teeth=None))

    def all_parts(each: Assembly) -> bool:
        return (
            sorted(each.ranges) == sorted(without.ranges)
            and each.attachment.teeth is not None
            and each.machine.receiver is not None
        )

    whole = alike(1, linkage=False, least=all_parts)[0]
    both = fleet([whole, without])
    columns = columns_of(np.random.default_rng(70), whole, 30)
    refused = refusal(
        lambda: solve_columns(
            both, columns, ["tooth_left_height", "left_height", "receiver_reach", "mast_angle"]
        )
    )
    assert [(fault.code, fault.where) for fault in refused.faults] == [
        ("no-such-point", "outputs.0"), ("no-such-point", "outputs.2"), ("no-such-point", "outputs.3"),
    ]  # fmt: skip
    names = outputs_of(without)
    found = solve_columns(both, columns, names)
    for k, machine in enumerate((whole, without)):
        row = Columns({name: column[k] for name, column in found.values.items()}, found.status[k])
        assert_rows(row, names, at(machine, columns))


def test_varied_machines_take_the_poses() -> None:
    """A boom 10 mm longer at 30 deg lifts all that hangs on it 5 mm, as the docstring of `varied` says."""
    angles = LEVEL | {"boom": math.radians(30.0), "stick": -1.6, "bucket": 1.0}
    found = solve_columns(varied(PLAIN, {"boom_length": [5.0, 5.01]}), angles, ["left_height"]).values[
        "left_height"
    ]
    assert abs(float(found[1, 0] - found[0, 0]) - 0.005) <= SAME_M


def test_status_words_are_codes_of_the_one_pose_door() -> None:
    assert set(STATUS.values()) == {
        "ok", "no-closure", "dead-centre", "out-of-stroke", "other-branch", "ambiguous", "beyond-joint", "too-steep",
        "edge-plumb",
    }  # fmt: skip
    assert len(set(STATUS.values())) == len(STATUS)
    assert len(OUTPUTS) == len(set(OUTPUTS))
