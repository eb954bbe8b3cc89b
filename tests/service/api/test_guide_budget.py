"""The guide on error budgets: its commands run as they stand, its names are there, its one figure is right."""

import json
import re
import subprocess
from importlib.resources import files
from pathlib import Path

import pytest
from typer.testing import CliRunner

from kinematics.propagation import coverage
from service.api.budget_answer import BudgetOut, ToleranceOut
from service.api.budget_request import BudgetIn
from service.cli import app
from tests.need import need_program
from tests.service.running import service

GUIDE = files("service").joinpath("guide", "budget.md").read_text(encoding="utf-8")
BLOCKS = re.findall(r"^```sh\n(.*?)^```$", GUIDE, flags=re.DOTALL | re.MULTILINE)


def test_the_requests(tmp_path: Path) -> None:
    bash = need_program("bash")
    need_program("curl")
    asking = [block for block in BLOCKS if block.startswith("curl")]
    assert len(asking) == 2
    with service(tmp_path / "data") as address:
        done = [
            subprocess.run(
                [bash, "-euo", "pipefail", "-c", script.replace("localhost:8311", address)], capture_output=True,
                text=True, timeout=120, check=True, cwd=tmp_path,
            )
            for script in asking
        ]  # fmt: skip
    found = BudgetOut.model_validate_json(done[0].stdout)
    assert found.cells > 100
    assert found.tolerance is not None
    assert "<svg" in (tmp_path / "zone.svg").read_text(encoding="utf-8")


def test_the_command(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    [command] = [block for block in BLOCKS if block.startswith("tipdatum")]
    monkeypatch.chdir(tmp_path)
    done = CliRunner().invoke(app, [*command.replace("\\\n", " ").split()[1:], "--json"])
    assert done.exit_code == 0, done.output
    assert json.loads(done.stdout)["tolerance"]["half_width"]["m"] == pytest.approx(0.03)
    assert (tmp_path / "zone.csv").is_file()
    assert (tmp_path / "zone.svg").is_file()


def test_it_names_what_is_there() -> None:
    fields = {*BudgetIn.model_fields, *BudgetOut.model_fields, *ToleranceOut.model_fields}
    for name in (
        "standard_mm", "without_number", "worst", "best", "assumed", "carried", "sensors", "by", "figures",
        "uncertainties_mm", "uncertainties_deg", "correlations", "estimates", "tolerance", "factor", "beyond_sensors",
        "words",
    ):  # fmt: skip
        assert f"`{name}`" in GUIDE
        assert name in fields
    [figure] = re.findall(r"Within (\d\.\d\d) of it", GUIDE)
    assert float(figure) == pytest.approx(coverage(1.0), abs=0.005)
    assert "(/guide/cautions)" in GUIDE
