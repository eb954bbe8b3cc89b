"""The guide on bulk: its commands run as they stand, its lists are whole, its numbers true."""

import json
import re
import subprocess
import sys
from collections.abc import Iterator
from importlib.resources import files
from pathlib import Path

import pytest

from kinematics.chain import POINTS
from kinematics.columns import STATUS
from service.api.column_request import MOST_MACHINES, MOST_VALUES, OUTPUTS
from service.settings import Settings
from tests.need import need_program
from tests.service.running import service

GUIDE = files("service").joinpath("guide", "bulk.md").read_text(encoding="utf-8")
BLOCKS = re.findall(r"^```(\w+)\n(.*?)^```$", GUIDE, flags=re.DOTALL | re.MULTILINE)


@pytest.fixture(scope="module")
def address(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    with service(tmp_path_factory.mktemp("data")) as found:
        yield found


def run(command: list[str]) -> str:
    done = subprocess.run(command, capture_output=True, text=True, timeout=120, check=False)
    assert done.returncode == 0, done.stderr
    return done.stdout


def test_the_commands(address: str) -> None:
    bash = need_program("bash")
    need_program("curl")
    scripts = [text.replace("localhost:8311", address) for kind, text in BLOCKS if kind == "sh"]
    columns, sensitivities = (json.loads(run([bash, "-euo", "pipefail", "-c", script])) for script in scripts)
    assert columns["status"] == ["ok", "ok", "beyond-joint"], "row 2, counted from 0"
    assert [column[2] for column in columns["columns"].values()] == [None, None]
    assert columns["failed"] == 1
    assert [one["output"] for one in sensitivities["sensitivities"]] == ["left_height", "cross_slope"]
    assert sensitivities["sensitivities"][0]["largest"][0]["words"].startswith("0.1 deg of ")


def test_the_program(address: str, tmp_path: Path) -> None:
    [program] = [text for kind, text in BLOCKS if kind == "python"]
    assert "http://127.0.0.1:8311" in program
    script = tmp_path / "bulk.py"
    script.write_text(program.replace("http://127.0.0.1:8311", address), encoding="utf-8")
    rows, status, height = run([sys.executable, str(script)]).split()
    assert (rows, status) == ("100000", "ok")
    assert -10.0 < float(height) < 0.0


def test_every_status_is_in_the_table() -> None:
    table = GUIDE.partition("## A row without numbers")[2].partition("Each is")[0]
    assert set(re.findall(r"`([a-z-]+)`", table)) - {"status"} == set(STATUS.values())


def test_every_output_is_told() -> None:
    told = set(re.findall(r"`([a-z_]+)`", GUIDE))
    assert set(POINTS) <= told
    assert {name for name in OUTPUTS if not name.endswith(("_reach_m", "_lateral_m", "_height_m"))} <= told


def test_the_limits() -> None:
    limits = GUIDE.partition("## Limits")[2]
    assert f"{MOST_VALUES:,}".replace(",", " ") in limits
    assert f"{MOST_MACHINES} machines" in limits
    assert Settings.model_fields["max_bulk_body_bytes"].default == 64 * 2**20
    assert "64 MB" in limits
