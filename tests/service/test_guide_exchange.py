"""The guide's page on exchange: its request and commands are taken as they stand, its table is a table."""

import json
import re
import shlex
import subprocess
import sys
from importlib.resources import files
from pathlib import Path

import pytest
from typer.testing import CliRunner

from kinematics.machine import Machine
from machine_profiles import parse_profile
from machine_profiles.exchange import KNOWN_PINS
from service.api.models import ModelIn
from service.cli import app

GUIDE = files("service").joinpath("guide", "exchange.md").read_text(encoding="utf-8")
BLOCKS = dict(re.findall(r"^```(?:sh|csv) (\w+)\n(.*?)^```$", GUIDE, flags=re.DOTALL | re.MULTILINE))


def command(name: str) -> list[str]:
    program, *words = shlex.split(BLOCKS[name].replace("\\\n", " "))
    assert program == "tipdatum"
    return words


def test_its_request_is_one() -> None:
    [body] = re.findall(r"/v1/models .*?-d '(\{.*?\})'", GUIDE, flags=re.DOTALL)
    assert ModelIn.model_validate(json.loads(body)).format == "urdf"


def test_its_commands(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "pins.csv").write_text(BLOCKS["pins"], encoding="utf-8")
    for name in ("export", "import"):
        done = CliRunner().invoke(app, command(name))
        assert done.exit_code == 0, done.output
    assert "<mujoco" in (tmp_path / "crawler.xml").read_text(encoding="utf-8")
    made = parse_profile((tmp_path / "our-digger.toml").read_text(encoding="utf-8")).geometry
    assert isinstance(made, Machine)
    # The shipped 14 t crawler with its boom at 30 deg and its stick at -140 deg: 4.6 and 2.5 m.
    assert abs(made.boom_length - 4.6) <= 1e-6
    assert abs(made.stick_length - 2.5) <= 1e-6
    assert (made.boom_foot_x, made.boom_foot_y) == (0.25, -0.06)


def test_its_program(tmp_path: Path) -> None:
    [program] = re.findall(r"^```python\n(.*?)^```$", GUIDE, flags=re.DOTALL | re.MULTILINE)
    done = subprocess.run(
        [sys.executable, "-c", program], capture_output=True, text=True, timeout=120, check=True
    )
    assert done.stdout.startswith("True "), done.stdout


def test_it_names_every_pin() -> None:
    told = GUIDE.replace("`boom_cylinder_foot`, `boom_cylinder_eye`, the same of `fore_boom` and `stick`", " ".join(
        f"`{joint}_cylinder_{end}`" for joint in ("boom", "fore_boom", "stick") for end in ("foot", "eye")
    ))  # fmt: skip
    assert [name for name in KNOWN_PINS if f"`{name}`" not in told] == []
