"""CSV logs by a map: units, signs, empty cells, and every fault by its line."""

from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kinematics.errors import Refused
from service.bus.log import Log, read_log
from tests.amounts import several

MAP = """
sensor_map = 1
[csv]
time = "t"
time_unit = "ms"

[[sensors]]
sensor = "body"
columns = ["pitch", "-roll"]
unit = "deg"

[[sensors]]
sensor = "boom"
columns = ["boom"]
unit = "rad"

[[sensors]]
sensor = "wire"
columns = ["wire"]
unit = "in"

[[sensors]]
sensor = "bucket"
accelerometer = { columns = ["ax", "ay", "az"], unit = "g" }
gyro = { columns = ["gx", "gy", "gz"], unit = "deg/s" }

[receiver]
column = "beam"
tells = "above"
unit = "cm"
"""
HEADING = "t,pitch,roll,boom,wire,ax,ay,az,gx,gy,gz,beam,note"


def log_of(text: str, folder: Path, by: str = MAP, **options: Any) -> Log:
    (folder / "pit.csv").write_text(text, encoding="utf-8")
    (folder / "pit.csv.map.toml").write_text(by, encoding="utf-8")
    return read_log(folder / "pit.csv", **options)


def test_a_row_of_everything(tmp_path: Path) -> None:
    """0.5 rad is 28.647890 deg; 60 in is 1524 mm; 1 g is 9.80665 m/s2; 90 deg/s is pi / 2 rad/s."""
    log = log_of(f"{HEADING}\n1500,1.25,2,0.5,60,0,0,1,0,-90,0,-1.2,all well\n", tmp_path)
    assert {signal.t_s for signal in log.signals} == {1.5}
    assert [dict(signal.said) for signal in log.signals] == [
        {"sensor": "body", "deg": [1.25, -2.0]}, {"sensor": "boom", "deg": 28.64789},
        {"sensor": "wire", "mm": 1524.0},
        {"sensor": "bucket", "accelerometer_m_s2": [0.0, 0.0, 9.80665], "gyro_rad_s": [0.0, -1.57079633, 0.0]},
        {"receiver_above_mm": -12.0},
    ]  # fmt: skip


def test_an_empty_cell_is_no_reading(tmp_path: Path) -> None:
    log = log_of(f"{HEADING}\n\n1500,,,0.5,,,,,,,,,\n1500,1,1,,,,,,,,,,\n", tmp_path)
    assert [signal.said["sensor"] for signal in log.signals] == ["boom", "body"]


def test_semicolons_and_seconds_and_a_mark_first(tmp_path: Path) -> None:
    by = MAP.replace('"ms"', '"s"\ndelimiter = ";"')
    text = "\ufeff" + HEADING.replace(",", ";") + "\n1.5;;;0.5;;;;;;;;;\n"
    assert [signal.t_s for signal in log_of(text, tmp_path, by).signals] == [1.5]


def test_a_receiver_that_tells_a_hit(tmp_path: Path) -> None:
    by = MAP.replace('"above"\nunit = "cm"', '"hit"')
    rows = "".join(f"{i},,,,,,,,,,,{cell},\n" for i, cell in enumerate(["0", "1", "TRUE", "false", ""]))
    assert [s.said["receiver_hit"] for s in log_of(f"{HEADING}\n{rows}", tmp_path, by).signals] == [
        False,
        True,
        True,
        False,
    ]
    with pytest.raises(Refused, match="true or false"):
        log_of(f"{HEADING}\n1,,,,,,,,,,,2,\n", tmp_path, by)


