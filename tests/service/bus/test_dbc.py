"""A builder's DBC: what is in it is read as two other readers read it, and what is none is refused in cantools' words."""

import io
import math
import struct
from pathlib import Path
from typing import Any

import canmatrix.formats.dbc
import cantools.database
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from kinematics.errors import Refused
from service.bus.dbc import read_dbc
from service.bus.framing import Lack, State
from service.bus.layouts import Layout
from tests.amounts import several

from .rigs import REFERENCE, damaged

RIG = {layout.name: layout for layout in read_dbc(REFERENCE / "rig.dbc")}


def test_signed_big_endian_float_and_multiplexed() -> None:
    # -12.34 deg: -1234 = 0xFB2E, low byte first; 0.5 rad: 5000 = 0x1388, high byte first.
    read = RIG["StickUnit"].read(bytes.fromhex("2E FB 13 88 05 00 00 00"))
    assert read["Angle_X"] == pytest.approx(-12.34, abs=1e-12)
    assert read["Angle_Y"] == pytest.approx(0.5, abs=1e-12)
    wire = RIG["BoomWire"].read(struct.pack("<fBB", 1.5, 7, 8))
    assert wire == {"Extension": 1.5, "Plain": 7.0, "Odd": 8.0}
    # 12.3 deg: 123 = 0x7B in either selection, under the name that was selected.
    assert RIG["Turns"].read(bytes.fromhex("01 7B 00 00 00 00 00 00")) == {
        "Which": 1.0,
        "Bucket": pytest.approx(12.3),
    }
    assert RIG["Turns"].read(bytes.fromhex("02 7B 00 00 00 00 00 00")) == {
        "Which": 2.0,
        "Tilt": pytest.approx(12.3),
    }
    assert RIG["Turns"].read(bytes.fromhex("03 7B 00 00 00 00 00 00")) == {"Which": 3.0}


NESTED = """VERSION ""
BU_: X
BO_ 1 A: 8 X
 SG_ First M : 0|4@1+ (1,0) [0|0] "" X
 SG_ Second m1M : 4|4@1+ (1,0) [0|0] "" X
 SG_ Deep m2 : 8|8@1+ (1,0) [0|0] "deg" X
SG_MUL_VAL_ 1 Second First 1-1;
SG_MUL_VAL_ 1 Deep Second 2-2, 5-7;
"""


@pytest.mark.parametrize(
    "numbers", ["(1e400,0) [0|0]", "(%s,0) [0|0]" % ("9" * 400), "(1,-1e400) [0|0]", "(1,0) [0|1e400]"]
)
def test_numbers_that_are_none(numbers: str, tmp_path: Path) -> None:
    text = NESTED.replace("(1,0) [0|0]", numbers)
    (tmp_path / "a.dbc").write_text(text, encoding="utf-8")
    with pytest.raises(Refused) as caught:
        read_dbc(tmp_path / "a.dbc")
    assert [fault.code for fault in caught.value.faults] == ["unreadable"]


@pytest.mark.parametrize(
    ("good", "swollen"),
    [
        ("8|8@1+", "8|100000000@1+"), ("8|8@1+", "100000000|8@1+"), ("BO_ 1 A: 8", "BO_ 1 A: 100000000"),
        ("8|8@1+", f"8|{'9' * 5000}@1+"), ("2-2, 5-7", "2-2, 5-100000000"), ("2-2, 5-7", f"2-2, 5-{'9' * 5000}"),
    ],
    ids=range(6),
)  # fmt: skip
def test_sizes_that_no_message_has(good: str, swollen: str, tmp_path: Path) -> None:
    """The parser would make room for each bit and each selection."""
    assert good in NESTED
    (tmp_path / "a.dbc").write_text(NESTED.replace(good, swollen), encoding="utf-8")
    with pytest.raises(Refused) as caught:
        read_dbc(tmp_path / "a.dbc")
    [fault] = caught.value.faults
    assert fault.code == "unreadable"
    assert "of a message" in fault.found or "a signal" in fault.found


