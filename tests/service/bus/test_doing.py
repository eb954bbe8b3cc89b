"""What sniff leads with: each sensor of the map and what it does, then what is in no map; bytes that nobody knows."""

import math
import random
import struct
from pathlib import Path

import can
import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.bus.courses import FEWEST, Course
from service.bus.framing import Lack

from .rigs import REFERENCE
from .test_sniff import Json, message, run, slope, sniffed

SENSORS = {
    "boom": 0xA2,
    "stick": 0xA0,
    "wide": 0xA6,
    "idler": 0xA7,
    "never": 0xA9,
    "cabin": 0xA8,
    "gone": 0xAA,
}


def course(numbers: list[float]) -> Course:
    made = Course()
    for number in numbers:
        made.take(number)
    return made


def test_a_ramp_moves_and_noise_rests() -> None:
    rng = random.Random(3)  # noqa: S311 - no secret hangs on it
    assert course([0.2 * i for i in range(100)]).moves("deg", 0.01) is True
    assert course([20.0 + rng.gauss(0.0, 0.02) for _ in range(5000)]).moves("deg", 3e-5) is False
    assert course([20.0 + rng.gauss(0.0, 1.0) for _ in range(5000)]).moves("deg", 3e-5) is False, (
        "an engine that shakes"
    )
    assert course([20.0 + 0.01 * (i // 100 % 2) for i in range(1000)]).moves("", 0.01) is False, "one bit"
    assert course([20.0] * 500 + [50.0] + [20.0] * 500).moves("deg", 0.01) is False, "one odd number"
    assert course([0.004 * math.sin(i / 50) for i in range(1000)]).moves("m", 1e-6) is True, "8 mm to and fro"
    assert course([1.0] * (FEWEST - 1)).moves("deg", 0.01) is None


@given(st.floats(-180.0, 180.0), st.integers(FEWEST, 300))
def test_what_stands_still_rests(number: float, count: int) -> None:
    assert course([number] * count).moves("deg", 0.01) is False


@pytest.fixture
def log(tmp_path: Path) -> Path:
    """Four seconds: every thing that a sensor may do, and three units that no layout or map knows."""
    rng = random.Random(5)  # noqa: S311 - no secret hangs on it
    frames = [
        *(slope(0.01 * i, 0xA2, 10.0 + 0.01 * i, -3.0) for i in range(400)),
        *(slope(0.02 * i, 0xA0, 25.0 + rng.gauss(0.0, 0.02), Lack.NOT_AVAILABLE) for i in range(200)),
        *(message(0.1 * i, 0x0CF029A6, bytes(6)) for i in range(40)),
        *(slope(0.02 * i, 0xA7, Lack.ERROR if i > 150 else 5.0, Lack.NOT_AVAILABLE) for i in range(200)),
        *(slope(0.01 * i + 0.0037 * (i % 2), 0xA8, 40.0 * (i % 2), Lack.NOT_AVAILABLE) for i in range(400)),
        *(slope(0.02 * i, 0xAA, 5.0, Lack.NOT_AVAILABLE) for i in range(50)),
        *(message(0.1 * i, 0x18FF21B1, struct.pack("<hBBBBBB", 20 * i, 7, 1, 2, 3, 4, 5)) for i in range(40)),
        *(message(0.1 * i, 0x121, struct.pack("<h6x", 1234 - 10 * i), extended=False) for i in range(40)),
        *(message(0.1 * i, 0x321, bytes([i, 0, 125]), extended=False) for i in range(40)),
    ]  # fmt: skip
    with can.ASCWriter(tmp_path / "pit.asc") as writer:
        for frame in sorted(frames, key=lambda each: each.timestamp):
            writer(frame)
    return tmp_path / "pit.asc"


@pytest.fixture
def rig(tmp_path: Path) -> Path:
    tables = [
        f'[[sensors]]\nsensor = "{name}"\nmessage = "SSI2"\nsource = {at}\nsignals = ["pitch"]\n'
        for name, at in SENSORS.items()
    ]
    (tmp_path / "rig.toml").write_text(
        "sensor_map = 1\n" + "".join(tables) + "[receiver]\nsource = 0xC0\n", encoding="utf-8"
    )
    return tmp_path / "rig.toml"


def test_what_each_sensor_does(log: Path, rig: Path) -> None:
    told = sniffed(str(log), "--map", str(rig), "--dbc", str(REFERENCE / "rig.dbc"))
    assert [(line["sensor"], line["does"]) for line in told["sensors"][:8]] == [
        ("boom", "moves"), ("stick", "rests"), ("wide", "lacks"), ("idler", "lacks"), ("never", "silent"),
        ("cabin", "jumps"), ("gone", "silent"), ("receiver", "silent"),
    ]  # fmt: skip
    lines: dict[str, Json] = {line["sensor"]: line for line in told["sensors"] if line["sensor"]}
    assert lines["boom"]["numbers"] == "pitch 10 to 13.99 deg"
    assert (lines["never"]["numbers"], lines["never"]["source"]) == ("no frame", 0xA9)
    others = [(line["message"], line["does"], line["numbers"]) for line in told["sensors"][8:]]
    assert others == [
        ("unknown", "moves", "bytes 1, 2 move"), ("StickUnit", "moves", "Angle_X 8.44 to 12.34 deg; Angle_Y 0 rad"),
        ("unknown", "moves", "byte 1 moves"),
    ]  # fmt: skip


def test_sensors_come_first_and_messages_after(log: Path, rig: Path) -> None:
    code, out, err = run("sniff", str(log), "--map", str(rig))
    assert code == 0, err
    lines = out.splitlines()
    assert max(map(len, lines)) <= 80
    heads = [line.split() for line in lines if line.startswith((" sensor ", " message ", " number "))]
    assert heads == [
        ["sensor", "does", "its", "numbers", "message", "from"],
        ["message", "from", "PGN", "frames", "per", "s", "gaps", "ms", "bytes", "late", "ms"],
        ["number", "least", "greatest", "last", "unit", "not", "told", "merits"],
    ]
    assert next(line for line in lines if line.split()[:1] == ["boom"]).split()[1:6] == [
        "moves", "pitch", "10", "to", "13.99",
    ]  # fmt: skip
    assert sum(line.startswith(" not in the map") for line in lines) == 3
    assert " no map " in run("sniff", str(log))[1]


def test_bytes_of_a_unit_that_nothing_describes(log: Path) -> None:
    rows = {row["identifier"]: row for row in sniffed(str(log))["messages"]}
    assert rows["0x321"]["bytes"] == [
        {"byte": 1, "moved": True, "from": 0, "to": 39}, {"byte": 2, "moved": False, "from": 0, "to": 0},
        {"byte": 3, "moved": False, "from": 125, "to": 125},
    ]  # fmt: skip
    assert [each["moved"] for each in rows["0xCF029A6"]["bytes"]] == [False] * 6, "not as long as its message"
    assert rows["0xCF029A2"]["bytes"] == []
    out = run("sniff", str(log))[1].splitlines()
    assert "0x321: 00..27 00 7D" in out
    # 20 times 39 is 780, 0x030C; its low byte comes by everything up to 0xF8, 248.
    assert "PGN 65313 from 0xB1: 00..F8 00..03 07 01 02 03 04 05" in out


def test_a_map_of_columns_says_nothing_of_a_bus(log: Path, tmp_path: Path) -> None:
    (tmp_path / "csv.toml").write_text(
        'sensor_map = 1\n[csv]\ntime = "t"\ntime_unit = "s"\n'
        '[[sensors]]\nsensor = "boom"\ncolumns = ["b"]\nunit = "deg"\n',
        encoding="utf-8",
    )
    code, _, err = run("sniff", str(log), "--map", str(tmp_path / "csv.toml"))
    assert code == 1
    assert "the map describes columns of a CSV log, this is a CAN log" in err