@pytest.mark.parametrize(
    ("rows", "line", "code", "words"),
    [
        ("1,x,2,,,,,,,,,,", 2, "not-a-number", 'pitch "x"'), ("1,nan,2,,,,,,,,,,", 2, "not-a-number", '"nan"'),
        ("1,inf,2,,,,,,,,,,", 2, "not-a-number", '"inf"'), ("1,1e999,2,,,,,,,,,,", 2, "not-a-number", "1e999"),
        ("1,1_0,2,,,,,,,,,,", 2, "not-a-number", "1_0"), ("1,1,,,,,,,,,,,", 2, "not-a-number", "without -roll"),
        ('1,"1,5",2,,,,,,,,,,', 2, "not-a-number", "decimal points"),
        ("1,1,5,2,,,,,,,,,,", 2, "wrong-count", "decimal comma"),
        ("1,1,2", 2, "wrong-count", "3 cells"), (",1,2,,,,,,,,,,", 2, "not-a-number", "t \"\""),
        ("2,1,2,,,,,,,,,,\n1,1,2,,,,,,,,,,", 3, "out-of-order", "0.001 s after 0.002 s"),
        ("2,1,2,,,,,,,,,,\n\n3,1,2,,,1,,,,,,,", 4, "not-a-number", "bucket without ay"),
    ],
)  # fmt: skip
def test_every_fault_by_its_line(rows: str, line: int, code: str, words: str, tmp_path: Path) -> None:
    if "without -roll" in words:
        words = "without roll"
    with pytest.raises(Refused) as caught:
        log_of(f"{HEADING}\n{rows}\n", tmp_path)
    fault = caught.value.faults[0]
    assert (fault.code, int(fault.where.rpartition(":")[2])) == (code, line)
    assert words in str(fault)


def test_as_far_as_it_goes(tmp_path: Path) -> None:
    text = f"{HEADING}\n1,1,2,,,,,,,,,,\n2,1,2,,,,,,,,,,\n3,1"
    with pytest.raises(Refused):
        log_of(text, tmp_path)
    log = log_of(text, tmp_path, as_far=True)
    assert len(log.signals) == 2
    assert log.broken is not None


@pytest.mark.parametrize(
    ("text", "code", "words"),
    [
        ("", "unreadable", "nothing"), ("t;pitch\n1;2\n", "unknown-column", 'delimiter = ";"'),
        (HEADING.replace("boom", "bom") + "\n", "unknown-column", "did you mean bom?"),
        (HEADING + ",boom\n", "given-twice", '2 columns "boom"'), (f"{HEADING}\n", "empty-log", "no reading"),
        (f'{HEADING}\n1,"2\n', "unreadable", "end of data"), ("t,\0\n", "unknown-column", "pitch"),
    ],
)  # fmt: skip
def test_what_is_no_log(text: str, code: str, words: str, tmp_path: Path) -> None:
    with pytest.raises(Refused) as caught:
        log_of(text, tmp_path)
    assert caught.value.code == code
    assert words in str(caught.value)


def test_a_map_without_columns(tmp_path: Path) -> None:
    by = 'sensor_map = 1\n[[sensors]]\nsensor = "boom"\nmessage = "SSI2"\nsource = 1\nsignals = ["pitch"]\n'
    with pytest.raises(Refused, match="messages on a bus, this is a CSV log"):
        log_of(f"{HEADING}\n", tmp_path, by)


@settings(max_examples=several(150), deadline=None)
@given(text=st.binary(max_size=200), headed=st.booleans())
def test_random_bytes_are_read_or_refused(
    text: bytes, headed: bool, tmp_path_factory: pytest.TempPathFactory
) -> None:
    file = tmp_path_factory.getbasetemp() / "any.csv"
    file.write_bytes((HEADING.encode() + b"\n" if headed else b"") + text)
    file.with_name("any.csv.map.toml").write_text(MAP, encoding="utf-8")
    with pytest.raises(Refused):
        read_log(file)


@settings(max_examples=several(100), deadline=None)
@given(text=st.binary(max_size=200))
def test_random_lines_are_refused(text: bytes, tmp_path_factory: pytest.TempPathFactory) -> None:
    file = tmp_path_factory.getbasetemp() / "any.ndjson"
    file.write_bytes(text)
    with pytest.raises(Refused):
        read_log(file)
