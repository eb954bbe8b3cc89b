"""Messages built in against published ones, against two readers of DBC files, and there and back."""

import functools
from pathlib import Path
from typing import Any

import canmatrix.formats.dbc
import cantools.database
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kinematics.errors import Refused
from service.bus.dbc import read_dbc
from service.bus.framing import ACCS, ARI, RECEIVER, SSI, SSI2, Lack, State, apart, identifier, named
from service.bus.items import highest
from service.bus.layouts import BUILT_IN, RECEIVED, Layout

SLOPES = Path(__file__).parents[2] / "reference" / "bus" / "slopes.dbc"
BUILT_AS = {"SlopeOne": "SSI", "SlopeTwo": "SSI2", "AngularRate": "ARI", "Acceleration": "ACCS"}
CALLED = {
    "Pitch": "pitch", "Roll": "roll", "PitchRate": "pitch_rate", "RollRate": "roll_rate", "YawRate": "yaw_rate",
    "Lateral": "lateral", "Longitudinal": "longitudinal", "Vertical": "vertical", "Latency": "latency",
}  # fmt: skip
PUBLISHED = bytes.fromhex("3B E8 7D F5 BF 7C 00 06")


@functools.cache
def of_cantools() -> Any:
    return cantools.database.load_file(SLOPES, strict=True)


@functools.cache
def of_canmatrix() -> Any:
    with SLOPES.open("rb") as opened:
        return canmatrix.formats.dbc.load(opened)


@functools.cache
def own() -> dict[str, Layout]:
    return {layout.name: layout for layout in read_dbc(SLOPES)}


def number(layout: Layout, name: str, data: bytes) -> float:
    said = layout.read(data)[name]
    assert isinstance(said, float), said
    return said


# Outside: identifier, payload and scaling as published for PGN 61481 and 61459 (seen); the arithmetic stands here.


def test_published_identifier() -> None:
    assert identifier(SSI2, 0xA2) == 0x0CF029A2
    assert apart(0x0CF029A2) == (61481, 0xA2)
    assert (SSI, SSI2, ARI, ACCS) == (0xF013, 0xF029, 0xF02A, 0xF02D)
    # To one address: the address is no part of the number.
    assert apart(0x18EA29A2) == (0xEA00, 0xA2)
    assert named(0x0CF029A2, extended=True) == "PGN 61481 from source 0xA2"
    assert named(0x121, extended=False) == "identifier 0x121"


def test_published_payload_of_a_log() -> None:
    # 0x7DE83B = 8251451; / 32768 - 250 = 1.814301. 0x7CBFF5 = 8175605; / 32768 - 250 = -0.500336. 6 x 0.5 ms.
    by_hand = 0x7DE83B / 32768 - 250, 0x7CBFF5 / 32768 - 250
    assert by_hand == pytest.approx((1.814301, -0.500336), abs=5e-7)  # the last of six decimals
    ssi2 = BUILT_IN["SSI2"]
    assert number(ssi2, "pitch", PUBLISHED) == pytest.approx(1.814301, abs=5e-7)
    assert number(ssi2, "roll", PUBLISHED) == pytest.approx(-0.500336, abs=5e-7)
    assert number(ssi2, "latency", PUBLISHED) == 3.0
    written = dict.fromkeys(ssi2.items, 0.0) | {"pitch": 1.814301, "roll": -0.500336, "latency": 3.0}
    assert ssi2.write(written) == PUBLISHED


def test_published_zero_and_end_of_sixteen_bits() -> None:
    assert BUILT_IN["SSI2"].write({"pitch": 0.0, "roll": 0.0})[:6] == bytes.fromhex("00 00 7D 00 00 7D")
    assert BUILT_IN["SSI"].write({"pitch": 0.0, "roll": 0.0})[:4] == (32000).to_bytes(2, "little") * 2
    end = bytes.fromhex("FF FA 00 7D FF FF 00 00")
    assert number(BUILT_IN["SSI"], "pitch", end) == pytest.approx(64.51, abs=1e-9)
    assert BUILT_IN["SSI"].write({"pitch": 64.51})[:2] == bytes.fromhex("FF FA")


def test_rates_and_accelerations_by_hand() -> None:
    """Scaling and order of bytes 1 to 6 as seen in public sources. 9.81 m/s2: (9.81 + 320) / 0.01 = 32981 = 0x80D5."""
    level = bytes.fromhex("00 7D 00 7D D5 80 FF FF")
    accs = BUILT_IN["ACCS"]
    assert [number(accs, name, level) for name in ("lateral", "longitudinal", "vertical")] == pytest.approx(
        [0.0, 0.0, 9.81], abs=1e-9
    )
    # 10 deg/s: (10 + 250) x 128 = 33280 = 0x8200; 0: 32000 = 0x7D00; -10: 30720 = 0x7800.
    turning = bytes.fromhex("00 82 00 7D 00 78 00 14")
    ari = BUILT_IN["ARI"]
    assert [number(ari, f"{name}_rate", turning) for name in ("pitch", "roll", "yaw")] == [10.0, 0.0, -10.0]
    assert number(ari, "latency", turning) == 10.0
    assert accs.latency is None


def test_the_same_through_a_dbc_by_cantools_and_canmatrix() -> None:
    theirs = of_cantools().get_message_by_name("SlopeTwo").decode(PUBLISHED)
    others = of_canmatrix().frame_by_name("SlopeTwo").decode(PUBLISHED)
    for name, wanted in (("Pitch", 1.814301), ("Roll", -0.500336), ("Latency", 3.0)):
        ours = number(own()["SlopeTwo"], name, PUBLISHED)
        # Half the last of six decimals printed; among readers the rounding of doubles.
        assert ours == pytest.approx(wanted, abs=5e-7)
        assert ours == pytest.approx(float(theirs[name]), abs=1e-9)
        assert ours == pytest.approx(float(others[name].phys_value), abs=1e-9)


