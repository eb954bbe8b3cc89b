"""The commands as typed, without a service; and the guide's own example."""

import json
import re
from importlib.resources import files
from pathlib import Path

import pytest
from typer.testing import CliRunner

from service.bus.log import read_log
from service.bus.sensor_map import map_beside
from service.cli import app
from service.simulation.dig import read_dig
from service.simulation.motion import plan
from service.simulation.tables import STEPS
from service.simulation.truth import read_truth

from .digs import dig_text

GUIDE = files("service").joinpath("guide", "simulation.md").read_text(encoding="utf-8")


def run(*words: str) -> tuple[int, str, str]:
    done = CliRunner().invoke(app, list(words))
    return done.exit_code, done.stdout, done.stderr


@pytest.fixture
def pit(tmp_path: Path) -> Path:
    file = tmp_path / "pit.toml"
    file.write_text(dig_text("strike", 'turn joint="bucket"; by_deg=5'), encoding="utf-8")
    return file


def test_log_and_truth_the_same_by_one_seed(pit: Path, tmp_path: Path) -> None:
    logs = [tmp_path / f"{name}.ndjson" for name in "abc"]
    for log, seed in zip(logs, ("4", "4", "5"), strict=True):
        code, out, err = run("simulate", str(pit), "--log", str(log), "--seed", seed, "--json")
        assert code == 0, err
        told = json.loads(out)
        assert (told["ok"], told["seed"], told["log"]["readings"]) == (
            True,
            int(seed),
            len(read_log(log).signals),
        )
    assert logs[0].read_bytes() == logs[1].read_bytes() != logs[2].read_bytes()
    code, _, err = run(
        "simulate", str(pit), "--truth", str(tmp_path / "truth"), "--log", str(tmp_path / "pit.log")
    )
    assert code == 0, err
    assert len(read_truth(tmp_path / "truth")) > 100
    assert map_beside(tmp_path / "pit.log").is_file()
    assert len(read_log(tmp_path / "pit.log").signals) == len(read_log(logs[0]).signals)


def test_without_anything_to_do_it_says_what_it_would(pit: Path) -> None:
    code, out, err = run("simulate", str(pit))
    assert (code, out) == (0, "")
    assert re.fullmatch(
        r"Trial pit: 2 steps, \d+ s, seed 5\.\nNothing was written or sent: .*--log FILE.*\n", err
    )


def test_what_is_in_the_way_is_told_all_at_once(pit: Path, tmp_path: Path) -> None:
    (tmp_path / "pit.log.map.toml").write_text("mine", encoding="utf-8")
    (tmp_path / "truth").write_text("mine", encoding="utf-8")
    code, out, _ = run(
        "simulate", str(pit), "--log", str(tmp_path / "pit.log"), "--truth", str(tmp_path / "truth"),
        "--to", "http://127.0.0.1:1", "--speed", "nan", "--json",
    )  # fmt: skip
    assert code == 1
    told = [(fault["code"], fault["where"]) for fault in json.loads(out)["faults"]]
    assert told == [
        ("bad-option", "--job"), ("bad-option", "--speed"), ("file-exists", "--truth"), ("file-exists", "--log"),
    ]  # fmt: skip
    assert (tmp_path / "truth").read_text() == "mine"


@pytest.mark.parametrize(
    ("log", "truth"), [("a.ndjson", "a.ndjson"), ("sub/../a.ndjson", "a.ndjson"), ("b.blf", "b.blf.map.toml")]
)
def test_one_file_for_two_things(pit: Path, tmp_path: Path, log: str, truth: str) -> None:
    (tmp_path / "sub").mkdir()
    code, out, _ = run(
        "simulate", str(pit), "--log", str(tmp_path / log), "--truth", str(tmp_path / truth), "--json"
    )
    assert code == 1
    assert [fault["where"] for fault in json.loads(out)["faults"]] == ["--truth"]
    assert sorted(each.name for each in tmp_path.iterdir()) == ["pit.toml", "sub"]