@pytest.mark.parametrize("first", [0x21, 0x61])
def test_multiplexed_in_turn_as_cantools_has_it(first: int, tmp_path: Path) -> None:
    (tmp_path / "a.dbc").write_text(NESTED, encoding="utf-8")
    [layout] = read_dbc(tmp_path / "a.dbc")
    data = bytes([first, 9, 0, 0, 0, 0, 0, 0])
    theirs: Any = cantools.database.load_string(NESTED, "dbc")
    assert layout.read(data) == theirs.messages[0].decode(data)
    assert layout.read(data)["Deep"] == 9.0
    # Of a selecting value that the file does not know cantools raises; here what it selects is not there.
    assert layout.read(bytes([0x31, *data[1:]])) == {"First": 1.0, "Second": 3.0}
    assert layout.read(bytes([0x20, *data[1:]])) == {"First": 0.0}


def test_a_named_value_is_a_state() -> None:
    said = RIG["StickUnit"].read(struct.pack("<h6x", -32768))["Angle_X"]
    assert isinstance(said, State)
    assert (said, said.code) == ("No value", "state")
    assert RIG["StickUnit"].read(struct.pack("<h6x", 32767))["Angle_X"] == "Warming up"


def test_what_the_file_says_cannot_be_is_no_number() -> None:
    beyond = RIG["StickUnit"].read(struct.pack("<h6x", 18001))["Angle_X"]
    assert isinstance(beyond, State)
    assert (beyond, beyond.code) == ("180.01 deg, outside -180 to 180", "out-of-range")
    assert RIG["StickUnit"].read(struct.pack("<h6x", 18000))["Angle_X"] == 180.0
    for value in (math.nan, math.inf, -math.inf):
        said = RIG["BoomWire"].read(struct.pack("<fBB", value, 0, 0))["Extension"]
        assert isinstance(said, State)
        assert said.code == "not-finite"


def test_codes_only_where_the_file_says_j1939() -> None:
    slopes = {layout.name: layout for layout in read_dbc(REFERENCE / "slopes.dbc")}
    assert slopes["SlopeTwo"].read(b"\xff" * 8)["Pitch"] is Lack.NOT_AVAILABLE
    assert (slopes["SlopeTwo"].pgn, RIG["Swing"].pgn) == (61481, None)
    # 0x8C9F x 0.01 = 359.99 deg; in J1939 it would be a number too, 0xFExx would not.
    assert RIG["Swing"].read(bytes.fromhex("9F 8C 00 00 00 00 00 00"))["Turn"] == pytest.approx(359.99)
    assert RIG["Laser"].read(bytes.fromhex("FE FE"))["Beam"] == 254.0


