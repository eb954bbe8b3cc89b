"""The guide's page on buses: its files are read, its commands have their options, its names are those there are."""

import re
from importlib.resources import files
from pathlib import Path

import pytest
from typer.testing import CliRunner

from service.bus.decoding import Decoder
from service.bus.frames import Frame
from service.bus.layouts import BUILT_IN
from service.bus.log import read_log
from service.bus.sensor_map import read_map
from service.cli import app

GUIDE = files("service").joinpath("guide", "bus.md").read_text(encoding="utf-8")
FILES = dict(re.findall(r"^```(?:toml|dbc|csv) (\S+)\n(.*?)^```$", GUIDE, flags=re.DOTALL | re.MULTILINE))


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    for name, text in FILES.items():
        (tmp_path / name).write_text(text, encoding="utf-8")
    return tmp_path


def test_its_map_reads_its_file(folder: Path) -> None:
    rig = read_map(folder / "rig.toml")
    assert [(entry.sensor, entry.numbers, entry.raw) for entry in rig.entries] == [
        ("body", 2, False), ("boom", 1, False), ("stick", 1, False), ("bucket", 3, True),
    ]  # fmt: skip
    decoder = Decoder(rig)
    [stick] = decoder.take(
        Frame(1.0, 289, extended=False, data=bytes.fromhex("D2 04 00 00 00 00 00 00"))
    ).readings
    assert stick.said == {"sensor": "stick", "deg": 12.34}  # 0x04D2 = 1234 hundredths
    [warming] = decoder.take(Frame(1.0, 289, extended=False, data=b"\xff\x7f" + bytes(6))).readings
    assert warming.said == {"sensor": "stick", "error": "Warming up"}
    [boom] = decoder.take(
        Frame(1.0, 0x0CF029A1, extended=True, data=bytes.fromhex("3BE87DF5BF7C0006"))
    ).readings
    assert boom.said == {"sensor": "boom", "deg": -1.814301}


def test_its_csv_reads(folder: Path) -> None:
    said = [(signal.t_s, dict(signal.said)) for signal in read_log(folder / "pit.csv").signals]
    assert said == [
        (5.0, {"sensor": "body", "deg": [0.61, 0.4]}), (5.0, {"sensor": "boom", "deg": 30.997017}),
        (5.02, {"sensor": "body", "deg": [0.61, 0.41]}), (5.02, {"receiver_above_mm": -12.5}),
    ]  # fmt: skip


def test_it_names_every_message_built_in_and_its_signals() -> None:
    rows = re.findall(r"^\| `([A-Z0-9]+)` \| (\d+) \| (.*) \|$", GUIDE, flags=re.MULTILINE)
    assert {name: int(pgn) for name, pgn, _ in rows} == {name: each.pgn for name, each in BUILT_IN.items()}
    for name, _, words in rows:
        for signal in re.findall(r"`(\w+)`", words):
            assert signal in BUILT_IN[name].items


def test_its_commands_have_only_options_there_are() -> None:
    lines = [line for line in GUIDE.splitlines() if line.startswith("tipdatum ")]
    assert lines
    for line in lines:
        command = line.split()[1]
        helped = CliRunner().invoke(app, [command, "--help"], env={"COLUMNS": "200"}).stdout
        assert [option for option in re.findall(r"--[a-z-]+", line) if option not in helped] == [], line


def test_comments_in_its_map_fit_a_page() -> None:
    """About 75 characters stand side by side where the page is 1000 px wide, by the look of it."""
    assert [line for line in FILES["rig.toml"].splitlines() if "#" in line and len(line) > 72] == []


def test_two_terminals_without_hardware_are_named_on_both_pages() -> None:
    simulation = files("service").joinpath("guide", "simulation.md").read_text(encoding="utf-8")
    for page in (GUIDE, simulation):
        for words in ("--bus udp_multicast:239.74.163.2", "pip install msgpack", "stays within"):
            assert words in page
