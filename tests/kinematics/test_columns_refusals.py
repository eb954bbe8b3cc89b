"""What the columns refuse: every fault by its code and place, all at once, a hundred at most."""

import math
from concurrent.futures import ThreadPoolExecutor

import numpy as np
import pytest

from kinematics.assembly import assemble
from kinematics.columns import solve_columns
from kinematics.errors import Refused
from kinematics.fleet import Fleet, fleet
from kinematics.given import MOST_FAULTS

from .machines import DIGGING, LEVEL, plain_bucket, plain_machine, seeded, tiltrotator_bucket

STILL = LEVEL | DIGGING
PLAIN = assemble(plain_machine(), plain_bucket())
SOME = ["centre_reach", "left_height", "cross_slope"]


def refusal(machines: Fleet, angles: object, outputs: object = ("centre_height",), **more: object) -> Refused:
    with pytest.raises(Refused) as caught:
        solve_columns(machines, angles, outputs, **more)  # type: ignore[arg-type]
    return caught.value


def test_joints_by_name() -> None:
    machines = fleet([PLAIN])
    missing = refusal(machines, {"pitch": 0.0, "boom": 0.6, "bucket": 1.0})
    assert [(fault.code, fault.where) for fault in missing.faults] == [
        ("missing-joint", "roll"),
        ("missing-joint", "stick"),
    ]
    for name in ("tilt", "rotate", "fore_boom", "swing_boom", "swing", "pitch_cylinder", ""):
        refused = refusal(machines, STILL | {name: 0.0})
        assert [(fault.code, fault.where) for fault in refused.faults] == [("no-such-joint", name)]
    for name in ("pitch", "roll", "tilt", "idler", "arm", "bucket_cylinder"):
        assert refusal(machines, STILL, cylinders={name: 1.0}).code == "no-such-joint"
    turned = fleet([assemble(plain_machine(), tiltrotator_bucket())])
    assert {fault.where for fault in refusal(turned, STILL).faults} == {"tilt", "rotate"}


def test_joint_given_twice() -> None:
    assembly = seeded(1, linkage=True, driven=True)
    columns = {name: np.array([0.5 * (span.low + span.high)]) for name, span in assembly.ranges.items()} | {
        name: np.array([0.0]) for name in LEVEL
    }
    machines = fleet([assembly])
    assert refusal(machines, columns, cylinders={"boom": 1.0}).code == "joint-given-twice"
    assert refusal(machines, columns | {"idler": np.array([0.0])}).code == "joint-given-twice"
    without = {name: column for name, column in columns.items() if name != "bucket"}
    both = refusal(machines, without | {"idler": np.array([0.0]), "power_link": np.array([0.0])})
    assert [fault.code for fault in both.faults] == ["joint-given-twice"]
    assert (
        refusal(machines, without | {"idler": np.array([0.0])}, cylinders={"bucket": 1.0}).code
        == "joint-given-twice"
    )


def test_unmeasured_drives() -> None:
    without = {name: angle for name, angle in STILL.items() if name != "bucket"}
    assert refusal(fleet([PLAIN]), without | {"idler": 0.0}).code == "no-linkage"
    assert refusal(fleet([PLAIN]), without | {"power_link": 0.0}).code == "no-linkage"
    assert refusal(fleet([PLAIN]), without, cylinders={"bucket": 1.0}).code == "no-cylinder"
    unmeasured = refusal(fleet([PLAIN]), {**LEVEL, "bucket": 1.0}, cylinders={"boom": 1.0, "stick": 1.0})
    assert {fault.code for fault in unmeasured.faults} == {"no-cylinder"}


@pytest.mark.parametrize(
    "bad", [True, [True], 1j, [0.6 + 0j], "0.6", ["0.6"], None, [None], [b"0.6"], [object()]]
)
def test_no_numbers(bad: object) -> None:
    refused = refusal(fleet([PLAIN]), {**STILL, "boom": bad})
    assert [(fault.code, fault.where) for fault in refused.faults] == [("not-a-number", "boom")]


@pytest.mark.parametrize("bad", [math.nan, math.inf, -math.inf])
def test_not_finite(bad: float) -> None:
    assert [(f.code, f.where) for f in refusal(fleet([PLAIN]), {**STILL, "boom": bad}).faults] == [
        ("not-finite", "boom")
    ]
    column = np.full(300, 0.6)
    column[[0, 299]] = bad
    refused = refusal(fleet([PLAIN]), {**STILL, "boom": column, "roll": bad})
    assert {(fault.code, fault.where) for fault in refused.faults} == {
        ("not-finite", "boom.0"), ("not-finite", "boom.299"), ("not-finite", "roll"),
    }  # fmt: skip