@pytest.mark.parametrize("name", BUILT_AS)
@settings(deadline=None)
@given(data=st.binary(min_size=8, max_size=8))
def test_any_frame_by_four_readers(name: str, data: bytes) -> None:
    """Where ours says that a code is no number the others, who know no J1939, give one: there ours must say why."""
    layout, built = own()[name], BUILT_IN[BUILT_AS[name]]
    assert layout.pgn == built.pgn
    theirs = of_cantools().get_message_by_name(name).decode(data, decode_choices=False)
    others = of_canmatrix().frame_by_name(name).decode(data)
    ours, ours_built = layout.read(data), built.read(data)
    for signal, called in CALLED.items():
        if signal not in layout.items:
            continue
        if isinstance(ours[signal], float):
            assert ours[signal] == pytest.approx(float(theirs[signal]), abs=1e-9)
            assert ours[signal] == pytest.approx(float(others[signal].phys_value), abs=1e-9)
            assert ours[signal] == pytest.approx(ours_built[called], abs=1e-9)
        else:
            item = layout.items[signal]
            assert item.raw(data) > highest(item.size)
            assert ours[signal] == ours_built[called]


# Ranges of codes: from memory of SAE J1939-71.


@pytest.mark.parametrize(("high", "lack"), [(0xFE, Lack.ERROR), (0xFF, Lack.NOT_AVAILABLE)])
@pytest.mark.parametrize("name", ["SSI", "SSI2", "ARI", "ACCS"])
def test_error_and_not_available(name: str, high: int, lack: Lack) -> None:
    layout = BUILT_IN[name]
    for item in (item for item in layout.items.values() if item.size >= 16):
        first, size = item.start // 8, item.size // 8
        for low in (0x00, 0x37, 0xFF):
            data = bytearray(8)
            data[first : first + size] = bytes([low] * (size - 1) + [high])
            assert layout.read(bytes(data))[item.name] is lack
        assert layout.write({item.name: lack})[first + size - 1] == high


@pytest.mark.parametrize("high", [0xFB, 0xFC, 0xFD])
@pytest.mark.parametrize("name", ["SSI", "SSI2", "ARI", "ACCS"])
def test_reserved_codes_are_no_numbers(name: str, high: int) -> None:
    layout = BUILT_IN[name]
    item = next(iter(layout.items.values()))
    data = bytes([0] * (item.size // 8 - 1) + [high]) + bytes(8 - item.size // 8)
    said = layout.read(data)[item.name]
    assert isinstance(said, State)
    assert said.code == "reserved-code"


@pytest.mark.parametrize(
    ("size", "top"),
    [(2, 1), (4, 0xD), (8, 0xFA), (10, 0x3FA), (12, 0xFAF), (16, 0xFAFF), (24, 0xFAFFFF), (32, 0xFAFFFFFF)],
)
def test_the_last_number_of_each_width(size: int, top: int) -> None:
    assert highest(size) == top


@pytest.mark.parametrize("length", [0, 6, 7, 9])
@pytest.mark.parametrize("layout", [*BUILT_IN.values(), RECEIVED], ids=lambda each: each.name)
def test_another_length_is_refused(layout: Layout, length: int) -> None:
    """Some units send 6 bytes under 0xF029, laid out otherwise (seen)."""
    with pytest.raises(Refused) as caught:
        layout.read(bytes(length))
    [fault] = caught.value.faults
    assert (fault.code, fault.found) == ("wrong-length", f"{length} bytes")


@pytest.mark.parametrize("layout", [*BUILT_IN.values(), RECEIVED], ids=lambda each: each.name)
@settings(deadline=None)
@given(told=st.data())
def test_there_and_back(layout: Layout, told: st.DataObject) -> None:
    values = {}
    for name, item in layout.items.items():
        low, high = item.offset, item.offset + item.bit * highest(item.size)
        if item.high is not None:
            high = item.high
        values[name] = told.draw(
            st.floats(low, high) | st.sampled_from(Lack) if item.coded else st.integers(0, 3)
        )
    read = layout.read(layout.write(values))
    assert read.keys() == values.keys()
    for name, value in values.items():
        back = read[name]
        if isinstance(value, Lack):
            assert back is value
        else:
            # To the nearest bit, and the rounding of doubles at 320.
            assert isinstance(back, float)
            assert abs(back - value) <= layout.items[name].bit / 2 + 1e-9


@settings(deadline=None)
@given(st.floats(allow_nan=True, allow_infinity=True))
def test_what_a_frame_does_not_carry_is_refused(angle: float) -> None:
    if -64.001 <= angle <= 64.511:  # half a bit beyond either end
        return
    with pytest.raises(Refused) as caught:
        BUILT_IN["SSI"].write({"pitch": angle})
    assert caught.value.code in ("out-of-range", "not-finite")


def test_the_receivers_frame() -> None:
    assert RECEIVED.pgn == RECEIVER
    assert RECEIVED.read(RECEIVED.write({"hit": 1.0})) == {"hit": 1.0, "above": Lack.NOT_AVAILABLE}
    assert RECEIVED.read(b"\x02" + b"\xff" * 7)["hit"] == "2, outside 0 to 1"
