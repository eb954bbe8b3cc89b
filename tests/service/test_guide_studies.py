"""The guide on studies: its files run as they stand, its figures are right, its names are there."""

import json
import re
import subprocess
from importlib.resources import files
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner

from kinematics.study import HOWS
from kinematics.study_design import KINDS
from service.api.studies import StudyOut
from service.cli import app
from service.prompt import find
from service.studies.study_file import read_study
from service.studies.synthesis_file import GoalTable
from service.studies.tables import Column, Metric, Poses, Results, Vary
from tests.need import need_program
from tests.service.running import service

GUIDE = files("service").joinpath("guide", "studies.md").read_text(encoding="utf-8")
TOML = dict(re.findall(r"^```toml (\w+)\n(.*?)^```$", GUIDE, flags=re.DOTALL | re.MULTILINE))
COMMANDS = re.findall(r"^```sh (\w+)\n(.*?)^```$", GUIDE, flags=re.DOTALL | re.MULTILINE)


def run(command: str) -> dict[str, Any]:
    done = CliRunner().invoke(app, [*command.split()[1:], "--json"])
    assert done.exit_code == 0, done.output
    told: dict[str, Any] = json.loads(done.stdout)
    return told


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv("TIPDATUM_DASK", raising=False)
    for name in ("pins", "turn"):
        (tmp_path / f"{name}.toml").write_text(TOML[name])
    return tmp_path


def test_the_commands(folder: Path) -> None:
    pins, turn = (run(text) for kind, text in COMMANDS if kind == "prompt")
    [indices] = pins["sobol_indices"]
    total = {each["parameter"]: each["total"] for each in indices["parameters"]}
    for name, percent in (("power_link_length", 42), ("idler_pivot_x", 42), ("pin_spacing", 10)):
        assert 100.0 * total[name] == pytest.approx(percent, abs=1.5)
    assert sorted(total, key=lambda name: -total[name])[2] == "pin_spacing"
    [edge] = pins["results"]
    most = max(edge["greatest"] - edge["mean"], edge["mean"] - edge["least"])
    assert 12.0 <= most <= 13.5
    assert (folder / "pins.csv").is_file()
    found = turn["candidates"]
    assert isinstance(found, list)
    assert len(found) == 8
    assert min(each["least_transmission_deg"] for each in found) >= 30.0 - 1e-9
    assert found[0]["rotation_deg"] == pytest.approx(170.0, abs=0.01)
    assert (folder / "turn" / "candidates.csv").is_file()


def test_poses_over_the_envelope() -> None:
    start, end = TOML["pins"].index("# At the foot"), TOML["pins"].index("[results]")
    plan = read_study(TOML["pins"][:start] + TOML["envelope"] + TOML["pins"][end:], "pins.toml", find)
    assert plan.study.poses.count == 1024


def test_the_request(folder: Path) -> None:
    need_program("curl")
    bash = need_program("bash")
    [asking] = [text for kind, text in COMMANDS if kind == "service"]
    with service(folder / "data") as address:
        script = asking.replace("localhost:8311", address)
        done = subprocess.run(
            [bash, "-euo", "pipefail", "-c", script], capture_output=True, text=True, timeout=120, check=True, cwd=folder
        )  # fmt: skip
    assert StudyOut.model_validate_json(done.stdout).parts >= 1


def test_it_names_what_is_there() -> None:
    for kind in KINDS:
        assert f"| `{kind}` |" in GUIDE
    for how in HOWS:
        assert f"`{how}`" in GUIDE
    tables = (Vary, Column, Poses, Results, Metric, GoalTable)
    fields = {name for table in tables for name in table.model_fields}
    for name in ("low", "high", "standard", "mean", "values", "count", "step", "from_measured", "combine", "partial",
                 "parameters", "traits", "outputs", "pose", "radius", "levers", "wanted"):  # fmt: skip
        assert name in fields
        assert re.search(rf"`[^`]*\b{name}\b[^`]*`", GUIDE), name
    assert "(/guide/cautions)" in GUIDE