def test_ragged() -> None:
    for boom in (np.zeros((2, 2)), np.zeros((1, 5)), np.zeros(4), np.zeros(2)):
        refused = refusal(fleet([PLAIN]), {**STILL, "boom": boom, "stick": np.full(5, -1.6)})
        assert [(fault.code, fault.where) for fault in refused.faults] == [("ragged", "boom")]
    for which in ([0], [0, 0], [[0] * 5], 0, [0] * 6):
        assert "ragged" in {
            f.code
            for f in refusal(fleet([PLAIN]), {**STILL, "boom": np.full(5, 0.6)}, machine_of=which).faults
        }


def test_unknown_machine_and_output() -> None:
    refused = refusal(fleet([PLAIN, PLAIN]), STILL, machine_of=[0, 2, -1, 1])
    assert [(fault.code, fault.where) for fault in refused.faults] == [
        ("unknown-machine", "machine_of.1"),
        ("unknown-machine", "machine_of.2"),
    ]
    for which in ([0.0], [True], ["0"], [None], []):
        assert refusal(fleet([PLAIN]), STILL, machine_of=which).code == "not-a-number"
    assert refusal(fleet([PLAIN]), STILL, machine_of=[0, [1]]).code == "ragged"
    for name in ("centre", "height", "Left_height", "centre_z", "boom", ""):
        assert [(f.code, f.where) for f in refusal(fleet([PLAIN]), STILL, ["left_height", name]).faults] == [
            ("unknown-output", "outputs.1")
        ]


def test_all_faults_at_once_and_no_more_than_a_hundred() -> None:
    angles = {
        "roll": math.nan,
        "boom": 1j,
        "stick": np.array([0.0, math.inf]),
        "bucket": np.zeros(3),
        "tilt": 0.0,
    }
    refused = refusal(fleet([PLAIN]), angles, ["nothing", "mast_angle"], machine_of=[0, 0, 5])
    assert {(fault.code, fault.where) for fault in refused.faults} == {
        ("unknown-output", "outputs.0"), ("no-such-point", "outputs.1"), ("missing-joint", "pitch"),
        ("no-such-joint", "tilt"), ("not-finite", "roll"), ("not-a-number", "boom"), ("ragged", "stick"),
        ("unknown-machine", "machine_of.2"),
    }  # fmt: skip
    many = np.full(500, math.nan)
    refused = refusal(fleet([PLAIN]), {**STILL, "boom": many, "stick": many}, machine_of=np.full(500, 9))
    assert len(refused.faults) == MOST_FAULTS == 100
    assert all(fault.found and fault.expected for fault in refused.faults)


def test_a_cylinder_given_by_both_doors_is_given_twice() -> None:
    assembly = seeded(1, linkage=True, driven=True)
    columns = {
        name: 0.5 * (span.low + span.high) for name, span in assembly.ranges.items() if name != "boom"
    } | LEVEL
    length = assembly.cylinders["boom"].stroke.low
    with pytest.raises(Refused):
        solve_columns(
            fleet([assembly]), columns | {"boom_cylinder": length}, SOME, cylinders={"boom": length + 0.05}
        )


def test_lists_of_lists_of_different_lengths_are_ragged() -> None:
    with pytest.raises(Refused):
        solve_columns(fleet([PLAIN]), {**STILL, "boom": [[0.1, 0.2], [0.3]]}, SOME)


@pytest.mark.parametrize("parts", [0, -1])
def test_no_parts_give_no_rows_that_nobody_computed(parts: int) -> None:
    with ThreadPoolExecutor(1) as pool, pytest.raises(Refused):
        solve_columns(fleet([PLAIN]), STILL, SOME, executor=pool, parts=parts)


@pytest.mark.parametrize(
    "factors", [{"left_hieght": 2.0}, {"left_height": math.nan}, {"left_height": math.inf}, {"square": 2.0}]
)
def test_factors_that_scale_nothing_are_refused(factors: dict[str, float]) -> None:
    with pytest.raises(Refused):
        solve_columns(fleet([PLAIN]), STILL, SOME, factors=factors)


@pytest.mark.parametrize("unit", [math.nan, math.inf, 0.0])
def test_units_that_are_none_are_refused(unit: float) -> None:
    with pytest.raises(Refused):
        solve_columns(fleet([PLAIN]), STILL, SOME, angle_unit=unit)