@st.composite
def files(draw: st.DrawFn) -> str:
    """A DBC of one message of 8 bytes, its signals side by side, of both byte orders."""
    length, at, lines = 64, 0, []
    while at < length:
        size = min(draw(st.integers(1, 32)), length - at)
        big, signed = draw(st.booleans()), draw(st.booleans())
        scale = draw(st.sampled_from([1, 0.5, 0.01, 0.002, -0.25, 3]))
        offset = draw(st.sampled_from([0, -250, 12.5]))
        if big:
            # A DBC counts the highest bit of a big-endian signal within its byte from the right.
            size = min(size, 64 - at)
            start = 8 * (at // 8) + 7 - at % 8
        else:
            start = at
        lines.append((big, f"{start}|{size}@{0 if big else 1}{'-' if signed else '+'} ({scale},{offset})"))
        at += size
    kept = [words for big, words in lines if big == lines[0][0]]  # of one order: mixed ones would overlap
    signals = "".join(f' SG_ s{i} : {words} [0|0] "deg" X\n' for i, words in enumerate(kept))
    return f'VERSION ""\nBU_: X\n\nBO_ 291 Rig: 8 X\n{signals}\n'


@settings(max_examples=several(60), suppress_health_check=[HealthCheck.too_slow], deadline=None)
@given(text=files(), data=st.binary(min_size=8, max_size=8))
def test_any_signal_by_three_readers(
    text: str, data: bytes, tmp_path_factory: pytest.TempPathFactory
) -> None:
    file = tmp_path_factory.getbasetemp() / "any.dbc"
    file.write_text(text, encoding="utf-8")
    [ours] = read_dbc(file)
    theirs: Any = cantools.database.load_string(text, "dbc")
    others = canmatrix.formats.dbc.load(io.BytesIO(text.encode()))
    [message], [frame] = theirs.messages, others.frames
    read, decoded, unpacked = ours.read(data), message.decode(data), frame.decode(data)
    assert read.keys() == decoded.keys() == unpacked.keys()
    for name, said in read.items():
        assert isinstance(said, float)
        # 32 bits times 3: the rounding of doubles at 1e10.
        assert said == pytest.approx(float(decoded[name]), rel=1e-12, abs=1e-9)
        assert said == pytest.approx(float(unpacked[name].phys_value), rel=1e-12, abs=1e-9)
    again = message.encode(decoded, padding=False)
    mask = message.encode(dict.fromkeys(decoded, 0), scaling=False)
    assert ours.read(bytes(again)) == pytest.approx(read, rel=1e-12, abs=1e-9), (mask, data)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("hello", "line 1, column 1"), ("", "column 1"), ('VERSION ""\n', "no message"), ("\0", "no text"),
        ('BO_ 1 A: 8 X\n SG_ a : 0|8@1+ (1,0) [0|0] "" X\n SG_ b : 4|8@1+ (1,0) [0|0] "" X\n', "overlapping"),
        ('BO_ 1 A: 1 X\n SG_ a : 0|16@1+ (1,0) [0|0] "" X\n', "does not fit"),
        ('BO_ 1 A: 8 X\n SG_ a : 0|12@1- (1,0) [0|0] "" X\nSIG_VALTYPE_ 1 a : 1;\n', "float of 12 bits"),
        ('BO_ 1 A: 8 X\n SG_ a : 0|8@1+ (1,0) [0|0 "" X\n', "line 2"),
    ],
)  # fmt: skip
def test_what_is_no_dbc(text: str, words: str, tmp_path: Path) -> None:
    (tmp_path / "a.dbc").write_text(text, encoding="utf-8")
    with pytest.raises(Refused, match=words) as caught:
        read_dbc(tmp_path / "a.dbc")
    assert caught.value.code == "unreadable"


def test_missing_and_bytes(tmp_path: Path) -> None:
    with pytest.raises(Refused, match="no such file") as caught:
        read_dbc(tmp_path / "none.dbc")
    assert caught.value.faults[0].advice == "", "no maker can export what is not there"
    (tmp_path / "a.dbc").write_bytes(b"\xff\x81\x9d")
    with pytest.raises(Refused, match="no text"):
        read_dbc(tmp_path / "a.dbc")


@settings(max_examples=several(150), deadline=None)
@given(told=st.data())
def test_a_damaged_dbc_is_read_or_refused(
    told: st.DataObject, tmp_path_factory: pytest.TempPathFactory
) -> None:
    file = tmp_path_factory.getbasetemp() / "damaged.dbc"
    file.write_bytes(told.draw(damaged((REFERENCE / "rig.dbc").read_bytes())))
    try:
        layouts: tuple[Layout, ...] = read_dbc(file)
    except Refused:
        return
    for layout in layouts:
        layout.read(told.draw(st.binary(min_size=layout.length, max_size=layout.length)))


@settings(max_examples=several(100), deadline=None)
@given(text=st.binary(max_size=200))
def test_random_bytes_are_no_dbc(text: bytes, tmp_path_factory: pytest.TempPathFactory) -> None:
    file = tmp_path_factory.getbasetemp() / "random.dbc"
    file.write_bytes(text)
    with pytest.raises(Refused):
        read_dbc(file)
