"""Forces, ratios and envelopes of studies against the functions for one machine, row by row."""

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kinematics import study_rows
from kinematics.arm import pose
from kinematics.assembly import Assembly, assemble
from kinematics.drives import four_bar_from_bucket
from kinematics.envelope import DIMENSIONS, digging_envelope
from kinematics.forces import MODES, stretches, tool_force
from kinematics.hydraulics import BAR, RAMS, Hydraulics, Ram
from kinematics.linkage_course import linkage_course
from kinematics.machine import Range
from kinematics.parameters import NAMES, record
from kinematics.study import STATUS, Metric, Study, study
from kinematics.study_design import Normal, Uniform, Variation, designed
from kinematics.study_envelope import EnvelopeAsked
from kinematics.study_poses import poses_for
from kinematics.study_rows import Evaluated, evaluate
from kinematics.study_tools import LINKAGE, tool_outputs
from kinematics.variant import variant
from machine_profiles import shipped
from tests.amounts import several

from .machines import plain_bucket, plain_machine, seeded
from .rows import refusal
from .test_assembly_rows import crawler

# The same formulas in another order of operations, on numbers of size one after their unit.
SAME = 1e-12
RAM = Ram(0.12, 0.08, 1, 300.0 * BAR, 350.0 * BAR)
ALL = Hydraulics({"boom": RAM, "stick": replace(RAM, bore=0.11), "bucket": replace(RAM, bore=0.1, rod=0.07)})


def records_of(asked: Study) -> Any:
    records = np.repeat(asked.assembly.parameters, asked.design.rows)
    points = asked.design.points(0, asked.design.rows)
    for i, name in enumerate(asked.design.names):
        records[name] = points[:, i]
    return records


def example(assembly: Assembly, seed: int, **asked: Any) -> Study:
    idler, boom, edge = (
        float(assembly.parameters[name][0]) for name in ("idler_length", "boom_length", "centre_x")
    )
    varied: dict[str, Variation] = {
        "idler_length": Normal(idler, 0.03),
        "boom_length": Uniform(boom - 0.1, boom),
        "centre_x": Normal(edge, 0.02),
    }
    design = designed("latin", varied, rows=12, seed=seed)
    shares = np.random.Generator(np.random.PCG64(seed)).uniform(0.0, 1.0, (3, 5))
    still: dict[str, Any] = {name: 0.1 for name in ("tilt", "rotate") if name in assembly.ranges}
    poses = poses_for(assembly, {"pitch": 0.02, "roll": -0.01, **still},
                      travel=dict(zip(("boom", "stick", "bucket"), shares, strict=True)))  # fmt: skip
    return study(assembly, design, poses, **asked)


def as_one_machine(asked: Study, found: Evaluated, i: int, k: int, one: Assembly) -> None:
    """Pose k of variant i against what is told of that one machine."""
    angles = {name: float(found.outputs[f"{name}_angle"][i, k]) for name in ("boom", "stick", "bucket")}
    still = {name: 0.1 for name in ("tilt", "rotate") if name in one.ranges}
    if STATUS[int(found.status[i, k])] != "ok":
        return
    placed = pose(one, pitch=0.02, roll=-0.01, **still, **angles)
    for mode in MODES:
        told = tool_force(placed, ALL, mode)
        assert abs(found.outputs[f"centre_force_by_{mode}"][i, k] / told.force - 1.0) <= SAME
        assert RAMS[int(found.outputs[f"centre_limit_by_{mode}"][i, k])] == told.limited_by
    bar = four_bar_from_bucket(one, angles["bucket"])
    assert abs(found.outputs["bucket_by_idler"][i, k] / bar.ratio - 1.0) <= SAME
    assert abs(found.outputs["transmission_angle"][i, k] - bar.transmission) <= SAME
    by = 1.0 / float(stretches(one, "bucket", np.array([angles["bucket"]]))[0])
    assert abs(found.outputs["bucket_by_cylinder"][i, k] / by - 1.0) <= SAME


OUTPUTS = (
    "centre_height", "boom_angle", "stick_angle", "bucket_angle", *LINKAGE,
    *(f"centre_{kind}_by_{mode}" for kind in ("force", "limit") for mode in MODES),
)  # fmt: skip


@settings(max_examples=several(12), deadline=None)
@given(seed=st.integers(0, 2**32))
def test_every_row_is_that_of_one_machine(seed: int) -> None:
    asked = example(crawler(), seed, outputs=OUTPUTS, hydraulics=ALL)
    found, records = evaluate(asked, 0, 12), records_of(asked)
    checked = 0
    for i in range(12):
        if found.variant_status[i]:
            assert all(np.isnan(found.outputs[name][i]).all() for name in OUTPUTS)
            continue
        one = variant(asked.assembly, records[i : i + 1])
        for k in range(5):
            as_one_machine(asked, found, i, k, one)
            checked += found.status[i, k] == 0
    assert checked > 20


def test_over_the_stroke_as_the_course_has_it() -> None:
    base = crawler()
    stroke = base.cylinders["bucket"].stroke
    course = linkage_course(base, count=11)
    design = designed(
        "latin", {"boom_length": Normal(float(base.parameters["boom_length"][0]), 1e-6)}, rows=1, seed=1
    )
    poses = poses_for(base, {"pitch": 0.0, "roll": 0.0, "tilt": 0.0, "boom": 0.3, "stick": -1.4},
                      cylinders={"bucket": np.linspace(stroke.low, stroke.high, 11)})  # fmt: skip
    found = evaluate(study(base, design, poses, outputs=LINKAGE), 0, 1).outputs
    assert course.by_cylinder is not None
    # From the cylinder to the bucket and back to the idler: a rounding over the sine of the transmission angle.
    for name, values in zip(LINKAGE, (course.by_idler, course.at_link_pin, course.by_cylinder), strict=True):
        assert np.isfinite(found[name]).all()
        assert np.abs(found[name][0] - values).max() <= 1e-10


