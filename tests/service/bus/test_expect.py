"""A map held against the machine on the job: all that does not fit at once, before anything is sent."""

import json
from pathlib import Path
from typing import Any

import pytest
from websockets.sync.server import ServerConnection

from kinematics.errors import Refused
from service.bus.expecting import misfits
from service.bus.feeder import Feeder
from service.bus.sensor_map import SensorMap

from .rigs import map_of
from .test_feeder import WAIT_S, Service, feed_on, greet, serving

Json = dict[str, Any]


def sensor(unit: str = "deg", numbers: int = 1, **more: Any) -> Json:
    return {"unit": unit, "numbers": numbers, "age_limit_s": 0.5, **more}


def welcome(**sensors: Json) -> Json:
    return {
        "job": "pit", "machine": {"id": "midi-8t"}, "attachment": {"id": "coupled-900"}, "sensors": sensors,
        "receiver": False, "no_sensors_because": [],
    }  # fmt: skip


def slope(name: str, source: int, signals: str = '["pitch"]') -> str:
    return f'[[sensors]]\nsensor = "{name}"\nmessage = "SSI2"\nsource = {source}\nsignals = {signals}\n'


def mapped(folder: Path, *tables: str) -> SensorMap:
    return map_of("sensor_map = 1\n" + "".join(tables), folder)


RAW = """[[sensors]]
sensor = "stick"
source = 9
accelerometer = { message = "ACCS", signals = ["longitudinal", "lateral", "vertical"] }
gyro = { message = "ARI", signals = ["roll_rate", "pitch_rate", "yaw_rate"] }
"""


def codes(told: Json, by: SensorMap, **more: bool) -> list[tuple[str, str]]:
    return [(fault.code, fault.where) for fault in misfits(told, by.entries, **more)]


def test_a_map_that_fits(tmp_path: Path) -> None:
    by = mapped(tmp_path, slope("boom", 1), slope("body", 2, '["pitch", "roll"]'), RAW)
    told = welcome(boom=sensor(place="boom"), body=sensor(numbers=2), stick=sensor(raw=True))
    assert codes(told, by) == []


def test_every_misfit_at_once(tmp_path: Path) -> None:
    by = mapped(tmp_path, slope("lever", 1), slope("body", 2), slope("wire", 3), RAW)
    told = welcome(
        body=sensor(numbers=2), wire=sensor("mm", measures="length"), stick=sensor(raw=False), boom=sensor()
    )
    assert codes(told, by, receiver=True) == [
        ("no-such-sensor", "map: lever"), ("wrong-count", "map: body"), ("wrong-unit", "map: wire"),
        ("no-raw", "map: stick"), ("no-receiver", "map: receiver"), ("not-mapped-sensor", "map: boom"),
    ]  # fmt: skip
    assert ("not-mapped-sensor", "map: boom") not in codes(told, by, partly=True)


def test_a_joint_that_the_machine_lacks_is_named(tmp_path: Path) -> None:
    by = mapped(tmp_path, slope("fore_boom", 1), slope("boom", 2))
    told = welcome(boom=sensor(place="boom"), arm=sensor(place="stick"))
    first, second = misfits(told, by.entries)
    assert first.found == "fore_boom, where midi-8t has no joint with a sensor"
    assert first.expected == "one of: boom, arm"
    assert second.code == "not-mapped-sensor"
    [other] = misfits(told, mapped(tmp_path, slope("stick", 1)).entries, partly=True)
    assert other.found == "stick, a place whose sensor is called arm"


@pytest.mark.parametrize(("because", "found"), [
    (["two sensors give the boom"], "two sensors give the boom"), ([], "midi-8t with no sensors in its profiles"),
])  # fmt: skip
def test_a_machine_without_sensors(because: list[str], found: str, tmp_path: Path) -> None:
    [fault] = misfits(
        welcome() | {"no_sensors_because": because},
        mapped(tmp_path, slope("boom", 1), slope("lever", 2)).entries,
    )
    assert (fault.code, fault.found) == ("no-sensors", found)


def test_an_older_service_is_held_to_what_it_says(tmp_path: Path) -> None:
    by = mapped(tmp_path, slope("boom", 1), RAW)
    told = {"job": "pit", "sensors": {"boom": {"unit": "deg"}, "stick": {"unit": "deg", "numbers": 1}}}
    assert codes(told, by, receiver=True) == []


def test_one_that_does_not_fit_is_refused_and_nothing_sent(tmp_path: Path) -> None:
    def waits(service: Service, wire: ServerConnection) -> None:
        greet(service, wire)
        for text in wire:
            raise AssertionError(text)

    with serving(Service(waits)) as address, Feeder(address, "pit") as feeder:
        feeder.ready()
        with pytest.raises(Refused) as caught:
            feeder.expect(mapped(tmp_path, slope("lever", 1)).entries)
    assert [fault.code for fault in caught.value.faults] == ["no-such-sensor", "not-mapped-sensor"]


def test_another_machine_put_on_the_job_stops_the_feeding(tmp_path: Path) -> None:
    def changes(service: Service, wire: ServerConnection) -> None:
        greet(service, wire)
        service.hear(wire)
        wire.send(json.dumps({"welcome": welcome(lever=sensor()), "clock": 2}))
        for _ in wire:
            pass

    with serving(Service(changes)) as address, Feeder(address, "pit", first_pause_s=0.01) as feeder:
        feeder.ready()
        feeder.expect(mapped(tmp_path, slope("boom", 1)).entries)
        with pytest.raises(Refused) as caught:
            feed_on(feeder)
        assert caught.value.code == "no-such-sensor"
        with pytest.raises(Refused):
            feeder.ready(WAIT_S)


def test_latencies_of_the_welcome() -> None:
    feeder = Feeder("http://127.0.0.1:1", "pit")
    feeder.welcome = welcome(boom=sensor(latency_s=0.03), stick=sensor())
    assert feeder.latencies_s == {"boom": 0.03, "stick": 0.0}
