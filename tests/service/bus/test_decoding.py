"""Frames to readings by a map: values by hand, what is no value, what is told and never passed on."""

import math
import struct
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.bus.decoding import Decoder, Taken
from service.bus.frames import Frame
from service.bus.framing import Lack, identifier
from service.bus.layouts import BUILT_IN, RECEIVED
from service.bus.reading import Reading
from service.bus.sensor_map import Entry, Heard, Part, SensorMap

from .rigs import RIG, map_of, plain, sent, stick, wide

IDENTIFIERS = [
    0x0CF029A0, 0x0CF029A1, 0x0CF02AA3, 0x0CF02DA3, 0x0CF02955, 0x18FEF100, 0x121, 0x122, 0x123, 0x124,
]  # fmt: skip


@pytest.fixture
def decoder(tmp_path: Path) -> Decoder:
    return Decoder(map_of(RIG, tmp_path))


def said(taken: Taken) -> list[dict[str, object]]:
    return [dict(reading.said) for reading in taken.readings]


def codes(taken: Taken) -> list[str]:
    return [fault.code for fault in taken.faults]


def only(sensor: str, *, degraded: str = "error", name: str = "SSI2") -> Decoder:
    part = Part(BUILT_IN[name], 0xA2, ("pitch", "roll"))
    return Decoder(SensorMap((Entry(sensor, (part,), degraded),)))  # type: ignore[arg-type]


def test_the_published_frame_is_a_reading() -> None:
    """0x0CF029A2, 3B E8 7D F5 BF 7C 00 06 (seen in a log): byte 7 says merits 0, byte 8 a latency of 3 ms."""
    taken = only("body").take(wide(0x0CF029A2, bytes.fromhex("3BE87DF5BF7C0006"), 5.0))
    [reading] = taken.readings
    assert reading == Reading(5.0, {"sensor": "body", "deg": [1.814301, -0.500336]}, 0.003)
    assert taken.layout is BUILT_IN["SSI2"]
    assert [entry.sensor for entry in taken.entries] == ["body"]
    assert not taken.faults


def test_every_kind_of_the_rig(decoder: Decoder) -> None:
    assert said(decoder.take(sent("SSI2", 0xA0, pitch=1.0, roll=2.0))) == [
        {"sensor": "body", "deg": [1.0, -2.0]}
    ]
    assert said(decoder.take(sent("SSI2", 0xA1, pitch=31.0))) == [{"sensor": "boom", "deg": 31.0}]
    assert said(decoder.take(stick(-95.25))) == [{"sensor": "stick", "deg": 95.25}]
    assert said(decoder.take(plain(0x122, struct.pack("<fBB", 1.5, 0, 0)))) == [
        {"sensor": "wire", "mm": 1500.0}
    ]
    assert said(decoder.take(plain(0x123, bytes.fromhex("027B00000000 0000")))) == [
        {"sensor": "tilt", "deg": 12.3}
    ]
    assert said(decoder.take(plain(0x124, b"\x01\x00"))) == [{"receiver_hit": True}]
    assert said(decoder.take(plain(0x124, b"\x00\x00"))) == [{"receiver_hit": False}]


def test_another_selection_of_a_multiplexed_message_says_nothing(decoder: Decoder) -> None:
    taken = decoder.take(plain(0x123, bytes.fromhex("017B000000000000")))
    assert (taken.readings, taken.faults) == ((), ())
    assert [entry.sensor for entry in taken.entries] == ["tilt"]


def test_frames_of_others_are_none_of_ours(decoder: Decoder) -> None:
    assert decoder.take(wide(0x18FEF100, bytes(8))) == Taken()
    # The same eleven bits in an identifier of 29 are another frame.
    assert decoder.take(wide(0x121, bytes(8))) == Taken()
    for kind in ("remote", "error", "fd"):
        assert decoder.take(Frame(1.0, 0x121, extended=False, data=bytes(8), kind=kind)) == Taken()


def test_an_unmapped_unit_is_told_once_with_its_values(decoder: Decoder) -> None:
    first = decoder.take(sent("SSI2", 0x55, pitch=7.0))
    assert codes(first) == ["not-mapped"]
    assert first.faults[0].where == "PGN 61481 from source 0x55"
    assert first.values is not None
    assert first.values["Pitch"] == 7.0  # by the builder's own file, which comes before what is built in
    assert codes(decoder.take(sent("SSI2", 0x55))) == []
    assert codes(decoder.take(sent("SSI2", 0x56))) == ["not-mapped"]


