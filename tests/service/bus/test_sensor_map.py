"""Sensor maps: what they say, and every fault of one, at its line."""

import re
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kinematics.errors import Refused
from kinematics.units import Quantity
from service.bus.layouts import BUILT_IN, RECEIVED
from service.bus.map_tables import Csv
from service.bus.sensor_map import Entry, Heard, Part, SensorMap, map_beside, read_map
from tests.amounts import several

from .rigs import REFERENCE, RIG, damaged, map_of

HEAD = f'sensor_map = 1\ndbc = ["{REFERENCE.as_posix()}/rig.dbc"]\n'
CSV = 'sensor_map = 1\n[csv]\ntime = "t"\ntime_unit = "ms"\n'

S = "sensor_map = 1\n"
NONE = 'sensor_map = 1\ndbc = ["none.dbc"]\n'
SSI2 = 'message = "SSI2"\nsource = 1\n'
LASER = '[receiver]\nmessage = "Laser"\n'


def one(keys: str) -> str:
    return f'[[sensors]]\nsensor = "boom"\n{keys}\n'


STICK = one('message = "StickUnit"\nsignals = ["Angle_X"]')


def faults_of(text: str, folder: Path) -> list[tuple[int, str]]:
    with pytest.raises(Refused) as caught:
        map_of(text, folder)
    places = [(re.search(r"\.toml:(\d+)", fault.where), fault.code) for fault in caught.value.faults]
    return [(0 if at is None else int(at[1]), code) for at, code in places]


def test_a_rig_of_six(tmp_path: Path) -> None:
    rig = map_of(RIG, tmp_path)
    assert [entry.sensor for entry in rig.entries] == ["body", "boom", "stick", "wire", "tilt", "bucket"]
    body, boom, stick, wire, tilt, bucket = rig.entries
    assert body == Entry("body", (Part(BUILT_IN["SSI2"], 0xA0, ("pitch", "-roll")),))
    assert (body.numbers, body.quantity, body.line) == (2, Quantity.ANGLE, 5)
    assert body.parts[0].signs == (1.0, -1.0)
    assert boom.parts[0].layout is not None
    assert (boom.parts[0].layout.origin, boom.parts[0].merits) == ("slopes.dbc", ("PitchMerit",))
    assert (stick.parts[0].source, wire.quantity, tilt.numbers) == (None, Quantity.LENGTH, 1)
    assert bucket.raw
    assert [part.source for part in bucket.parts] == [0xA3, 0xA3]
    assert rig.receiver is not None
    assert rig.receiver.tells == "hit"


def test_there_and_back(tmp_path: Path) -> None:
    rig = map_of(RIG, tmp_path)
    assert map_of(rig.text(), tmp_path) == rig
    for receiver in (
        Heard(Part(RECEIVED, 0xC0, ("hit", "above"))), Heard(Part(None, None, ("above",), "mm"), "above"), None,
    ):  # fmt: skip
        made = SensorMap(
            (
                Entry("boom", (Part(None, None, ("-boom deg",), "deg"),)),
                Entry("stick", (Part(BUILT_IN["SSI"], 3, ("pitch",)),), "take"),
                Entry("bucket", (Part(None, None, ("x", "y", "z"), "g"), Part(None, None, ("p", "q", "r"), "rad/s"))),
            ),
            receiver, Csv(time="t", time_unit="us", delimiter=";"),
        )  # fmt: skip
        assert map_of(made.text(), tmp_path) == made
    assert map_beside(Path("pit.blf")).name == "pit.blf.map.toml"


def test_a_message_built_in_and_in_a_file_goes_by_its_signals(tmp_path: Path) -> None:
    text = (REFERENCE / "slopes.dbc").read_text(encoding="utf-8").replace("SlopeTwo", "SSI2")
    (tmp_path / "own.dbc").write_text(text, encoding="utf-8")
    rig = map_of(
        'sensor_map = 1\ndbc = ["own.dbc"]\n' + one('message = "SSI2"\nsource = 1\nsignals = ["Pitch"]'),
        tmp_path,
    )
    layout = rig.entries[0].parts[0].layout
    assert layout is not None
    assert layout.origin == "own.dbc"


def test_units_by_the_file_or_the_map(tmp_path: Path) -> None:
    plain = map_of(HEAD + one('message = "BoomWire"\nsignals = ["Plain"]\nunit = "mm"'), tmp_path)
    assert plain.entries[0].parts[0].units() == ((Quantity.LENGTH, 0.001),)
    odd = map_of(HEAD + one('message = "BoomWire"\nsignals = ["Odd"]\nunit = "deg"'), tmp_path)
    assert odd.entries[0].quantity is Quantity.ANGLE