def test_faults_of_a_description_with_file_and_line(tmp_path: Path) -> None:
    (tmp_path / "pit.toml").write_text(dig_text('turn joint="bucket"; by=5'), encoding="utf-8")
    code, _, err = run("simulate", str(tmp_path / "pit.toml"))
    assert code == 1
    assert re.search(r"pit\.toml:\d+: step 1: by: expected one of: .*by_deg", err)
    assert run("simulate", str(tmp_path / "none.toml"))[0] == 1


def test_wrong_use_is_two() -> None:
    assert run("simulate", "--seed", "many")[0] == 2
    assert run("replay")[0] == 2


def test_replay_refuses_faulty_lines_before_it_connects(tmp_path: Path) -> None:
    (tmp_path / "pit.ndjson").write_text('{"sensor": "boom", "at_s": 1, "deg": 1}\n{}\n', encoding="utf-8")
    code, out, _ = run("replay", str(tmp_path / "pit.ndjson"), "--job", "pit", "--json")
    assert code == 1
    assert [fault["where"] for fault in json.loads(out)["faults"]] == [f"{tmp_path / 'pit.ndjson'}:2"]


@pytest.mark.parametrize("number", ["1" + "0" * 400, "1e400", "NaN", "true"])
def test_replay_of_numbers_that_are_none(tmp_path: Path, number: str) -> None:
    (tmp_path / "pit.ndjson").write_text(
        f'{{"sensor": "boom", "at_s": 1, "deg": {number}}}\n', encoding="utf-8"
    )
    code, out, _ = run("replay", str(tmp_path / "pit.ndjson"), "--job", "pit", "--json")
    assert code == 1
    assert [fault["where"] for fault in json.loads(out)["faults"]] == [f"{tmp_path / 'pit.ndjson'}:1"]


def test_a_bus_gets_the_frames(tmp_path: Path) -> None:
    (tmp_path / "pit.toml").write_text(dig_text("wait seconds=0.2"), encoding="utf-8")
    code, out, err = run("simulate", str(tmp_path / "pit.toml"), "--bus", "virtual:pit", "--json")
    assert code == 0, err
    # Five sensors 50 times a second for 0.2 s, both ends, and three turns of the laser.
    assert json.loads(out)["frames"] == 5 * 11 + 3


def test_the_guides_dig_can_be_dug() -> None:
    [text] = re.findall(r"^```toml our-pit\.toml\n(.*?)^```$", GUIDE, flags=re.DOTALL | re.MULTILINE)
    course = plan(read_dig(text, "our-pit.toml", None))
    assert 15.0 < course.seconds < 60.0


def test_the_guide_names_every_step_and_only_options_there_are() -> None:
    rows = re.findall(r"^\| (`.*?) \|", GUIDE, flags=re.MULTILINE)
    assert sorted(name for row in rows for name in re.findall(r"`([a-z]+)`", row)) == sorted(STEPS)
    for command in ("simulate", "replay"):
        helped = CliRunner().invoke(app, [command, "--help"], env={"COLUMNS": "200"}).stdout
        lines = [line for line in GUIDE.splitlines() if line.startswith(f"tipdatum {command}")]
        assert lines, command
        named = {option for line in lines for option in re.findall(r"--[a-z-]+", line)}
        assert [option for option in sorted(named) if option not in helped] == []


def test_the_guides_files_command(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    [block] = re.findall(r"^```sh simulate\n(.*?)^```$", GUIDE, flags=re.DOTALL | re.MULTILINE)
    for line in block.splitlines():
        code, _, err = run(*line.split()[1:])
        assert code == 0, err
    assert sorted(each.name for each in tmp_path.iterdir()) == [
        "pit.blf", "pit.blf.map.toml", "pit.ndjson", "pit.truth.ndjson",
    ]  # fmt: skip