def test_another_length_is_told_and_the_sensor_has_no_value(decoder: Decoder) -> None:
    """Some units send 6 bytes under 0xF029, laid out otherwise (seen)."""
    taken = decoder.take(wide(identifier(61481, 0xA0), bytes(6)))
    assert said(taken) == [{"sensor": "body", "error": "wrong length"}]
    [fault] = taken.faults
    assert (fault.code, fault.where, fault.found) == ("wrong-length", "PGN 61481 from source 0xA0", "6 bytes")
    assert fault.expected.startswith("8 bytes")


@pytest.mark.parametrize(("merit", "words"), [(0, None), (1, "degraded"), (2, "error"), (3, None)])
@pytest.mark.parametrize(("name", "source"), [("SSI2", 0xA0), ("SSI2", 0xA1)], ids=["built in", "of a file"])
def test_merits(merit: int, words: str | None, name: str, source: int, decoder: Decoder) -> None:
    taken = decoder.take(sent(name, source, pitch=1.0, pitch_merit=merit))
    [reading] = taken.readings
    assert reading.said.get("error") == words
    assert codes(taken) == (["degraded"] if merit == 1 else [])


def test_degraded_is_taken_where_the_map_says_so() -> None:
    taken = only("body", degraded="take").take(sent("SSI2", 0xA2, pitch=1.0, roll_merit=1))
    assert said(taken) == [{"sensor": "body", "deg": [1.0, 0.0]}]
    assert codes(taken) == ["degraded"]
    taken = only("body", degraded="take").take(sent("SSI2", 0xA2, pitch_merit=1, roll_merit=2))
    assert said(taken) == [{"sensor": "body", "error": "error"}]


def test_compensation_means_nothing_here() -> None:
    taken = only("body").take(sent("SSI2", 0xA2, pitch=1.0, pitch_compensation=2, roll_compensation=1))
    assert said(taken) == [{"sensor": "body", "deg": [1.0, 0.0]}]


@pytest.mark.parametrize("lack", Lack)
@pytest.mark.parametrize("name", ["SSI", "SSI2"])
def test_error_and_not_available(lack: Lack, name: str) -> None:
    layout = BUILT_IN[name]
    frame = wide(identifier(layout.pgn or 0, 0xA2), layout.write({"pitch": 1.0, "roll": lack}))
    assert said(only("body", name=name).take(frame)) == [{"sensor": "body", "error": lack.value}]


def test_a_reserved_code_is_told_and_no_number() -> None:
    data = b"\x00\x00\xfc" + BUILT_IN["SSI2"].write({"roll": 1.0, "roll_merit": 0.0})[3:]
    taken = only("body").take(wide(0x0CF029A2, data))
    assert said(taken) == [{"sensor": "body", "error": "the reserved code 0xFC0000"}]
    assert codes(taken) == ["reserved-code"]


def test_states_and_what_cannot_be_are_no_numbers(decoder: Decoder) -> None:
    warming = decoder.take(plain(0x121, struct.pack("<h6x", 32767)))
    assert said(warming) == [{"sensor": "stick", "error": "Warming up"}]
    assert not warming.faults
    beyond = decoder.take(stick(200.0))
    assert said(beyond) == [{"sensor": "stick", "error": "200 deg, outside -180 to 180"}]
    assert codes(beyond) == ["out-of-range"]
    none = decoder.take(plain(0x122, struct.pack("<fBB", math.nan, 0, 0)))
    assert said(none) == [{"sensor": "wire", "error": "nan"}]
    assert codes(none) == ["not-finite"]
    assert codes(decoder.take(plain(0x124, b"\x07\x00"))) == ["out-of-range"]


def test_a_latency_that_is_not_told_is_named_once() -> None:
    decoder = only("body")
    frame = wide(0x0CF029A2, bytes.fromhex("3BE87DF5BF7C00FF"))
    first, second = decoder.take(frame), decoder.take(frame)
    assert (codes(first), codes(second)) == (["latency-not-told"], [])
    assert [reading.late_s for reading in (*first.readings, *second.readings)] == [0.0, 0.0]


@pytest.mark.parametrize(
    ("late_s", "known", "dated"),
    [(0.03, {}, 4.97), (0.03, {"body": 0.01}, 4.98), (0.01, {"body": 0.03}, 5.0), (0.0, {"body": 0.03}, 5.0)],
)
def test_never_younger_than_its_frame_tells(late_s: float, known: dict[str, float], dated: float) -> None:
    """What the service takes off for the file's latency is taken off once."""
    reading = Reading(5.0, {"sensor": "body", "deg": 1.0}, late_s)
    assert reading.dated(known) == pytest.approx(dated, abs=1e-12)


