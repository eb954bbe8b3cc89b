"""A log of readings gives them back as they were written; a faulty line is told by its number."""

import json
from pathlib import Path

import pytest

from kinematics.errors import Refused
from service.bus.log import read_log
from service.bus.ndjson_log import write_log
from service.simulation.motion import plan
from service.simulation.signals import signals
from tests.service.simulation.digs import dig_of


def test_what_is_written_is_read(tmp_path: Path) -> None:
    dig = dig_of("strike", 'quiet sensor="stick"; seconds=1', "wait seconds=2")
    said = list(signals(dig, plan(dig), 9))
    file = tmp_path / "pit.ndjson"
    assert write_log(file, said) == len(said)
    assert read_log(file).signals == tuple(said)
    first = json.loads(file.read_text().splitlines()[0])
    assert set(first) == {"sensor", "deg", "at_s"}
    with pytest.raises(FileExistsError):
        write_log(file, said)


def test_every_faulty_line_by_its_number(tmp_path: Path) -> None:
    lines = [
        '{"sensor": "boom", "at_s": 5023.45, "deg": 31.02}',
        '{"sensor": "boom", "at_s": 5023.46, "deg": NaN}',
        '{"sensor": "boom", "at_s": 5023.40, "deg": 31.0}',
        "{",
        "[1]",
        '{"sensor": "boom", "deg": 31.0}',
        '{"sensor": "boom", "at_s": 5023.5}',
        '{"sensor": "boom", "at_s": 5023.5, "deg": 1, "mm": 2}',
        '{"receiver_hit": 1, "at_s": 5023.5}',
        '{"receiver_hit": true, "at_s": 5023.5}',
        '{"receiver_above_mm": true, "at_s": 5023.5}',
        '{"sensor": "body", "at_s": 5023.5, "deg": [1, 2, 3]}',
        '{"sensor": 7, "at_s": 5023.5, "deg": 1}',
        "",
        '{"senor": "boom", "at_s": 5023.5, "deg": 1}',
        '{"sensor": "boom", "at_s": 5023.6, "deg": true}',
        '{"sensor": "boom", "at_s": 5023.6, "error": "not available"}',
        '{"sensor": "boom", "at_s": 5023.6, "rad": [0.5, 0.1]}',
        '{"sensor": "wire", "at_s": 5023.6, "m": 1.5}',
        '{"receiver_above_m": 0.012, "at_s": 5023.6}',
        '{"sensor": "boom", "at_s": 5023.6, "accelerometer_m_s2": [0, 0, 9.81], "gyro_rad_s": [0, 0, 0]}',
        '{"sensor": "boom", "at_s": 5023.6, "accelerometer_m_s2": [0, 0, 9.81]}',
        '{"sensor": "boom", "at_s": 5023.6, "accelerometer_m_s2": [0, 9.81], "gyro_rad_s": [0, 0, 0]}',
        '{"sensor": "boom", "at_s": 5023.6, "deg": 1, "deg": 2}',
    ]
    file = tmp_path / "pit.ndjson"
    file.write_text("\n".join(lines), encoding="utf-8")
    with pytest.raises(Refused) as caught:
        read_log(file)
    told = [(int(fault.where.rpartition(":")[2]), fault.code) for fault in caught.value.faults]
    assert told == [
        (2, "bad-reading"), (3, "out-of-order"), (4, "malformed-json"), (5, "bad-reading"), (6, "bad-reading"),
        (7, "bad-reading"), (8, "bad-reading"), (9, "bad-reading"), (11, "bad-reading"), (12, "bad-reading"),
        (13, "bad-reading"), (15, "bad-reading"), (16, "bad-reading"), (22, "bad-reading"), (23, "bad-reading"),
        (24, "malformed-json"),
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("name", "text", "code"),
    [
        ("pit.ndjson", "", "empty-log"), ("pit.txt", "1,2", "bad-option"), ("pit.log", "", "unreadable"),
        ("pit.csv", "1,2", "unreadable"),
    ],
)  # fmt: skip
def test_what_is_no_log(name: str, text: str, code: str, tmp_path: Path) -> None:
    (tmp_path / name).write_text(text, encoding="utf-8")
    with pytest.raises(Refused) as caught:
        read_log(tmp_path / name)
    assert caught.value.code == code


def test_missing_file_bytes_and_a_map_for_nothing(tmp_path: Path) -> None:
    with pytest.raises(Refused, match="No such file"):
        read_log(tmp_path / "none.ndjson")
    (tmp_path / "bytes.ndjson").write_bytes(b"\xff\xfe")
    with pytest.raises(Refused, match="UTF-8"):
        read_log(tmp_path / "bytes.ndjson")
    with pytest.raises(Refused, match="no map"):
        read_log(tmp_path / "bytes.ndjson", tmp_path / "m.toml")


def test_a_thousand_faults_are_told_as_a_hundred(tmp_path: Path) -> None:
    (tmp_path / "pit.ndjson").write_text("{\n" * 1000, encoding="utf-8")
    with pytest.raises(Refused) as caught:
        read_log(tmp_path / "pit.ndjson")
    assert len(caught.value.faults) == 100


def test_as_far_as_it_goes(tmp_path: Path) -> None:
    good = '{"sensor": "boom", "at_s": 1.0, "deg": 31.0}\n'
    (tmp_path / "pit.ndjson").write_text(good * 3 + good[:20], encoding="utf-8")
    with pytest.raises(Refused):
        read_log(tmp_path / "pit.ndjson")
    log = read_log(tmp_path / "pit.ndjson", as_far=True)
    assert len(log.signals) == 3
    assert log.broken is not None
    assert log.broken.where.endswith("pit.ndjson:4")