def test_metrics_and_parts_of_forces(monkeypatch: pytest.MonkeyPatch) -> None:
    weakest = Metric("weakest", "centre_force_by_bucket", "least")
    asked = example(crawler(), 5, outputs=OUTPUTS, metrics=[weakest], hydraulics=ALL)
    whole = evaluate(asked, 0, 12)
    assert np.array_equal(
        whole.metrics["weakest"], whole.outputs["centre_force_by_bucket"].min(axis=1), equal_nan=True
    )
    monkeypatch.setattr(study_rows, "STRETCH", 7)
    part = evaluate(asked, 3, 9)
    for name in OUTPUTS:
        assert np.array_equal(part.outputs[name], whole.outputs[name][3:9], equal_nan=True), name


def test_a_machine_without_them_is_told_why() -> None:
    held = assemble(plain_machine(bucket=Range(-2.0, 1.0)), plain_bucket())
    poses = poses_for(held, {"pitch": 0.0, "roll": 0.0, "boom": 0.3, "stick": -1.4, "bucket": 0.5})
    design = designed(
        "latin", {"boom_length": Normal(float(held.parameters["boom_length"][0]), 0.01)}, rows=2, seed=1
    )
    asked = ["bucket_by_idler", "centre_force_by_bucket", "tooth_left_force_by_stick", "edge_force_by_bucket"]
    refused = refusal(lambda: study(held, design, poses, outputs=asked, hydraulics=ALL))
    codes = [fault.code for fault in refused.faults]
    assert codes[0] == "no-linkage"
    assert codes[1] == "no-cylinder"
    assert codes[3] == "unknown-output"
    base = crawler()
    poses = poses_for(
        base, {"pitch": 0.0, "roll": 0.0, "tilt": 0.0, "boom": 0.3, "stick": -1.4, "bucket": 0.5}
    )
    no_bore = refusal(lambda: study(base, design, poses, outputs=["centre_force_by_bucket"]))
    assert no_bore.code == "no-bore"
    limit = Metric("which", "centre_limit_by_bucket", "least")
    assert (
        refusal(lambda: study(base, design, poses, metrics=[limit], hydraulics=ALL)).code == "unknown-output"
    )
    assert tool_outputs(held, ALL) == ()


@pytest.mark.parametrize("seed", range(20))
def test_a_variant_has_the_numbers_of_its_record(seed: int) -> None:
    base = seeded(seed, linkage=bool(seed % 2), driven=bool(seed % 4 == 1))
    same = variant(base, base.parameters)
    assert same.machine == base.machine
    assert same.attachment == base.attachment
    turned = base.parameters.copy()
    for name in NAMES:
        if (
            not np.isnan(turned[name][0])
            and name not in base.lacks
            and "axis" not in name
            and "mast" not in name
        ):
            turned[name] += 1e-7
    other = variant(base, turned)
    again = record(other.machine, other.attachment)
    for name in NAMES:
        assert np.array_equal(again[name], turned[name], equal_nan=True), name


@settings(max_examples=several(6), deadline=None)
@given(seed=st.integers(0, 2**32))
def test_envelopes_are_those_of_one_machine(seed: int) -> None:
    asked = example(crawler(), seed, traits=DIMENSIONS, envelope=EnvelopeAsked(floor=2.0))
    found, records = evaluate(asked, 0, 4), records_of(asked)
    for i in range(4):
        if found.variant_status[i]:
            assert all(np.isnan(found.traits[name][i]) for name in DIMENSIONS)
            continue
        told = digging_envelope(variant(asked.assembly, records[i : i + 1]), floor=2.0).dimensions
        assert found.trait_status[i] == (0 if len(told) == len(DIMENSIONS) else found.trait_status[i])
        for name in DIMENSIONS:
            assert found.traits[name][i] == (
                told[name].value if name in told else pytest.approx(np.nan, nan_ok=True)
            )


def test_what_an_envelope_lacks_is_counted_not_lost() -> None:
    low = EnvelopeAsked(ground=-30.0)  # nothing reaches it
    found = evaluate(example(crawler(), 3, traits=("reach", "reach_at_ground"), envelope=low), 0, 12)
    whole = found.variant_status == 0
    assert whole.any()
    assert {STATUS[int(code)] for code in found.trait_status[whole]} == {"no-reach-at-ground"}
    assert np.isfinite(found.traits["reach"][whole]).all()
    assert np.isnan(found.traits["reach_at_ground"]).all()
    nobody_knows = replace(crawler().machine, boom_foot_height=None)
    base = assemble(nobody_knows, crawler().attachment)
    assert refusal(lambda: example(base, 1, traits=("digging_depth",))).code == "no-ground"
    none = refusal(lambda: example(crawler(), 1, traits=("reach",), envelope=EnvelopeAsked(floor=0.0)))
    assert (none.code, none.faults[0].where) == ("not-positive", "envelope.floor")


def test_a_shipped_machine_says_its_own_figures() -> None:
    profiles = shipped()
    assert profiles["machine", "crawler-14t"].hydraulics is not None
    assert "centre_force_by_stick" in tool_outputs(crawler(), profiles["machine", "crawler-14t"].hydraulics)
