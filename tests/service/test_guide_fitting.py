"""The guide's page on fitting: its findings are those there are, its check is taken, its commands are commands."""

import json
import re
import shlex
from importlib.resources import files
from pathlib import Path

import pytest
from typer.testing import CliRunner

from service.cli import app
from service.zero_run import check_of
from tests.service.api.doing import Client, opened

GUIDE = files("service").joinpath("guide", "fitting.md").read_text(encoding="utf-8")
BLOCKS = dict(re.findall(r"^```(?:sh|json) (\w+)\n(.*?)^```$", GUIDE, flags=re.DOTALL | re.MULTILINE))
NOTHING = dict.fromkeys(
    ("sensor", "level", "plumb", "pitch", "roll", "edge", "joint", "tape")
) | {"back": False, "to_edge": False, "half_turn": False, "uncertainty": 0.1}  # fmt: skip


def test_its_findings_are_those_there_are() -> None:
    words = files("kinematics").joinpath("fitting_words.py").read_text(encoding="utf-8")
    words += files("kinematics").joinpath("fitting.py").read_text(encoding="utf-8")
    table = GUIDE.partition("| finding |")[2].partition("\n\n")[0]
    told = [code for row in table.splitlines()[2:] for code in re.findall(r"`([a-z-]+)`", row.split("|")[1])]
    assert len(told) == len(set(told)) > 10
    for code in told:
        assert f'"{code}"' in words, code


def test_its_check_is_taken(tmp_path: Path) -> None:
    from service.app import create_app  # noqa: PLC0415
    from service.settings import Settings  # noqa: PLC0415

    with Client(create_app(Settings(data_folder=tmp_path))) as client:
        job = opened(client, "pump-house", "m")
        job.setup("crawler-14t", "digging-1500")
        told = job.post("fitting/zeros", json.loads(BLOCKS["zeros"]), 200)
    assert [each["sensor"] for each in told["zeros"]] == ["boom"]
    assert told["profiles"][0]["id"] == "crawler-14t"


@pytest.mark.parametrize("name", ["fit", "again", "zero"])
def test_its_commands_know_their_options(name: str) -> None:
    """Nobody listens there, so each gets as far as looking for the service."""
    line = BLOCKS[name].splitlines()[0]
    program, *words = shlex.split(line)
    assert program == "tipdatum"
    result = CliRunner().invoke(app, [*words, "--to", "http://127.0.0.1:9"], input="q\n")
    assert result.exit_code == 1, result.output
    wanted = "what --record wrote" if name == "again" else "a running service"
    assert wanted in result.output


@pytest.mark.parametrize(
    ("given", "expected"),
    [
        ({"sensor": "boom", "level": 0.4}, {"by": "level", "inclination_deg": 0.4, "ahead": True, "to_edge": False}),
        ({"sensor": "stick", "plumb": "below"}, {"by": "plumb-line", "below": True, "to_edge": False}),
        ({"sensor": "body", "pitch": 0.6, "roll": -0.4}, {"by": "lean", "pitch_deg": 0.6, "roll_deg": -0.4}),
        ({"half_turn": True}, {"by": "half-turn"}),
        ({"sensor": "tilt", "edge": 0.0}, {"by": "edge", "inclination_deg": 0.0}),
        ({"sensor": "pin", "joint": 12.3}, {"by": "joint", "angle_deg": 12.3}),
    ],
)  # fmt: skip
def test_options_are_checks(given: dict[str, object], expected: dict[str, object]) -> None:
    assert check_of(NOTHING | given) == expected | {"uncertainty_deg": 0.1}


@pytest.mark.parametrize(
    "words",
    [
        ["boom"], ["boom", "--level", "1", "--tape", "900"], ["body", "--pitch", "1"], ["boom", "--plumb", "sideways"],
        ["boom", "--edge", "0", "--back"], ["boom", "--edge", "0", "--to-edge"], ["boom", "--half-turn"],
        ["--level", "1"],
    ],
)  # fmt: skip
def test_options_that_make_no_check(words: list[str]) -> None:
    result = CliRunner().invoke(app, ["zero", *words, "--job", "pit", "--uncertainty", "0.1", "--json"])
    assert result.exit_code == 1, result.output
    assert {each["code"] for each in json.loads(result.stdout)["faults"]} == {"bad-option"}


def test_numbers_that_are_none() -> None:
    words = ["zero", "stick", "--job", "pit", "--level", "nan", "--uncertainty", "-1", "--json"]
    result = CliRunner().invoke(app, words)
    assert result.exit_code == 1, result.output
    told = {each["where"]: each["code"] for each in json.loads(result.stdout)["faults"]}
    assert told == {"--level": "not-finite", "--uncertainty": "out-of-range"}