@pytest.mark.parametrize(
    ("text", "wanted"),
    [
        ("sensor_map = ", [(0, "unreadable")]),
        ("sensor_map = 2\nsensors = []", [(1, "not-a-choice"), (2, "wrong-length")]),
        ("sensor_map = 1", [(1, "missing-field")]), ('can_map = 1\nsensors = []', [(1, "old-map")]),
        (S + one('message = "SSI2"\nsorce = 1\nsignals = ["pitch"]'), [(5, "unknown-field")]),
        (S + one('message = "SSI2"\nsource = 254\nsignals = ["pitch"]'), [(5, "out-of-range")]),
        (S + one('message = "SSI2"\nsource = 1.0\nsignals = ["pitch"]'), [(5, "wrong-type")]),
        (S + one('message = "SSI2"\nsignals = ["pitch"]'), [(2, "no-source")]),
        (S + one('message = "SSI3"\nsource = 1\nsignals = ["pitch"]'), [(4, "unknown-message")]),
        (S + one(SSI2 + 'signals = ["pich", "roll"]'), [(6, "unknown-signal")]),
        (S + one(SSI2 + 'signals = ["pitch", "roll", "latency"]'),
         [(6, "wrong-count"), (2, "no-unit")]),
        (S + one('message = "SSI2"\nsource = 1'), [(2, "wrong-count")]),
        (S + one(SSI2 + 'signals = ["pitch", "pitch"]'), [(2, "given-twice")] * 2),
        (S + one('message = "SSI"\nsource = 1\nsignals = ["pitch_rate"]'), [(2, "no-unit")]),
        (S + one(SSI2 + 'signals = ["pitch"]\nunit = "rad"'), [(7, "contradicts")]),
        (S + one(SSI2 + 'signals = ["pitch"]\nmerits = ["roll_merit"]'),
         [(7, "incomplete")]),
        (S + one(SSI2 + 'signals = ["pitch"]') * 2,
         [(3, "name-taken"), (8, "name-taken"), (7, "given-twice")]),
        (NONE + one('message = "X"\nsignals = ["pitch"]'), [(2, "unreadable")]),
        (NONE + one(SSI2 + 'signals = ["pich"]') + one('message = "X"\nsignals = ["a"]'),
         [(2, "unreadable"), (4, "name-taken"), (7, "unknown-signal"), (9, "name-taken")]),
        (NONE + one(SSI2 + 'signal = ["pitch"]'), [(7, "unknown-field"), (2, "unreadable")]),
        (HEAD + one('message = "StickUnit"\nsource = 1\nsignals = ["Angle_X"]'), [(6, "no-source")]),
        (HEAD + one('message = "BoomWire"\nsignals = ["Plain"]'), [(3, "no-unit")]),
        (HEAD + one('message = "BoomWire"\nsignals = ["Odd"]'), [(3, "no-unit")]),
        (HEAD + one('message = "BoomWire"\nsignals = ["Extension"]\nunit = "ell"'), [(7, "no-unit")]),
        (HEAD + one('message = "BoomWire"\nsignals = ["Extension"]\nunit = "mm"'), [(7, "contradicts")]),
        (HEAD + one('message = "BoomWire"\nsignals = ["Extension", "Plain"]\nunit = "m"'), [(3, "wrong-count")]),
        (HEAD + one('message = "Long"\nsignals = ["Angle"]'), [(5, "too-long")]),
        (HEAD + one('message = "Swing"\nsignals = ["Nought"]'), [(3, "bad-factor")]),
        (HEAD + one('message = "StickUnit"\nsignals = ["Angle_X"]\nlatency = "Health"'), [(7, "no-unit")]),
        (HEAD + one('message = "StickUnit"\nsignals = ["Angle_X"]\nmerits = ["Helth"]'), [(7, "unknown-signal")]),
        (S + one('columns = ["boom_deg"]\nunit = "deg"'), [(4, "incomplete")]),
        (CSV + one('columns = ["boom_deg"]\nunit = "deg"\ndegraded = "take"'), [(9, "incomplete")]),
        (HEAD + STICK + 'degraded = "take"\n', [(7, "incomplete")]),
        (CSV + one('columns = ["boom_deg"]'), [(5, "no-unit")]),
        (CSV + one('columns = ["b"]\nunit = "deg"\nmessage = "SSI2"\nsource = 1\nsignals = ["pitch"]'),
         [(5, "incomplete")]),
        (CSV + one('columns = ["b"]\nunit = "deg"\nsource = 1'), [(9, "incomplete")]),
        (CSV + one("source = 1"), [(5, "incomplete")]),
        ('sensor_map = 1\n[csv]\ntime = "t"\ntime_unit = "min"\n' + one('columns = ["b"]\nunit = "deg"'),
         [(4, "not-a-choice")]),
        (S + one('source = 1\naccelerometer = {message = "ACCS", signals = ["longitudinal", "lateral", "vertical"]}'),
         [(2, "incomplete")]),
        (S + one('source = 1\naccelerometer = {message = "ACCS", signals = ["longitudinal", "lateral"]}\n'
                                  'gyro = {message = "ACCS", signals = ["vertical", "lateral", "longitudinal"]}'),
         [(5, "wrong-count"), (6, "no-unit"), (6, "no-unit"), (6, "no-unit"), (6, "given-twice"), (6, "given-twice")]),
        (S + one(SSI2 + 'signals = ["pitch"]') + "[receiver]\n", [(7, "incomplete")]),
        (HEAD + STICK + LASER + 'signal = "Heigt"\ntells = "above"\n',
         [(9, "unknown-signal")]),
        (HEAD + STICK + LASER + 'signal = "Beam"\ntells = "above"\n',
         [(7, "no-unit")]),
        (HEAD + STICK + LASER + 'signal = "Beam"\n',
         [(7, "incomplete")]),
        (HEAD + STICK + '[receiver]\ncolumn = "beam"\ntells = "hit"\nunit = "mm"\n',
         [(10, "incomplete"), (8, "incomplete")]),
    ],
)  # fmt: skip
def test_a_map_with_faults(text: str, wanted: list[tuple[int, str]], tmp_path: Path) -> None:
    assert faults_of(text, tmp_path) == wanted


