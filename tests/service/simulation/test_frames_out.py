"""Readings to CAN logs of every kind and onto python-can's virtual bus, and back. No hardware is tried."""

from pathlib import Path

import can
import pytest

from kinematics.errors import Refused
from machine_profiles import shipped
from service.bus.can_log import LOGS
from service.bus.decoding import Decoder
from service.bus.frames import Frame
from service.bus.framing import SSI2, identifier
from service.bus.layouts import BUILT_IN
from service.bus.log import read_log
from service.bus.reading import Reading
from service.bus.sensor_map import Entry, Part, SensorMap, map_beside, read_map
from service.simulation.dig import Dig, read_dig
from service.simulation.frames_out import bus_out, frame_for, log_out, map_for
from service.simulation.motion import plan
from service.simulation.signals import signals

from .digs import dig_of, dig_text

# Six decimals of a degree of a bit of 1/32768.
BIT_DEG = 0.5 / 32768 + 5e-7


@pytest.fixture(scope="module")
def said() -> tuple[Dig, list[Reading]]:
    dig = dig_of("strike", "wait seconds=1")
    return dig, list(signals(dig, plan(dig), 3))


def alike(one: Reading, other: Reading) -> bool:
    if "deg" not in one.said:
        return one.said == other.said
    return bool(one.said == {**other.said, "deg": pytest.approx(other.said["deg"], abs=BIT_DEG)})


@pytest.mark.parametrize("ending", LOGS)
def test_a_log_gives_the_readings_back(ending: str, said: tuple[Dig, list[Reading]], tmp_path: Path) -> None:
    dig, told = said
    file = tmp_path / f"pit{ending}"
    with log_out(dig, 3, file) as out:
        for signal in told:
            out.put(signal, signal.t_s)
    assert out.count == len(told)
    log = read_log(file)
    assert log.ignored == 0
    assert len(log.signals) == len(told)
    for back, signal in zip(log.signals, told, strict=True):
        assert alike(back, signal)
        # candump writes microseconds, the others milliseconds or finer.
        assert back.t_s - log.signals[0].t_s == pytest.approx(signal.t_s, abs=0.0011)


def test_live_on_a_virtual_bus(said: tuple[Dig, list[Reading]]) -> None:
    dig, told = said
    sources = {each.sensor: each.parts[0].source for each in map_for(dig).entries}
    with (
        can.Bus(interface="virtual", channel="test-pit") as heard,
        bus_out(dig, 3, "virtual:test-pit") as out,
    ):
        for signal in told[:40]:
            out.put(signal, signal.t_s)
        for signal in told[:40]:
            message = heard.recv(timeout=5.0)
            assert message is not None
            assert message.is_extended_id
            assert message.dlc == 8
            source = message.arbitration_id & 0xFF
            name = signal.said.get("sensor")
            assert source == (0xC0 if name is None else sources[name])


@pytest.mark.parametrize("words", ["virtual", ":x", "virtual:", "no-such-thing:0"])
def test_a_bus_that_is_none_is_refused(words: str, said: tuple[Dig, list[Reading]]) -> None:
    with pytest.raises(Refused) as caught:
        bus_out(said[0], 3, words)
    assert caught.value.faults[0].where == "--bus"


def test_a_length_has_no_slope_message(tmp_path: Path) -> None:
    text = shipped()["machine", "crawler-14t"].source_text
    head, _, boom = text.partition("[sensors.boom]")
    wire = boom.replace('"gravity-angle"', '"length"', 1).replace("{ nose_up = 3.2 }", "12.0")
    wire = wire.replace("low = -180, high = 180", "low = 1300, high = 2600", 1).replace(
        "noise = 0.05", "noise = 1", 1
    )
    wire = wire.replace("skew_uncertainty = 0.5\n", "", 1)
    (tmp_path / "wired.toml").write_text(f"{head}[sensors.boom]{wire}", encoding="utf-8")
    dig = read_dig(dig_text("wait seconds=1").replace("crawler-14t", "wired.toml"), "pit.toml", tmp_path)
    with pytest.raises(Refused) as caught:
        map_for(dig)
    assert [(fault.code, fault.where) for fault in caught.value.faults] == [
        ("no-slope-message", "sensors.boom")
    ]
    told = next(each.said for each in signals(dig, plan(dig), 1) if each.said.get("sensor") == "boom")
    assert 1400 < told["mm"] < 2500
    assert set(told) == {"sensor", "mm"}


def test_the_map_there_and_back(said: tuple[Dig, list[Reading]], tmp_path: Path) -> None:
    made = map_for(said[0])
    (tmp_path / "m.toml").write_text(made.text(), encoding="utf-8")
    assert read_map(tmp_path / "m.toml") == made
    body = next(each for each in made.entries if each.sensor == "body")
    assert body == Entry("body", (Part(BUILT_IN["SSI2"], 0xA0, ("pitch", "roll")),))


def test_faulty_frames_are_told_and_others_ignored(said: tuple[Dig, list[Reading]], tmp_path: Path) -> None:
    file = tmp_path / "pit.log"
    map_beside(file).write_text(map_for(said[0]).text(), encoding="utf-8")
    good = frame_for({"deg": [1.0, 2.0]}, None)
    frames = [
        (identifier(SSI2, 0xA1), good), (0x18FEF100, bytes(8)), (identifier(SSI2, 0xA1), bytes(6)),
        (identifier(SSI2, 0x55), good), (identifier(SSI2, 0xA1), b"\x00\x00\xfc" + good[3:]),
    ]  # fmt: skip
    with can.Logger(file) as writer:
        for i, (name, data) in enumerate(frames):
            writer(can.Message(timestamp=1.0 + i / 50, arbitration_id=name, data=data, is_extended_id=True))
        writer(can.Message(timestamp=1.2, arbitration_id=0x29, data=good, is_extended_id=False))
    log = read_log(file)
    assert (log.frames, log.ignored) == (6, 2)
    assert [signal.said.get("error") for signal in log.signals] == [
        None,
        "wrong length",
        "the reserved code 0xFC0000",
    ]
    assert {"wrong-length", "not-mapped", "reserved-code", "latency-not-told"} <= {
        fault.code for fault in log.faults
    }


def test_readings_to_frames_and_back() -> None:
    body = SensorMap((Entry("body", (Part(BUILT_IN["SSI2"], 0xA0, ("pitch", "roll")),)),))
    boom = SensorMap((Entry("boom", (Part(BUILT_IN["SSI2"], 0xA0, ("pitch",)),)),))
    for by, reading in (
        (body, {"sensor": "body", "deg": [0.61, -0.4]}), (boom, {"sensor": "boom", "deg": -171.3}),
        (boom, {"sensor": "boom", "error": "error"}),
    ):  # fmt: skip
        frame = Frame(1.0, identifier(SSI2, 0xA0), extended=True, data=frame_for(reading, 0.03))
        [back] = Decoder(by).take(frame).readings
        assert alike(back, Reading(1.0, reading))
        assert back.late_s == (0.0 if "error" in reading else 0.03)
    assert frame_for({"deg": 0.0}, 0.5)[7] == 0xFF
    assert frame_for({"deg": 0.0}, 0.125)[7] == 250
    with pytest.raises(Refused):
        frame_for({"deg": 300.0}, None)
