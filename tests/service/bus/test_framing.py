"""CAN frames against published ones, and there and back for whatever a sensor may say."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kinematics.errors import Refused
from service.bus.framing import (
    RECEIVER,
    SSI,
    SSI2,
    Lack,
    Received,
    Slope,
    apart,
    frame_of,
    identifier,
    read_frame,
    receiver_frame,
    slope_frame,
    words_of,
)

HALF_BIT = {SSI2: 0.5 / 32768, SSI: 0.001}


def slope(pgn: int, data: bytes) -> Slope:
    read = read_frame(identifier(pgn, 0xA2), data)
    assert isinstance(read, Slope)
    return read


# Outside: identifiers, payload and scaling as published for PGN 61481 and 61459; the angles derived from the payload.


def test_published_identifier() -> None:
    assert identifier(SSI2, 0xA2) == 0x0CF029A2
    assert apart(0x0CF029A2) == (61481, 0xA2)
    assert (SSI, SSI2) == (0xF013, 0xF029)


def test_published_payload_of_a_log() -> None:
    read = slope(SSI2, bytes.fromhex("3B E8 7D F5 BF 7C 00 06"))
    # Half a bit of 1/32768 deg, and half the last of six decimals printed.
    assert read.pitch == pytest.approx(1.814301, abs=5e-7)
    assert read.roll == pytest.approx(-0.500336, abs=5e-7)
    assert read.latency_s == 0.003
    assert slope_frame(SSI2, 1.814301, -0.500336, 0.003) == bytes.fromhex("3B E8 7D F5 BF 7C 00 06")


def test_published_zero() -> None:
    assert slope_frame(SSI2, 0.0, 0.0, 0.0)[:6] == bytes.fromhex("00 00 7D 00 00 7D")
    assert slope_frame(SSI, 0.0, 0.0, 0.0)[:4] == (32000).to_bytes(2, "little") * 2


def test_published_end_of_sixteen_bits() -> None:
    read = slope(SSI, bytes.fromhex("FF FA 00 7D FF FF 00 00"))
    assert read.pitch == pytest.approx(64.51, abs=1e-9)
    assert slope_frame(SSI, 64.51, 0.0, None)[:2] == bytes.fromhex("FF FA")


@pytest.mark.parametrize("length", [0, 6, 7, 9])
@pytest.mark.parametrize("pgn", [SSI, SSI2, RECEIVER])
def test_another_length_is_refused(pgn: int, length: int) -> None:
    """Some units send 6 bytes under 0xF029, laid out otherwise (seen)."""
    with pytest.raises(Refused) as caught:
        read_frame(identifier(pgn, 1), bytes(length))
    assert caught.value.code == "wrong-length"


# Ranges of codes: from memory of SAE J1939-71.


@pytest.mark.parametrize(("pgn", "size"), [(SSI, 2), (SSI2, 3)])
@pytest.mark.parametrize(("high", "lack"), [(0xFE, Lack.ERROR), (0xFF, Lack.NOT_AVAILABLE)])
def test_error_and_not_available(pgn: int, size: int, high: int, lack: Lack) -> None:
    zero = slope_frame(pgn, 0.0, 0.0, None)
    for low in (0x00, 0x37, 0xFF):
        coded = bytes([low] * (size - 1) + [high])
        read = slope(pgn, coded + zero[size:])
        assert read.pitch == lack
        assert read.roll == pytest.approx(0.0)


@pytest.mark.parametrize(("pgn", "size"), [(SSI, 2), (SSI2, 3)])
@pytest.mark.parametrize("high", [0xFB, 0xFC, 0xFD])
def test_reserved_codes_are_no_numbers(pgn: int, size: int, high: int) -> None:
    zero = slope_frame(pgn, 0.0, 0.0, None)
    with pytest.raises(Refused) as caught:
        slope(pgn, zero[:size] + bytes([0] * (size - 1) + [high]) + zero[2 * size :])
    assert (caught.value.code, caught.value.faults[0].where) == ("reserved-code", "roll")


def test_a_merit_of_error_is_an_error_whatever_the_number() -> None:
    assert slope(SSI2, slope_frame(SSI2, 1.0, 2.0, None, 0b00001000)).pitch == Lack.ERROR
    assert slope(SSI2, slope_frame(SSI2, 1.0, 2.0, None, 0b10000000)).roll == Lack.ERROR
    assert slope(SSI, slope_frame(SSI, 1.0, 2.0, None, 0b00001000)).roll == Lack.ERROR
    # Compensation bits, which makers document both ways round, are carried as they are and mean nothing here.
    carried = slope(SSI2, slope_frame(SSI2, 1.0, 2.0, None, 0b00110011))
    assert (carried.pitch, carried.roll, carried.quality) == (1.0, 2.0, 0b00110011)


@given(
    st.floats(-250.0, 262.0), st.floats(-250.0, 262.0), st.none() | st.floats(0.0, 0.125), st.integers(0, 253)
)
def test_ssi2_there_and_back(pitch: float, roll: float, late: float | None, source: int) -> None:
    pitch, roll = min(pitch, 0xFAFFFF / 32768 - 250), min(roll, 0xFAFFFF / 32768 - 250)
    read = read_frame(identifier(SSI2, source), slope_frame(SSI2, pitch, roll, late))
    assert isinstance(read, Slope)
    assert not isinstance(read.pitch, Lack)
    assert not isinstance(read.roll, Lack)
    assert abs(read.pitch - pitch) <= HALF_BIT[SSI2] * (1 + 1e-9)
    assert abs(read.roll - roll) <= HALF_BIT[SSI2] * (1 + 1e-9)
    if late is None:
        assert read.latency_s is None
    else:
        assert read.latency_s == pytest.approx(late, abs=0.00025 + 1e-12)


@given(st.floats(-64.0, 64.51), st.floats(-64.0, 64.51))
def test_ssi_there_and_back(pitch: float, roll: float) -> None:
    read = slope(SSI, slope_frame(SSI, pitch, roll, None))
    assert not isinstance(read.pitch, Lack)
    assert not isinstance(read.roll, Lack)
    assert abs(read.pitch - pitch) <= HALF_BIT[SSI] + 1e-9
    assert abs(read.roll - roll) <= HALF_BIT[SSI] + 1e-9


@given(st.floats(allow_nan=True, allow_infinity=True))
def test_what_a_frame_does_not_carry_is_refused(angle: float) -> None:
    if -64.001 <= angle <= 64.511:  # half a bit beyond either end
        return
    with pytest.raises(Refused) as caught:
        slope_frame(SSI, angle, 0.0, None)
    assert caught.value.code == ("out-of-range" if math.isfinite(angle) else "not-finite")


def test_a_latency_that_no_code_tells_is_not_told() -> None:
    assert slope_frame(SSI2, 0.0, 0.0, 0.5)[7] == 0xFF
    assert slope_frame(SSI2, 0.0, 0.0, 0.125)[7] == 250


@given(st.booleans())
def test_the_receivers_bit(hit: bool) -> None:
    data = receiver_frame(hit=hit, above_mm=Lack.NOT_AVAILABLE)
    assert len(data) == 8
    read = read_frame(identifier(RECEIVER, 0xC0), data)
    assert read == Received(hit, Lack.NOT_AVAILABLE)
    assert isinstance(read, Received)
    assert words_of(read, "", 1) == {"receiver_hit": hit}


@given(st.floats(-3200.0, 3225.5))
def test_the_beam_over_the_receivers_centre(above: float) -> None:
    read = read_frame(identifier(RECEIVER, 0xC0), frame_of({"receiver_above_mm": above}, RECEIVER, None))
    assert isinstance(read, Received)
    words = words_of(read, "", 1)
    assert words is not None
    assert words["receiver_above_mm"] == pytest.approx(above, abs=0.05 + 1e-9)


def test_readings_to_frames_and_back() -> None:
    for said, numbers in (
        ({"sensor": "body", "deg": [0.61, -0.4]}, 2), ({"sensor": "boom", "deg": -171.3}, 1),
        ({"sensor": "boom", "error": "out of range"}, 1),
    ):  # fmt: skip
        read = slope(SSI2, frame_of(said, SSI2, 0.03))
        back = words_of(read, str(said["sensor"]), numbers)
        assert back is not None
        if "error" in said:
            assert back == {"sensor": "boom", "error": "error"}
        else:
            assert back["deg"] == pytest.approx(said["deg"], abs=HALF_BIT[SSI2] + 5e-7)


def test_frames_of_others_are_none_of_ours() -> None:
    assert read_frame(0x18FEF100, bytes(8)) is None
    # To one address: the address is no part of the number.
    assert apart(0x18EA29A2) == (0xEA00, 0xA2)
