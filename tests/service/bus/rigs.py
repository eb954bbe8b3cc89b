"""Maps and frames for tests of what is on a bus."""

import struct
from pathlib import Path

from hypothesis import strategies as st

from service.bus.frames import Frame
from service.bus.framing import identifier
from service.bus.layouts import BUILT_IN
from service.bus.sensor_map import SensorMap, read_map

REFERENCE = Path(__file__).parents[2] / "reference" / "bus"

RIG = f"""
sensor_map = 1
dbc = ["{REFERENCE.as_posix()}/rig.dbc", "{REFERENCE.as_posix()}/slopes.dbc"]

[[sensors]]
sensor = "body"
message = "SSI2"
source = 0xA0
signals = ["pitch", "-roll"]

[[sensors]]
sensor = "boom"
message = "SlopeTwo"
source = 0xA1
signals = ["Pitch"]
merits = ["PitchMerit"]
latency = "Latency"

[[sensors]]
sensor = "stick"
message = "StickUnit"
signals = ["-Angle_X"]

[[sensors]]
sensor = "wire"
message = "BoomWire"
signals = ["Extension"]

[[sensors]]
sensor = "tilt"
message = "Turns"
signals = ["Tilt"]

[[sensors]]
sensor = "bucket"
source = 0xA3
accelerometer = {{ message = "ACCS", signals = ["longitudinal", "-lateral", "vertical"] }}
gyro = {{ message = "ARI", signals = ["roll_rate", "pitch_rate", "yaw_rate"] }}

[receiver]
message = "Laser"
signal = "Beam"
tells = "hit"
"""


def map_of(text: str, folder: Path) -> SensorMap:
    file = folder / "rig.toml"
    file.write_text(text, encoding="utf-8")
    return read_map(file)


def sent(name: str, source: int, at_s: float = 1.0, **values: float) -> Frame:
    """A frame of a message built in; merits good and latency 0 unless told."""
    layout = BUILT_IN[name]
    assert layout.pgn is not None
    # Numbers that are not given are level or at rest.
    given = dict.fromkeys(layout.items, 0.0) | values
    return wide(identifier(layout.pgn, source), layout.write(given), at_s)


def wide(can_id: int, data: bytes, at_s: float = 1.0) -> Frame:
    return Frame(at_s, can_id, extended=True, data=data)


def plain(can_id: int, data: bytes, at_s: float = 1.0) -> Frame:
    return Frame(at_s, can_id, extended=False, data=data)


def stick(deg: float, at_s: float = 1.0) -> Frame:
    return plain(0x121, struct.pack("<h6x", round(deg * 100)), at_s)


@st.composite
def damaged(draw: st.DrawFn, whole: bytes) -> bytes:
    """A file with one to three of its bytes changed or stretches of it cut out."""
    text = bytearray(whole)
    for _ in range(draw(st.integers(1, 3))):
        at = draw(st.integers(0, len(text) - 1))
        if draw(st.booleans()):
            text[at] = draw(st.integers(0, 255))
        else:
            del text[at : at + draw(st.integers(1, 40))]
    return bytes(text)
