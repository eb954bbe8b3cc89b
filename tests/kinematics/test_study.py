"""A study against machines assembled and posed one by one; in parts; what fails is told and takes nothing with it."""

from typing import Any

import numpy as np
import pytest

from kinematics import study_rows
from kinematics.arm import pose
from kinematics.assembly import Assembly, assemble
from kinematics.columns import solve_columns
from kinematics.drives import joint_angle
from kinematics.errors import Refused
from kinematics.fleet import fleet
from kinematics.study import HOWS, STATUS, Metric, Study, study, trait_names
from kinematics.study_design import Design, Levels, Normal, Uniform, designed
from kinematics.study_poses import poses_for
from kinematics.study_rows import Evaluated, evaluate
from tests.amounts import several

from .machines import plain_bucket, plain_machine
from .rebuilt import rebuilt
from .rows import refusal
from .test_assembly_rows import crawler

LOW = Metric("lowest", "centre_height", "least")
# The same formulas in another order of operations: a few last bits of ten metres.
SAME_M = 1e-13


def example(assembly: Assembly, rows: int = 200, **asked: Any) -> Study:
    """Bucket linkage so far off that part of it does not close; poses that not every stroke reaches."""
    at = float(assembly.parameters["idler_length"][0])
    design = designed(
        "latin", {"idler_length": Normal(at, 0.05), "boom_length": Uniform(4.4, 4.8)}, rows=rows, seed=3
    )
    stick = assembly.cylinders["stick"].stroke
    poses = poses_for(
        assembly, {"pitch": 0.01, "roll": -0.02, "tilt": 0.1},
        cylinders={"stick": np.linspace(stick.low, stick.high + 0.05, 9),
                   "bucket": assembly.cylinders["bucket"].stroke.low},
        travel={"boom": np.linspace(0.0, 1.0, 9)},
    )  # fmt: skip
    given = {"outputs": ("centre_height", "left_reach", "bucket_angle"), "traits": trait_names(assembly),
             "metrics": (LOW,)} | asked  # fmt: skip
    return study(assembly, design, poses, **given)


def test_as_machines_one_by_one() -> None:
    base = crawler()
    asked = example(base, several(200))
    found = evaluate(asked, 0, asked.design.rows)
    whole = 0
    for i, (idler, boom) in enumerate(found.parameters):
        try:
            one = rebuilt(rebuilt(base, "boom_length", boom - float(base.parameters["boom_length"][0])), "idler_length",
                          idler - float(base.parameters["idler_length"][0]))  # fmt: skip
        except Refused:
            assert found.variant_status[i] != 0
            assert np.isnan(found.outputs["centre_height"][i]).all()
            continue
        assert found.variant_status[i] == 0
        whole += 1
        for k in range(asked.poses.count):
            try:
                stick = joint_angle(one, "stick", float(asked.poses.cylinders["stick"][k]))
                bucket = joint_angle(one, "bucket", float(asked.poses.cylinders["bucket"][0]))
            except Refused as refused:
                expected = refused.code
                assert STATUS[int(found.status[i, k])] == expected
                assert np.isnan(found.outputs["centre_height"][i, k])
                continue
            span = one.ranges["boom"]
            boom_at = span.low + (span.high - span.low) * float(asked.poses.travel["boom"][k])
            told = pose(one, pitch=0.01, roll=-0.02, boom=boom_at, stick=stick, bucket=bucket, tilt=0.1)
            assert abs(found.outputs["centre_height"][i, k] - told.height("centre")) <= SAME_M
            assert abs(found.outputs["bucket_angle"][i, k] - bucket) <= SAME_M
    assert 0 < whole < asked.design.rows  # some are no machine, and the rest is kept
    assert {STATUS[code] for code in np.unique(found.status[found.variant_status == 0])} == {
        "ok",
        "out-of-stroke",
    }


def _arrays(found: Evaluated) -> dict[str, np.ndarray[Any, Any]]:
    return {**found.outputs, **found.traits, **found.metrics, "status": found.status, "solved": found.solved,
            "parameters": found.parameters}  # fmt: skip


def test_parts_are_the_whole_to_the_bit() -> None:
    asked = example(crawler(), partial=True, metrics=tuple(
        Metric(how, "centre_height", how, low=-1.0, high=1.0, at=2)
        for how in HOWS
    ))  # fmt: skip
    whole = _arrays(evaluate(asked, 0, 200))
    for first, last in ((0, 1), (17, 40), (0, 200), (199, 200)):
        part = _arrays(evaluate(asked, first, last))
        for name, values in part.items():
            assert np.array_equal(values, whole[name][first:last], equal_nan=True), name


