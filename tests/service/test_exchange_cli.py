"""The commands `profile export` and `profile from-pins`."""

import json
import math
from importlib.metadata import version
from pathlib import Path

import pytest
from typer.testing import CliRunner

from kinematics.assembly import assemble
from kinematics.machine import Attachment, Machine
from machine_profiles import parse_profile, shipped
from machine_profiles.exchange import Attitude, provenance_of, urdf
from service.cli import app
from tests.service.api.test_pin_surveys import CSV

EXPORT = ["export", "crawler-14t", "tilting-1800", "--as", "urdf", "--pitch", "0.4", "--roll", "-0.2"]
FROM_PINS = [
    "--id", "our-digger", "--name", "Our digger", "--source", "Total station.", "--pitch", "0", "--roll", "0",
    "--stroke", "boom=1417:2430:raises", "--stroke", "stick=1965:3015:lowers", "--stroke", "bucket=1410:2415",
]  # fmt: skip


def run(*words: str) -> tuple[int, str, str]:
    result = CliRunner().invoke(app, ["profile", *words])
    assert result.exception is None or isinstance(result.exception, SystemExit), result.exception
    return result.exit_code, result.stdout, result.stderr


def codes(out: str) -> list[tuple[str, str]]:
    return [(fault["code"], fault["where"]) for fault in json.loads(out)["faults"]]


@pytest.fixture
def pins(tmp_path: Path) -> str:
    file = tmp_path / "pins.csv"
    file.write_text(CSV, encoding="utf-8")
    return str(file)


def test_export_to_print_and_to_a_new_file(tmp_path: Path) -> None:
    carrier, tool = shipped()["machine", "crawler-14t"], shipped()["attachment", "tilting-1800"]
    assert isinstance(carrier.geometry, Machine)
    assert isinstance(tool.geometry, Attachment)
    attitude = Attitude(math.radians(0.4), math.radians(-0.2))
    made = provenance_of(carrier, tool, version("tipdatum"))
    expected = urdf(assemble(carrier.geometry, tool.geometry), attitude, made)
    assert run(*EXPORT) == (0, expected, "")
    assert json.loads(run(*EXPORT, "--json")[1])["text"] == expected
    file = tmp_path / "crawler.urdf"
    code, out, _ = run(*EXPORT, "--out", str(file))
    assert (code, out) == (0, f"written: {file}\n")
    assert file.read_text(encoding="utf-8") == expected
    code, out, _ = run(*EXPORT, "--out", str(file), "--json")
    assert (code, codes(out)) == (1, [("file-exists", "--out")])
    code, out, _ = run(*EXPORT, "--out", str(tmp_path / "none" / "crawler.urdf"), "--json")
    assert (code, codes(out)) == (1, [("unreadable", "--out")])


def test_export_tells_all_faults() -> None:
    code, out, _ = run(
        "export", "nobodys", "nothing", "--as", "mjcf", "--pitch", "70", "--roll", "0", "--json"
    )
    assert code == 1
    assert codes(out) == [
        ("unknown-machine", "machine"), ("unknown-attachment", "attachment"), ("too-steep", "--pitch"),
    ]  # fmt: skip


def test_a_format_that_is_none_is_wrong_use() -> None:
    assert run("export", "crawler-14t", "tilting-1800", "--as", "sdf", "--pitch", "0", "--roll", "0")[0] == 2


def test_from_pins_gives_a_profile_that_reads(pins: str, tmp_path: Path) -> None:
    code, out, _ = run("from-pins", pins, *FROM_PINS)
    assert code == 0
    assert parse_profile(out).id == "our-digger"
    file = tmp_path / "our-digger.toml"
    assert run("from-pins", pins, *FROM_PINS, "--out", str(file))[0] == 0
    assert file.read_text(encoding="utf-8") == out
    bucket = [*FROM_PINS[:10], "--kind", "attachment"]
    assert parse_profile(run("from-pins", pins, *bucket)[1]).kind == "attachment"


def test_from_pins_names_the_options(pins: str) -> None:
    words = [
        *FROM_PINS[:10],
        "--stroke",
        "boom=1417",
        "--range",
        "idler=1",
        "--tolerance",
        "0",
        "--pitch",
        "80",
    ]
    code, out, _ = run("from-pins", pins, *words, "--json")
    assert code == 1
    assert codes(out) == [
        ("bad-option", "--stroke"), ("bad-option", "--range"), ("out-of-range", "--tolerance"), ("too-steep", "--pitch"),
    ]  # fmt: skip
    code, out, _ = run("from-pins", pins, *FROM_PINS, "--stroke", "boom=1:2:raises", "--json")
    assert codes(out) == [("joint-given-twice", "--stroke")]
    code, out, _ = run("from-pins", pins, *FROM_PINS[:-2], "--left", "5", "--json")
    assert codes(out) == [("missing-joint", "--stroke bucket"), ("not-both", "--left")]
    assert codes(run("from-pins", "none.csv", *FROM_PINS, "--json")[1]) == [("unreadable", "none.csv")]
