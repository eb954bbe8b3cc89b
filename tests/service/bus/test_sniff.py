"""What is on a bus or in a log, as tables, as JSON and as the draft of a map that the map's reader takes."""

import io
import json
import re
import threading
import time
from importlib.resources import files
from pathlib import Path
from typing import Any

import can
import pytest
from rich.console import Console
from typer.testing import CliRunner

from service.bus.framing import SSI, SSI2, Lack, identifier
from service.bus.layouts import BUILT_IN, RECEIVED
from service.bus.sensor_map import read_map
from service.bus.sniff_table import print_sniffed
from service.cli import app

from .rigs import REFERENCE

Json = dict[str, Any]
GUIDE = files("service").joinpath("guide", "bus.md").read_text(encoding="utf-8")


def run(*words: str) -> tuple[int, str, str]:
    done = CliRunner().invoke(app, list(words))
    return done.exit_code, done.stdout, done.stderr


def message(at_s: float, can_id: int, data: bytes, *, extended: bool = True, **more: bool) -> can.Message:
    return can.Message(timestamp=at_s, arbitration_id=can_id, is_extended_id=extended, data=data, **more)


def slope(
    at_s: float, source: int, pitch: float | Lack, roll: float | Lack, layout: str = "SSI2", **more: float
) -> can.Message:
    values = {"pitch": pitch, "roll": roll, "latency": 12.5, "pitch_merit": 0.0, "roll_merit": 0.0} | more
    pgn = {"SSI2": SSI2, "SSI": SSI}[layout]
    return message(at_s, identifier(pgn, source), BUILT_IN[layout].write(values))


def claim(at_s: float, source: int, identity: int) -> can.Message:
    name = identity | 77 << 21 | 131 << 40 | 1 << 63
    return message(at_s, 0x18EEFF00 | source, name.to_bytes(8, "little"))


@pytest.fixture
def log(tmp_path: Path) -> Path:
    """Two slope units, one of them with a roll and lacks, one SSI, a 6-byte unit, a receiver, two claims, a stranger."""
    file = tmp_path / "pit.asc"
    frames = [
        *(slope(0.01 * i, 0xA2, 10.0 + 0.01 * i, -3.0, pitch_merit=float(i == 7)) for i in range(200)),
        *(slope(0.02 * i, 0xA0, Lack.ERROR if i < 5 else 25.0, Lack.NOT_AVAILABLE) for i in range(100)),
        *(slope(0.1 * i, 0xA4, 5.0, 6.0, "SSI") for i in range(20)),
        *(message(0.1 * i, identifier(SSI2, 0xA6), bytes(6)) for i in range(20)),
        *(message(0.1 * i, 0x18FF0AC0, RECEIVED.write({"hit": 1.0})) for i in range(20)),
        claim(0.5, 0xA2, 1), claim(0.6, 0xA2, 2),
        *(message(0.2 * i, 0x321, bytes(3), extended=False) for i in range(10)),
    ]  # fmt: skip
    with can.ASCWriter(file) as writer:
        for frame in sorted(frames, key=lambda each: each.timestamp):
            writer(frame)
    return file


def sniffed(*words: str) -> Json:
    code, out, err = run("sniff", *words, "--json")
    assert code == 0, err
    told: Json = json.loads(out)
    return told


def by_sender(told: Json) -> dict[tuple[Any, str], Json]:
    return {(row["source"], row["message"]): row for row in told["messages"]}


def test_every_message_with_its_numbers(log: Path) -> None:
    told = sniffed(str(log))
    assert [(row["source"], row["message"]) for row in told["messages"]] == [
        (0xA0, "SSI2"), (0xA2, "address claim"), (0xA2, "SSI2"), (0xA4, "SSI"), (0xA6, "SSI2"), (0xC0, "RECEIVER"),
        (None, "unknown"),
    ]  # fmt: skip
    rows = by_sender(told)
    row = rows[0xA2, "SSI2"]
    assert (row["frames"], row["lengths"], row["latency_ms"]) == (200, {"8": 200}, [12.5, 12.5])
    assert row["rate_hz"] == pytest.approx(100.0, abs=0.01)
    # An .asc writes a millionth of a second.
    assert (row["shortest_gap_ms"], row["longest_gap_ms"]) == pytest.approx((10.0, 10.0), abs=0.01)
    pitch = row["numbers"]["pitch"]
    assert (pitch["least"], pitch["greatest"], pitch["last"]) == pytest.approx((10.0, 11.99, 11.99), abs=1e-4)
    assert (pitch["unit"], pitch["merits"]) == ("deg", {"good": 199, "degraded": 1})
    assert rows[0xA0, "SSI2"]["numbers"]["pitch"]["not_told"] == {"error": 5}
    assert rows[0xA0, "SSI2"]["numbers"]["roll"]["count"] == 0
    assert rows[0xA6, "SSI2"]["numbers"] == {}
    assert rows[None, "unknown"]["identifier"] == "0x321"
    assert [(each["source"], each["identity"], each["manufacturer"]) for each in told["claims"]] == [
        (0xA2, 1, 77), (0xA2, 2, 77),
    ]  # fmt: skip
    codes = {(each["code"], each["where"]) for each in told["findings"]}
    assert {("two-on-one-source", "source 0xA2"), ("wrong-length", "SSI2 of source 0xA6")} <= codes


