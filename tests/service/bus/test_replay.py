"""Logs of every kind through the real door: held against the machine on the job first, then fed."""

import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import can
import httpx
import pytest

from kinematics.errors import Refused
from service.bus import log as log_file
from service.bus import replay as replaying
from service.bus.feeder import Feeder
from service.bus.layouts import BUILT_IN
from service.bus.log import read_log
from service.bus.map_tables import Csv
from service.bus.run import run_replay
from service.bus.sensor_map import Entry, Part, SensorMap, map_beside
from tests.service.running import service

from .rigs import sent

RATE_HZ, COUNT = 50, 100


@pytest.fixture(scope="module")
def address(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    with service(tmp_path_factory.mktemp("data")) as found:
        with httpx.Client(base_url=found, timeout=30.0) as client:
            client.post("/v1/jobs", json={"id": "pit", "name": "Pump house", "units": "m"}).raise_for_status()
            setup = {"machine": "crawler-14t", "attachment": "tilting-1800"}
            client.post("/v1/jobs/pit/setups", json=setup).raise_for_status()
        yield found


@pytest.fixture(scope="module")
def numbers(address: str) -> dict[str, int]:
    """Of each sensor of the machine on the job, how many numbers it says."""
    with Feeder(address, "pit") as feeder:
        feeder.ready()
        assert feeder.welcomed_as(lambda welcome: bool(welcome.get("sensors")))
        return {name: each["numbers"] for name, each in feeder.welcome["sensors"].items()}


def replayed(file: Path, address: str, **options: Any) -> dict[str, Any]:
    fixed: dict[str, Any] = {
        "job": "pit",
        "map_file": None,
        "speed": 4.0,
        "token": None,
        "say": lambda _: None,
    }
    return run_replay(file, to=address, **(fixed | options))


def can_log(file: Path, numbers: dict[str, int]) -> None:
    signals = {1: ("pitch",), 2: ("pitch", "roll")}
    entries = [
        Entry(name, (Part(BUILT_IN["SSI2"], 0xA0 + i, signals[n]),))
        for i, (name, n) in enumerate(numbers.items())
    ]
    map_beside(file).write_text(SensorMap(tuple(entries)).text(), encoding="utf-8")
    with can.Logger(file) as writer:
        for k in range(COUNT):
            for i in range(len(numbers)):
                frame = sent("SSI2", 0xA0 + i, 7.0 + k / RATE_HZ + i / 1000, pitch=1.0, latency=4.0)
                writer(can.Message(timestamp=frame.at_s, arbitration_id=frame.can_id, data=frame.data))


def test_a_can_log(address: str, numbers: dict[str, int], tmp_path: Path) -> None:
    can_log(tmp_path / "pit.asc", numbers)
    told = replayed(tmp_path / "pit.asc", address)
    assert told["ok"], told
    assert (told["readings"], told["sent"], told["lost"]) == (COUNT * len(numbers), COUNT * len(numbers), 0)
    assert (told["broken"], told["ignored_frames"], told["other_frames"]) == (None, 0, {})


def test_a_csv_log(address: str, numbers: dict[str, int], tmp_path: Path) -> None:
    file = tmp_path / "pit.csv"
    columns = {name: tuple(f"{name}_{i}" for i in range(n)) for name, n in numbers.items()}
    entries = tuple(Entry(name, (Part(None, None, each, "rad"),)) for name, each in columns.items())
    by = SensorMap(entries, csv=Csv(time="t", time_unit="us"))
    map_beside(file).write_text(by.text(), encoding="utf-8")
    heading = [each for names in columns.values() for each in names]
    rows = [",".join(["t", *heading])]
    rows += [",".join([str(20_000 * k), *["0.01"] * len(heading)]) for k in range(COUNT)]
    file.write_text("\n".join(rows) + "\n", encoding="utf-8")
    told = replayed(file, address)
    assert told["ok"], told
    assert told["sent"] == COUNT * len(numbers)


def test_a_map_that_does_not_fit_the_machine_feeds_nothing(
    address: str, numbers: dict[str, int], tmp_path: Path
) -> None:
    file = tmp_path / "pit.log"
    [(name, count), *_] = numbers.items()
    can_log(file, {name: count})
    with pytest.raises(Refused) as caught:
        replayed(file, address)
    assert {fault.code for fault in caught.value.faults} == {"not-mapped-sensor"}
    assert len(caught.value.faults) == len(numbers) - 1
    assert replayed(file, address, partly=True)["sent"] == COUNT
    map_beside(file).write_text(
        map_beside(file).read_text().replace(f'"{name}"', '"lever"'), encoding="utf-8"
    )
    with pytest.raises(Refused) as caught:
        replayed(file, address, partly=True)
    assert [fault.code for fault in caught.value.faults] == ["no-such-sensor"]


def test_a_broken_log_as_far_as_it_goes(address: str, numbers: dict[str, int], tmp_path: Path) -> None:
    file = tmp_path / "pit.log"
    can_log(file, numbers)
    text = file.read_text(encoding="utf-8")
    file.write_text(text[: len(text) // 2 + 3], encoding="utf-8")
    with pytest.raises(Refused, match="good frames"):
        replayed(file, address)
    began = time.monotonic()
    told = replayed(file, address, as_far=True)
    assert told["ok"], told
    assert 0 < told["sent"] < COUNT * len(numbers)
    assert told["broken"]["code"] == "broken-log"
    # A log of a second at four times its pace, and the feeder's wait for the last refusals.
    assert time.monotonic() - began < 30.0


def test_progress_while_reading_and_while_feeding(
    address: str, numbers: dict[str, int], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Told at every look in place of every 10 s, so that nobody waits."""
    can_log(tmp_path / "pit.log", numbers)
    monkeypatch.setattr(log_file, "TELL_EVERY_S", 0.0)
    monkeypatch.setattr(replaying, "TELL_EVERY_S", 0.0)
    words: list[str] = []
    replayed(tmp_path / "pit.log", address, say=words.append)
    assert words[0] == "Reading pit.log."
    reading = [each for each in words if each.endswith("of the log.")]
    assert reading[0] == "100 frames so far, 0 s of the log."
    assert reading[-1] == f"{COUNT * len(numbers) // 100 * 100} frames so far, 2 s of the log."
    fed = [each for each in words if each.endswith("s fed.")]
    assert len(fed) == COUNT * len(numbers)
    assert words.index(reading[-1]) < words.index(fed[0])


def test_of_a_short_log_there_is_a_line_when_reading_begins(numbers: dict[str, int], tmp_path: Path) -> None:
    can_log(tmp_path / "pit.log", numbers)
    words: list[str] = []
    read_log(tmp_path / "pit.log", say=words.append)
    assert words == ["Reading pit.log."]


COLUMNS = """sensor_map = 1
[csv]
time = "t"
time_unit = "s"
[[sensors]]
sensor = "boom"
columns = ["boom"]
unit = "deg"
"""


def test_a_map_of_the_other_kind_is_said_so(numbers: dict[str, int], tmp_path: Path) -> None:
    can_log(tmp_path / "pit.log", numbers)
    (tmp_path / "csv.toml").write_text(COLUMNS, encoding="utf-8")
    with pytest.raises(Refused) as caught:
        read_log(tmp_path / "pit.log", tmp_path / "csv.toml")
    [fault] = caught.value.faults
    assert (fault.code, fault.found) == (
        "wrong-map",
        "the map describes columns of a CSV log, this is a CAN log",
    )
    (tmp_path / "pit.csv").write_text("t,boom\n0,1\n", encoding="utf-8")
    with pytest.raises(Refused) as caught:
        read_log(tmp_path / "pit.csv", map_beside(tmp_path / "pit.log"))
    [fault] = caught.value.faults
    assert (fault.code, fault.found) == (
        "wrong-map",
        "the map describes messages on a bus, this is a CSV log",
    )
