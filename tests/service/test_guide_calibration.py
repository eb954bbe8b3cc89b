"""The guide's page on calibration: its file is taken, its commands run, its names are names; how the command ends."""

import json
import re
import tomllib
from importlib.resources import files
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner

from machine_profiles import parse_profile, shipped
from service.api import calibration_request as asked
from service.api.calibration_answer import CalibrationOut
from service.cli import app
from tests.service.api.touching import added, body, level_on, ours, staff, touches
from tests.service.live.making import serving

GUIDE = files("service").joinpath("guide", "calibration.md").read_text(encoding="utf-8")
BLOCKS = dict(re.findall(r"^```(?:sh|toml) (\w+)\n(.*?)^```$", GUIDE, flags=re.DOTALL | re.MULTILINE))


def run(*words: str) -> Any:
    return CliRunner().invoke(app, ["calibrate", *words])


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Profile files, and observations of them beside them."""
    for name, profile in zip(("digger.toml", "bucket.toml"), ours()[:2], strict=True):
        (tmp_path / name).write_text(profile.source_text, encoding="utf-8")
    return tmp_path


def told(folder: Path, **more: Any) -> str:
    path = folder / "seen.json"
    path.write_text(
        json.dumps(body(machine="digger.toml", attachment="bucket.toml", **more)), encoding="utf-8"
    )
    return str(path)


def test_its_file_is_taken_and_finds_what_is_in_it(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "touches.toml").write_text(BLOCKS["touches"], encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    program, *words = BLOCKS["calibrate"].split()
    assert program == "tipdatum"
    result = CliRunner().invoke(app, words)
    assert result.exit_code == 0, result.output
    assert result.stdout.startswith("crawler-14t with digging-1500: found\n")
    # 0.12 deg were put in, readings rounded to 0.01 deg.
    assert re.search(r"boom\.zero +3\.200 deg +3\.3[12]\d deg", result.stdout), result.stdout


def test_its_table_is_a_files() -> None:
    text = shipped()["machine", "crawler-14t"].source_text + "\n" + BLOCKS["table"]
    assert parse_profile(text).document["calibration"]["observations"] == 14


def test_its_words_are_those_there_are() -> None:
    for name in ("touches", "staff_readings", "link_checks"):
        assert f"`{name}`" in GUIDE
        assert name in asked.CalibrationIn.model_fields
    for name in ("verdict", "unknowns", "residuals", "suspects", "together", "next_postures"):
        assert f"`{name}`" in GUIDE
        assert name in CalibrationOut.model_fields
    for name in ("machine_revision", "attachment_revision", "left_out"):
        assert f"`{name}`" in GUIDE
        assert name in asked.ApplyIn.model_fields
    assert (asked.TOUCH_M, asked.ROD_M, asked.STATION_M, asked.LINE_DEG) == (0.002, 0.002, 0.003, 0.1)


def test_new_files_are_written_and_never_over_others(folder: Path) -> None:
    found = folder / "found"
    found.mkdir()
    file = told(folder)
    result = run(file, "--write", str(found))
    assert result.exit_code == 0, result.output
    assert [path.name for path in found.iterdir()] == ["our-digger.toml"]
    new = parse_profile((found / "our-digger.toml").read_text(encoding="utf-8"))
    assert list(new.document["calibration"]["of"]) == ["boom.zero", "stick.zero"]
    before = (found / "our-digger.toml").read_bytes()
    again = run(file, "--write", str(found), "--json")
    assert again.exit_code == 2
    assert [each["code"] for each in json.loads(again.stdout)["faults"]] == ["file-exists"]
    assert (found / "our-digger.toml").read_bytes() == before
    assert (folder / "digger.toml").read_text(encoding="utf-8") == ours()[0].source_text


def test_suspects_are_not_written_unseen(folder: Path) -> None:
    found = folder / "found"
    found.mkdir()
    file = told(folder, staff_readings=[staff(wrong={3: 0.6096})])
    refused = run(file, "--write", str(found), "--json")
    assert refused.exit_code == 2
    assert [each["code"] for each in json.loads(refused.stdout)["faults"]] == ["suspects-not-seen"]
    assert [*found.iterdir()] == []
    name = json.loads(run(file, "--json").stdout)["suspects"][0]
    assert run(file, "--write", str(found), "--left-out", name, "--doubts-seen").exit_code == 1
    assert len([*found.iterdir()]) == 1
    assert run(file, "--doubts-seen").exit_code == 2


@pytest.mark.parametrize(
    ("more", "word"),
    [
        ({"staff_readings": [staff(wrong={3: 0.6096})]}, "2.00 ft"),
        ({"touches": [touches(count=1)], "staff_readings": [], "link_checks": []}, "for 2 unknowns"),
        ({"touches": [touches() | {"poses": touches()["poses"][:1] * 5}], "staff_readings": [], "link_checks": []},
         "postures that differ by 0.00 deg"),
    ],
)  # fmt: skip
def test_what_is_not_to_be_trusted_ends_with_1(folder: Path, more: dict[str, Any], word: str) -> None:
    result = run(told(folder, **more))
    assert result.exit_code == 1, result.output
    assert word in result.stdout
    assert "Touch next:" in result.stdout


@pytest.mark.parametrize(
    ("more", "code", "where"),
    [
        ({"unknowns": ["bom.zero"]}, "unknown-parameter", "unknowns.0"),
        ({"levers": 1}, "unknown-field", "levers"),
        ({"units": "furlong"}, "not-a-choice", "units"),
        ({"staff_readings": [staff(per_m=1.0 / 0.3048)]}, "wrong-units", "staff_readings.0.seen.0"),
        ({"link_checks": [level_on("boom", 12.0, -80.0, 20.0) | {"ahead": False}]}, "wrong-way", "link_checks.0"),
    ],
)  # fmt: skip
def test_faulty_input_ends_with_2(folder: Path, more: dict[str, Any], code: str, where: str) -> None:
    result = run(told(folder, **more), "--json")
    assert result.exit_code == 2, result.output
    faults = json.loads(result.stdout)["faults"]
    assert where in [each["where"] for each in faults]
    assert code in {each["code"] for each in faults} or code == "not-a-choice"


def test_texts_that_are_none(folder: Path) -> None:
    for name, text in (
        ("a.json", "{"), ("b.toml", "machine ="), ("c.json", "[]"), ("d.json", '{"machine": 3}'),
        ("e.toml", BLOCKS["touches"].replace("13.56", "nan", 1)),
    ):  # fmt: skip
        (folder / name).write_text(text, encoding="utf-8")
        result = run(str(folder / name), "--json")
        assert result.exit_code == 2, (name, result.output)
        assert json.loads(result.stdout)["faults"]
    assert run(str(folder / "nothing.toml")).exit_code == 2
    assert run(str(folder / "a.json"), "--apply").exit_code == 2
    assert run(told(folder), "--to", "http://127.0.0.1:9", "--json").exit_code == 2


def test_a_service_finds_and_records_the_same(folder: Path, tmp_path: Path) -> None:
    with serving(tmp_path / "data") as door:
        added(door.http)
        path = folder / "of_service.json"
        path.write_text(json.dumps(body()), encoding="utf-8")
        to = f"http://127.0.0.1:{door.port}"
        result = run(str(path), "--to", to, "--apply", "--json")
        assert result.exit_code == 0, result.output
        told = json.loads(result.stdout)
        assert door.http.get(f"/v1/calibrations/{told['recorded']}")["answer"]["unknowns"] == told["unknowns"]
        refused = run(str(path), "--to", to, "--apply", "--left-out", "nail", "--json")
        assert refused.exit_code == 2
        assert "suspects-not-seen" in refused.stdout


def test_the_guides_toml_is_the_routes_json() -> None:
    assert asked.CalibrationIn.model_validate(tomllib.loads(BLOCKS["touches"])).unknowns == ["boom.zero"]