def test_names_of_a_dbc_and_sensors_of_a_map(log: Path, tmp_path: Path) -> None:
    (tmp_path / "rig.toml").write_text(
        'sensor_map = 1\n[[sensors]]\nsensor = "boom"\nmessage = "SSI2"\nsource = 0xA0\nsignals = ["pitch"]\n',
        encoding="utf-8",
    )
    told = sniffed(str(log), "--map", str(tmp_path / "rig.toml"), "--dbc", str(REFERENCE / "rig.dbc"))
    assert by_sender(told)[0xA0, "SSI2"]["sensors"] == ["boom"]
    assert ("no-value", 5) in {(each["code"], int(each["found"].split("; ")[-1].split()[0])) for each in told["findings"]
                               if each["code"] == "no-value"}  # fmt: skip


def test_a_draft_is_a_map(log: Path, tmp_path: Path) -> None:
    file = tmp_path / "rig.toml"
    told = sniffed(str(log), "--draft", str(file))
    assert told["draft"] == str(file)
    assert "placeholders" in file.read_text(encoding="utf-8")
    by = read_map(file)
    assert [(e.sensor, e.parts[0].source, e.parts[0].signals) for e in by.entries] == [
        ("sensor-a0", 0xA0, ("pitch",)), ("sensor-a2", 0xA2, ("pitch", "roll")), ("sensor-a4", 0xA4, ("pitch", "roll")),
    ]  # fmt: skip
    assert by.receiver is not None
    assert by.receiver.part.source == 0xC0
    code, _, err = run("sniff", str(log), "--draft", str(file))
    assert (code, "file-exists" in err or "a new file" in err) == (1, True)


def test_nothing_to_draft_is_said(tmp_path: Path) -> None:
    log = tmp_path / "pit.asc"
    with can.ASCWriter(log) as writer:
        writer(message(0.0, 0x123, bytes(2), extended=False))
    code, _, err = run("sniff", str(log), "--draft", str(tmp_path / "rig.toml"))
    assert code == 1
    assert "no slope message" in err


@pytest.mark.parametrize("width", [100, 40])
def test_the_tables_fit(log: Path, width: int) -> None:
    told = sniffed(str(log))
    # As a terminal of this width, and as a file.
    console = Console(
        width=width, force_terminal=width < 100, record=True, file=io.StringIO(), color_system=None
    )
    print_sniffed(told, console)
    lines = console.export_text().splitlines()
    assert max(map(len, lines)) <= width
    assert any("SSI2" in line for line in lines)
    code, out, _ = run("sniff", str(log))
    assert code == 0
    assert "\x1b" not in out
    assert max(map(len, out.splitlines())) <= 80


def test_a_live_bus_while_it_listens(tmp_path: Path) -> None:
    over = threading.Event()

    def send() -> None:
        with can.Bus(interface="virtual", channel="sniffed") as bus:
            while not over.wait(0.01):
                bus.send(slope(0.0, 0xA2, 10.0, -3.0))

    thread = threading.Thread(target=send)
    thread.start()
    try:
        code, out, err = run("sniff", "--bus", "virtual:sniffed", "--seconds", "2.5", "--json")
    finally:
        over.set()
        thread.join(10.0)
    assert code == 0, err
    [row] = json.loads(out)["messages"]
    assert row["frames"] > 50
    assert "frames, 1 messages" in err, "progress"


def test_a_bus_that_nobody_sends_on_says_what_to_look_at() -> None:
    began = time.monotonic()
    code, out, err = run("sniff", "--bus", "virtual:nobody", "--seconds", "0.3")
    assert (code, out) == (1, "")
    assert time.monotonic() - began < 10.0
    for word in ("power", "bitrate", "termination", "listen-only"):
        assert word in err


@pytest.mark.parametrize("words", [
    [], ["pit.ndjson"], ["pit.log", "--bus", "virtual:x"], ["--bus", "virtual:x", "--seconds", "0"],
    ["--bus", "virtual:x", "--seconds", "nan"], ["pit.log", "--bitrate", "250000"],
])  # fmt: skip
def test_options_that_make_no_sense(words: list[str]) -> None:
    code, out, _ = run("sniff", *words, "--json")
    assert code == 1
    assert {fault["code"] for fault in json.loads(out)["faults"]} == {"bad-option"}


def test_the_guide_names_only_options_there_are() -> None:
    for command in ("sniff", "feed"):
        helped = CliRunner().invoke(app, [command, "--help"], env={"COLUMNS": "200"}).stdout
        lines = [line for line in GUIDE.splitlines() if line.startswith(f"tipdatum {command}")]
        assert lines, command
        named = {option for line in lines for option in re.findall(r"--[a-z-]+", line)}
        assert [option for option in sorted(named) if option not in helped] == []


def test_the_guide_tells_every_finding() -> None:
    told = set(re.findall(r"`([a-z]+(?:-[a-z0-9]+)+)`", GUIDE.partition("## What is noticed")[2]))
    sources = "".join(each.read_text(encoding="utf-8") for each in (
        files("service").joinpath("bus", name) for name in ("watch.py", "decoding.py", "pairing.py")
    ))  # fmt: skip
    named = set(re.findall(r"(?:Fault|add|change)\(\s*\"([a-z]+(?:-[a-z]+)+)\"", sources)) | {
        f"{who}-{what}" for who in ("bus", "sensor") for what in ("silent", "back")
    }  # fmt: skip
    assert "two-on-one-source" in named
    assert named - told == set()
