"""Forces, ratios and envelopes in a study's results, against the functions of one machine: units, words, statuses."""

import math
from pathlib import Path

import numpy as np
import pyarrow.csv as pcsv
import pyarrow.parquet as pq
import pytest

from kinematics.arm import pose
from kinematics.envelope import digging_envelope
from kinematics.errors import Refused
from kinematics.forces import tool_force
from kinematics.hydraulics import RAMS
from kinematics.variant import variant
from service.studies.folder import Folder
from service.studies.results import summary, write_csv
from service.studies.runner import Threads, run

from .making import TEXT, planned

POSES = TEXT[TEXT.index("[poses]") : TEXT.index("[results]")]
FEW = (
    TEXT.replace("rows = 1000", "rows = 10")
    .replace("count = 11", "count = 3")
    .replace("step = 0.25", "step = 0.5")
)
FORCES = FEW.replace('"centre_height", "bucket_angle"', (
    '"boom_angle", "stick_angle", "bucket_angle", "centre_force_by_stick", "centre_limit_by_stick", "bucket_by_idler", '
    '"bucket_by_cylinder"'
))  # fmt: skip
ENVELOPE = FEW.replace('each = "pose"\noutputs = ["centre_height", "bucket_angle"]', """each = "variant"
traits = ["digging_depth", "level_floor_depth", "reach_at_ground", "bucket_travel"]

[envelope]
point = "centre"
floor = 2000""").replace("low = -60\nhigh = 60", "low = -10\nhigh = 10")  # fmt: skip


def test_forces_by_pose(tmp_path: Path) -> None:
    plan = planned(FORCES)
    outcome = run(plan, tmp_path / "study", Threads(2))
    told = summary(plan, Folder(tmp_path / "study"), outcome)
    table = pq.read_table(tmp_path / "study" / "parts" / "part-000000.parquet")
    rows, hydraulics = table.to_pylist(), plan.machine.hydraulics
    assert hydraulics is not None
    seen = 0
    for row in rows:
        if row["status"] != "ok":
            assert row["centre_force_by_stick_kn"] is None
            assert row["centre_limit_by_stick"] is None
            continue
        record = plan.study.assembly.parameters.copy()
        record["idler_length"], record["boom_length"] = (
            row["idler_length_mm"] / 1e3,
            row["boom_length_mm"] / 1e3,
        )
        one = variant(plan.study.assembly, record)
        angles = {name: math.radians(row[f"{name}_angle_deg"]) for name in ("boom", "stick", "bucket")}
        force = tool_force(pose(one, pitch=0.0, roll=0.0, tilt=0.0, **angles), hydraulics, "stick")
        # There and back from millimetres and degrees.
        assert abs(row["centre_force_by_stick_kn"] * 1e3 / force.force - 1.0) <= 1e-10
        assert row["centre_limit_by_stick"] == force.limited_by
        seen += 1
    assert seen > 20
    by_name = {each["column"]: each for each in told["results"]}
    assert sum(by_name["centre_limit_by_stick"]["counts"].values()) == seen
    assert set(by_name["centre_limit_by_stick"]["counts"]) <= set(RAMS)
    assert {"bucket_by_idler", "bucket_by_cylinder_deg_per_mm"} <= set(by_name)
    write_csv(plan, Folder(tmp_path / "study"), outcome, tmp_path / "all.csv")
    text = "".join(
        line for line in (tmp_path / "all.csv").read_text().splitlines(keepends=True) if line[0] != "#"
    )
    (tmp_path / "plain.csv").write_text(text)
    again = pcsv.read_csv(tmp_path / "plain.csv").column("centre_limit_by_stick").to_pylist()
    assert [word or None for word in again] == [row["centre_limit_by_stick"] for row in rows]


def test_envelopes_by_variant(tmp_path: Path) -> None:
    plan = planned(ENVELOPE)
    outcome = run(plan, tmp_path / "study", Threads(2))
    rows = pq.read_table(tmp_path / "study" / "parts" / "part-000000.parquet").to_pylist()
    assert len(rows) == 10
    for row in rows:
        record = plan.study.assembly.parameters.copy()
        record["idler_length"], record["boom_length"] = (
            row["idler_length_mm"] / 1e3,
            row["boom_length_mm"] / 1e3,
        )
        told = digging_envelope(variant(plan.study.assembly, record), point="centre", floor=2.0).dimensions
        for name in ("digging_depth", "level_floor_depth", "reach_at_ground"):
            assert abs(row[f"{name}_mm"] - told[name].value * 1e3) <= 1e-6
    assert outcome.counts("variants") == {"ok": 10}


def test_a_place_an_envelope_does_not_get_to_is_counted(tmp_path: Path) -> None:
    plan = planned(ENVELOPE.replace("floor = 2000", "ground = 30000"))
    outcome = run(plan, tmp_path / "study", Threads(1))
    assert outcome.counts("variants") == {"no-reach-at-ground": 10}
    table = pq.read_table(tmp_path / "study" / "parts" / "part-000000.parquet")
    assert table.column("reach_at_ground_mm").null_count == 10
    assert np.isfinite(table.column("bucket_travel_deg").to_numpy()).all()


@pytest.mark.parametrize(("text", "found"), [
    (ENVELOPE.replace('point = "centre"', 'point = "lip"'), "no-such-point"),
    (ENVELOPE.replace("floor = 2000", "floor = -1"), "not-positive"),
    (TEXT + "\n[envelope]\nfloor = 1000\n", "wrong-form"),
    (FORCES.replace("centre_force_by_stick", "centre_force_by_boom"), "unknown-output"),
])  # fmt: skip
def test_refused_with_its_line(text: str, found: str) -> None:
    with pytest.raises(Refused) as refused:
        planned(text)
    assert found in [fault.code for fault in refused.value.faults]
    assert all(fault.where.startswith("pins.toml:") for fault in refused.value.faults)