# Raw sensors.


def force(at_s: float) -> Frame:
    return sent("ACCS", 0xA3, at_s, longitudinal=-1.0, lateral=0.5, vertical=9.81)


def turn(at_s: float, latency: float = 4.0) -> Frame:
    return sent("ARI", 0xA3, at_s, roll_rate=1.0, pitch_rate=-2.0, yaw_rate=3.0, latency=latency)


def test_two_halves_are_one_reading(decoder: Decoder) -> None:
    """1 deg/s is pi / 180 = 0.01745329 rad/s; lateral 0.5 to the right is -0.5 to the left by this map."""
    assert said(decoder.take(force(1.0))) == []
    [reading] = decoder.take(turn(1.015)).readings
    assert (reading.t_s, reading.late_s) == (1.015, 0.004)
    assert reading.said["accelerometer_m_s2"] == pytest.approx([-1.0, -0.5, 9.81], abs=1e-9)
    assert reading.said["gyro_rad_s"] == pytest.approx([0.01745329, -0.03490659, 0.05235988], abs=1e-8)
    # Each half once: the other order, and neither with what was used.
    assert said(decoder.take(turn(1.02))) == []
    assert len(decoder.take(force(1.03)).readings) == 1


def test_halves_farther_apart_are_none(decoder: Decoder) -> None:
    decoder.take(force(1.0))
    late = decoder.take(turn(1.021))
    assert (said(late), codes(late)) == ([], ["raw-apart"])
    assert len(decoder.take(force(1.03)).readings) == 1


def test_a_half_alone_is_told_each_second(decoder: Decoder) -> None:
    told = [codes(decoder.take(force(1.0 + i / 100))) for i in range(250)]
    assert sum(len(each) for each in told) == 2


def test_a_half_without_a_value_is_no_pair(decoder: Decoder) -> None:
    decoder.take(force(1.0))
    assert said(decoder.take(sent("ARI", 0xA3, 1.005, yaw_rate_merit=2))) == [
        {"sensor": "bucket", "error": "error"}
    ]
    assert said(decoder.take(turn(1.01))) == []


# The receiver.


def test_the_receivers_own_frame() -> None:
    decoder = Decoder(SensorMap((), Heard(Part(RECEIVED, 0xC0, ("hit", "above")))))

    def heard(**values: float) -> Taken:
        return decoder.take(wide(identifier(65290, 0xC0), RECEIVED.write(values)))

    assert said(heard(hit=1.0)) == [{"receiver_hit": True}]
    assert said(heard(hit=0.0)) == [{"receiver_hit": False}]
    assert said(heard(above=-12.3)) == [{"receiver_above_mm": -12.3}]
    assert heard().readings == ()
    other = decoder.take(wide(identifier(65290, 0xC1), RECEIVED.write({"hit": 1.0})))
    assert other.readings == ()


def test_a_receiver_of_a_file_that_tells_its_height(tmp_path: Path) -> None:
    text = RIG.replace('signal = "Beam"', 'signal = "-Height"').replace('"hit"', '"above"')
    decoder = Decoder(map_of(text, tmp_path))
    assert said(decoder.take(plain(0x124, struct.pack("<Bb", 1, -20)))) == [{"receiver_above_mm": 20.0}]
    assert codes(decoder.take(plain(0x124, struct.pack("<Bb", 1, -128)))) == ["no-value"]


@settings(deadline=None)
@given(
    can_id=st.sampled_from(IDENTIFIERS),
    extended=st.booleans(), data=st.binary(max_size=12), at_s=st.floats(-1e9, 1e9),
)  # fmt: skip
def test_whatever_comes_nothing_is_raised_and_numbers_are_finite(
    can_id: int, extended: bool, data: bytes, at_s: float, tmp_path_factory: pytest.TempPathFactory
) -> None:
    decoder = Decoder(map_of(RIG, tmp_path_factory.getbasetemp()))
    taken = decoder.take(Frame(at_s, can_id, extended=extended, data=data))
    for reading in taken.readings:
        for value in reading.said.values():
            assert isinstance(value, str | bool) or all(
                math.isfinite(each) for each in (value if isinstance(value, list) else [value])
            )