def test_what_there_is_is_told(tmp_path: Path) -> None:
    with pytest.raises(Refused) as caught:
        map_of(HEAD + one('message = "StikUnit"\nsignals = ["Angle_X"]'), tmp_path)
    [fault] = caught.value.faults
    assert "BoomWire, Laser, Long" in fault.expected
    assert "ACCS, ARI" in fault.expected
    assert fault.advice == "did you mean StickUnit?"
    with pytest.raises(Refused) as caught:
        map_of(HEAD + one('message = "StickUnit"\nsignals = ["Angle_Z"]'), tmp_path)
    assert "Angle_X, Angle_Y" in caught.value.faults[0].expected


def test_an_old_map_is_told_what_to_change(tmp_path: Path) -> None:
    old = 'can_map = 1\n[[sensors]]\nsource = 0xA0\nsensor = "body"\nnumbers = 2\nmessage = "SSI2"\n'
    with pytest.raises(Refused, match=r'signals = \["pitch", "roll"\] for numbers = 2'):
        map_of(old, tmp_path)


def test_no_map_at_all(tmp_path: Path) -> None:
    with pytest.raises(Refused, match="no such file"):
        read_map(tmp_path / "none.toml")
    (tmp_path / "a.toml").write_bytes(b"\xff\xfe\x00")
    with pytest.raises(Refused, match="UTF-8"):
        read_map(tmp_path / "a.toml")
    with pytest.raises(Refused, match="directory"):
        read_map(tmp_path)


@settings(max_examples=several(200), deadline=None)
@given(told=st.data())
def test_a_damaged_map_is_read_or_refused(
    told: st.DataObject, tmp_path_factory: pytest.TempPathFactory
) -> None:
    file = tmp_path_factory.getbasetemp() / "damaged.toml"
    file.write_bytes(told.draw(damaged(RIG.encode())))
    try:
        read = read_map(file)
    except Refused:
        return
    assert map_of(read.text(), file.parent) == read


@settings(max_examples=several(100), deadline=None)
@given(text=st.binary(max_size=200))
def test_random_bytes_are_no_map(text: bytes, tmp_path_factory: pytest.TempPathFactory) -> None:
    file = tmp_path_factory.getbasetemp() / "random.toml"
    file.write_bytes(text)
    with pytest.raises(Refused):
        read_map(file)


def test_signals_of_two_messages_of_one_name(tmp_path: Path) -> None:
    for name, signal in (("one", "a"), ("two", "b")):
        text = f'BO_ 1 A: 8 X\n SG_ {signal} : 0|8@1+ (1,0) [0|0] "deg" X\n'
        (tmp_path / f"{name}.dbc").write_text(text, encoding="utf-8")
    text = S + 'dbc = ["one.dbc", "two.dbc"]\n' + one('message = "A"\nsignals = ["a", "b"]')
    assert faults_of(text, tmp_path) == [(6, "unknown-signal")]
    assert faults_of(text.replace('"a", "b"', '"a", "c"'), tmp_path) == [(6, "unknown-signal")]
    (tmp_path / "two.dbc").write_bytes((tmp_path / "one.dbc").read_bytes())
    assert faults_of(text.replace(', "b"', ""), tmp_path) == [(5, "unknown-message")]


@pytest.mark.parametrize(("source", "found"), [("0x1A1", "0x1a1"), ("254", "0xfe"), ("-3", "-0x3")])
def test_a_source_that_is_none_is_told_as_it_is_written(source: str, found: str, tmp_path: Path) -> None:
    with pytest.raises(Refused) as caught:
        map_of(S + one(f'message = "SSI2"\nsource = {source}\nsignals = ["pitch"]'), tmp_path)
    [fault] = caught.value.faults
    assert (fault.found, fault.expected) == (found, "a source address, 0x00 to 0xFD")
