"""The draft of a map where messages of a DBC were seen: the map's reader takes it, and it decodes."""

import struct
from pathlib import Path

import can

from service.bus.log import read_log
from service.bus.sensor_map import read_map

from .rigs import REFERENCE
from .test_sniff import message, run, slope, sniffed


def test_messages_of_a_dbc_are_drafted_too(tmp_path: Path) -> None:
    slopes = (slope(0.01 * i, source, 10.0, 2.0) for i in range(20) for source in (0xA1, 0xA5))
    frames = [
        *slopes,
        *(message(0.01 * i, 0x121, struct.pack("<h6x", 1234), extended=False) for i in range(20)),
        *(message(0.01 * i, 0x122, struct.pack("<fBB", 1.5, 0, 0), extended=False) for i in range(20)),
        *(message(0.01 * i, 0x123, struct.pack("<Bh5x", 2, 123), extended=False) for i in range(20)),
        *(message(0.01 * i, 0x124, bytes(2), extended=False) for i in range(20)),
    ]  # fmt: skip
    with can.ASCWriter(tmp_path / "pit.asc") as writer:
        for frame in sorted(frames, key=lambda each: each.timestamp):
            writer(frame)
    file = tmp_path / "maps" / "rig.toml"
    file.parent.mkdir()
    files = [tmp_path / each for each in ("rig.dbc", "slopes.dbc")]
    for each in files:
        each.write_bytes((REFERENCE / each.name).read_bytes())
    sniffed(
        str(tmp_path / "pit.asc"), "--draft", str(file), *(w for each in files for w in ("--dbc", str(each)))
    )
    by = read_map(file)
    assert by.dbc == ("../rig.dbc", "../slopes.dbc")
    assert {(e.sensor, e.parts[0].source, e.parts[0].signals) for e in by.entries} == {
        ("sensor-slopetwo-a1", 0xA1, ("Pitch", "Roll")), ("sensor-slopetwo-a5", 0xA5, ("Pitch", "Roll")),
        ("sensor-stickunit", None, ("Angle_X", "Angle_Y")), ("sensor-boomwire", None, ("Extension",)),
        ("sensor-turns", None, ("Tilt",)), ("sensor-laser", None, ("Height",)),
    }  # fmt: skip
    said = {each.said["sensor"]: each.said for each in read_log(tmp_path / "pit.asc", file).signals}
    assert said["sensor-turns"] == {"sensor": "sensor-turns", "deg": 12.3}
    assert said["sensor-boomwire"] == {"sensor": "sensor-boomwire", "mm": 1500.0}


def test_files_that_are_not_there_are_told_together_and_by_what_they_are(tmp_path: Path) -> None:
    (tmp_path / "pit.log").write_text("", encoding="utf-8")
    (tmp_path / "rig.toml").write_text(
        'sensor_map = 1\ndbc = ["none.dbc"]\n'
        '[[sensors]]\nsensor = "boom"\nmessage = "SSI2"\nsource = 1\nsignals = ["pich"]\n',
        encoding="utf-8",
    )
    words = (str(tmp_path / each) for each in ("pit.log", "rig.toml", "nope.dbc"))
    log, rig, dbc = words
    code, _, err = run("sniff", log, "--map", rig, "--dbc", dbc)
    assert code == 1
    assert err.count("no such file") == 2
    assert "pich" in err
    assert "export" not in err