def test_stretches_are_the_whole_to_the_bit(monkeypatch: pytest.MonkeyPatch) -> None:
    rows = several(200)
    asked = example(crawler(), rows, metrics=(LOW,))
    whole = _arrays(evaluate(asked, 0, rows))
    for stretch in (1, 40, 9 * (rows - 1)):  # of nine poses a variant
        monkeypatch.setattr(study_rows, "STRETCH", stretch)
        for name, values in _arrays(evaluate(asked, 0, rows)).items():
            assert np.array_equal(values, whole[name], equal_nan=True), (stretch, name)


def test_metrics_are_those_of_their_poses() -> None:
    metrics = tuple(Metric(how, "centre_height", how, low=-1.0, high=1.0, at=2) for how in HOWS)
    found = evaluate(example(crawler(), metrics=metrics, partial=True), 0, 200)
    strict = evaluate(example(crawler(), metrics=metrics), 0, 200)
    heights, ok = found.outputs["centre_height"], found.status == 0
    for i in range(200):
        seen = heights[i, ok[i]]
        wanted = dict.fromkeys(HOWS, np.nan) if not seen.size else {
            "least": seen.min(), "greatest": seen.max(), "mean": seen.mean(), "span": np.ptp(seen),
            "standard": seen.std(),
            "share_within": np.mean((seen >= -1.0) & (seen <= 1.0)), "at": heights[i, 2],
        }  # fmt: skip
        for how in HOWS:
            assert np.array_equal(found.metrics[how][i], wanted[how], equal_nan=True), how
            if (
                how != "at"
            ):  # not all poses of any variant are reached, so none has a metric unless asked for in part
                assert np.isnan(strict.metrics[how][i])


def test_angles_alone_are_as_columns() -> None:
    base = assemble(plain_machine(), plain_bucket())
    length = float(base.parameters["boom_length"][0])
    angles: dict[str, Any] = {
        "pitch": 0.0,
        "roll": 0.0,
        "boom": np.linspace(0.0, 0.5, 50),
        "stick": -1.4,
        "bucket": 0.9,
    }
    poses = poses_for(base, angles)
    design = designed("grid", {"boom_length": Levels((length, length + 0.1))})
    found = evaluate(study(base, design, poses, outputs=["centre_height"]), 0, 2)
    plain = solve_columns(fleet([base]), angles, ["centre_height"])
    assert np.array_equal(found.outputs["centre_height"][0], plain.values["centre_height"], equal_nan=True)
    assert (found.solved == 50).all()


def test_refused_with_every_fault() -> None:
    base = crawler()
    poses = poses_for(
        base, {"pitch": 0.0, "roll": 0.0, "tilt": 0.0}, travel={"boom": 0.5, "stick": 0.5, "bucket": 0.5}
    )
    design: Design = designed(
        "latin", {"boom_lenght": Uniform(1.0, 2.0), "fore_boom_length": Uniform(1.0, 2.0)}, rows=4
    )
    bad = Metric("centre_height", "edge_height", "least"), Metric("last", "centre_reach", "at", at=1)
    refused = refusal(
        lambda: study(base, design, poses, outputs=["centre_height"], traits=["play"], metrics=bad)
    )
    assert [(fault.code, fault.where) for fault in refused.faults] == [
        ("unknown-parameter", "boom_lenght"), ("no-such-parameter", "fore_boom_length"),
        ("unknown-output", "metrics.0.output"), ("unknown-trait", "traits.0"), ("out-of-range", "metrics.1.at"),
        ("name-taken", ""),
    ]  # fmt: skip
    good = designed("latin", {"boom_length": Uniform(4.0, 5.0)}, rows=4)
    assert refusal(lambda: study(base, good, poses)).code == "nothing-asked"


@pytest.mark.parametrize(("angles", "cylinders", "travel", "code", "where"), [
    ({}, {}, {"boom": 1.5}, "out-of-range", "travel.boom.0"),
    ({}, {}, {"fore_boom": 0.5}, "no-such-joint", "travel.fore_boom"),
    ({"boom": 0.1}, {}, {"boom": 0.5}, "joint-given-twice", "travel.boom"),
    ({}, {"boom": 1.5}, {"boom": 0.5}, "joint-given-twice", "cylinders.boom"),
    ({}, {}, {}, "missing-joint", "angles.boom"),
    ({"boom": [0.1, 0.2], "pitch": [0.0] * 3}, {}, {}, "ragged", "angles.boom"),
    ({"boom": float("nan")}, {}, {}, "not-finite", "angles.boom"),
    ({"boom": np.zeros(250_001)}, {}, {}, "too-many-poses", ""),
])  # fmt: skip
def test_poses_refused(angles: Any, cylinders: Any, travel: Any, code: str, where: str) -> None:
    rest = {"pitch": 0.0, "roll": 0.0, "tilt": 0.0, "stick": -1.4, "bucket": 0.9}
    faults = refusal(lambda: poses_for(crawler(), rest | angles, cylinders=cylinders, travel=travel)).faults
    assert (code, where) in [(fault.code, fault.where) for fault in faults], faults
