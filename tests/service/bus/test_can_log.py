"""CAN logs of every kind: what a broken one still gives, and that it is told; random bytes."""

import random
import struct
import tracemalloc
import zlib
from collections.abc import Sequence
from pathlib import Path

import can
import pytest

from kinematics.errors import Refused
from service.bus.blf import MOST
from service.bus.can_log import LOGS, read_frames
from service.bus.frames import Frame
from service.bus.log import read_log

from .rigs import sent

# The text formats part fields by blanks, so a cut may fall anywhere.
CUTS = 40
MAP = 'sensor_map = 1\n[[sensors]]\nsensor = "boom"\nmessage = "SSI2"\nsource = 0xA0\nsignals = ["pitch"]\n'


def write(file: Path, frames: Sequence[Frame]) -> None:
    with can.Logger(file) as writer:
        for frame in frames:
            writer(message(frame))


def message(frame: Frame) -> can.Message:
    return can.Message(
        timestamp=frame.at_s, arbitration_id=frame.can_id, is_extended_id=frame.extended, data=frame.data,
        is_remote_frame=frame.kind == "remote", is_error_frame=frame.kind == "error", is_fd=frame.kind == "fd",
    )  # fmt: skip


def some(count: int) -> list[Frame]:
    # Angles that differ, so that a compressed log has no two parts alike.
    noise = random.Random(7)  # noqa: S311
    return [sent("SSI2", 0xA0, 100.0 + i / 100, pitch=noise.uniform(-90, 90)) for i in range(count)]


@pytest.mark.parametrize("ending", LOGS)
def test_a_cut_log_gives_good_frames_and_is_refused(ending: str, tmp_path: Path) -> None:
    whole, cut = tmp_path / f"pit{ending}", tmp_path / f"cut{ending}"
    frames = some(4000)
    write(whole, frames)
    read = list(read_frames(whole))
    assert [frame.data for frame in read] == [frame.data for frame in frames]
    text = whole.read_bytes()
    noise = random.Random(1)  # noqa: S311
    for at in [*noise.sample(range(len(text)), CUTS), len(text) - 1]:
        if text[at - 1 : at] == b"\n":  # between two lines nothing is cut
            continue
        cut.write_bytes(text[:at])
        got: list[Frame] = []
        with pytest.raises(Refused) as caught:
            got += read_frames(cut)  # extends as it goes
        [fault] = caught.value.faults
        assert fault.code in ("broken-log", "unreadable")
        assert fault.numbers.get("frames") == (len(got) if got else 0.0)
        assert [frame.data for frame in got] == [frame.data for frame in frames[: len(got)]]


@pytest.mark.parametrize("ending", LOGS)
def test_replayed_only_as_far_as_it_goes(ending: str, tmp_path: Path) -> None:
    file = tmp_path / f"pit{ending}"
    write(file, some(4000))
    text = file.read_bytes()
    file.write_bytes(text[: len(text) * 2 // 3 + 1])
    (tmp_path / f"pit{ending}.map.toml").write_text(MAP, encoding="utf-8")
    with pytest.raises(Refused, match="good frames"):
        read_log(file)
    log = read_log(file, as_far=True)
    assert 0 < len(log.signals) == log.frames < 4000
    assert log.broken is not None
    assert log.broken.code == "broken-log"


@pytest.mark.parametrize("ending", LOGS)
def test_random_bytes_are_no_log(ending: str, tmp_path: Path) -> None:
    noise = random.Random(2)  # noqa: S311
    file = tmp_path / f"pit{ending}"
    (tmp_path / f"pit{ending}.map.toml").write_text(MAP, encoding="utf-8")
    write(file, some(20))
    head = file.read_bytes()
    for i in range(60):
        text = noise.randbytes(noise.randint(0, 400))
        file.write_bytes(head[: noise.randint(0, len(head))] + text if i % 2 else text)
        with pytest.raises(Refused):
            read_log(file)


@pytest.mark.parametrize("ending", [".log", ".asc", ".blf"])
def test_frames_of_which_nothing_is_read_are_counted(ending: str, tmp_path: Path) -> None:
    """python-can writes no others into a .trc."""
    file = tmp_path / f"pit{ending}"
    good = some(3)
    others = [
        Frame(100.1, 0x123, extended=False, data=b"", kind="remote"),
        Frame(100.11, 0, extended=True, data=b"", kind="error"),
        Frame(100.12, 0x0CF029A0, extended=True, data=bytes(12), kind="fd"),
    ]  # fmt: skip
    write(file, [*good, *others])
    (tmp_path / f"pit{ending}.map.toml").write_text(MAP, encoding="utf-8")
    log = read_log(file)
    assert (len(log.signals), log.frames) == (3, 6)
    assert log.kinds == {"remote": 1, "error": 1, "fd": 1}
    assert {"remote-frames", "error-frames", "can-fd"} <= {fault.code for fault in log.faults}


def test_time_that_runs_back(tmp_path: Path) -> None:
    file = tmp_path / "pit.log"

    def at(*times: float) -> None:
        lines = [f"({each:.6f}) can0 0CF029A0#3BE87DF5BF7C0006\n" for each in times]
        file.write_text("".join(lines), encoding="utf-8")

    at(100.0, 100.01, 99.97, 100.02)
    assert len(list(read_frames(file))) == 4  # within what an analyser mixes up
    at(100.0, 100.01, 99.9, 100.02)
    with pytest.raises(Refused, match=r"time running back by 0\.110 s, after 2 good frames"):
        list(read_frames(file))


def test_no_log_at_all(tmp_path: Path) -> None:
    with pytest.raises(Refused, match="no such file"):
        list(read_frames(tmp_path / "none.log"))
    with pytest.raises(Refused):
        list(read_frames(tmp_path))
    file = tmp_path / "pit.asc"
    file.write_text("this is no log\n", encoding="utf-8")
    (tmp_path / "pit.asc.map.toml").write_text(MAP, encoding="utf-8")
    with pytest.raises(Refused) as caught:
        read_log(file)
    assert caught.value.code == "empty-log"


def test_a_time_that_is_no_number(tmp_path: Path) -> None:
    file = tmp_path / "pit.log"
    file.write_text(
        "(1.0) can0 0CF029A0#3BE87DF5BF7C0006\n(nan) can0 0CF029A0#3BE87DF5BF7C0006\n", encoding="utf-8"
    )
    with pytest.raises(Refused, match=r"pit\.log:2: .*a time that is no number, after 1 good frames"):
        list(read_frames(file))


def test_half_a_byte_is_no_frame(tmp_path: Path) -> None:
    file = tmp_path / "pit.log"
    file.write_text("(1.0) can0 0CF029A0#3BE87DF5BF7C000\n", encoding="utf-8")
    with pytest.raises(Refused, match="7 bytes with 8"):
        list(read_frames(file))


def test_an_asc_that_tells_its_times_from_event_to_event(tmp_path: Path) -> None:
    """As some loggers write it; python-can reads such times as if they were since the start."""
    file = tmp_path / "pit.asc"
    write(file, some(20))
    text = file.read_text(encoding="utf-8")
    assert "timestamps absolute" in text
    file.write_text(text.replace("timestamps absolute", "timestamps relative"), encoding="utf-8")
    with pytest.raises(Refused, match="from one event to the next"):
        list(read_frames(file))


def test_a_head_in_another_encoding(tmp_path: Path) -> None:
    file = tmp_path / "pit.asc"
    write(file, some(20))
    head, _, rest = file.read_bytes().partition(b"\n")
    file.write_bytes("date Sam Mär 7 10:00:00 2026".encode("latin-1") + b"\n" + rest)
    assert head.startswith(b"date")
    assert len(list(read_frames(file))) == 20


def test_two_buses_in_one_log_are_told(tmp_path: Path) -> None:
    file = tmp_path / "pit.log"
    lines = [f"({1 + i / 100:.6f}) can{i % 2} 0CF029A0#3BE87DF5BF7C0006\n" for i in range(20)]
    file.write_text("".join(lines), encoding="utf-8")
    (tmp_path / "pit.log.map.toml").write_text(MAP, encoding="utf-8")
    log = read_log(file)
    assert "channels" in {fault.code for fault in log.faults}
    assert "channels" not in log.kinds


def container(data: bytes, method: int = 2, told: int | None = None) -> bytes:
    """One object of a BLF log; `told`: the size that it says it has."""
    inside = struct.pack("<H6xL4x", method, len(data)) + (zlib.compress(data) if method == 2 else data)
    size = 16 + len(inside) if told is None else told
    return struct.pack("<4sHHLL", b"LOBJ", 16, 1, size, 10) + inside + bytes(size % 4 if told is None else 0)


def inner(size: int, version: int = 1) -> bytes:
    return struct.pack("<4sHHLL", b"LOBJ", 32, version, size, 1) + bytes(48)


@pytest.mark.parametrize(
    "after",
    [
        container(bytes(MOST + 1)),  # unpacks from 16 kB to more than any log
        container(inner(0)), container(inner(0, version=9)), container(inner(15)),  # read at the same place for ever
        container(inner(2**32 - 1)),  # waited for, and all that follows kept
        container(inner(64), method=1), container(inner(64), method=7),
        container(b"", told=0), container(b"", told=15), container(b"", told=2**32 - 1),
    ],
    ids=lambda data: f"{len(data)} bytes",
)  # fmt: skip
def test_sizes_that_no_log_has(after: bytes, tmp_path: Path) -> None:
    """Told as a log that breaks off, after the good frames before, and without memory for what is not there."""
    whole, altered = tmp_path / "pit.blf", tmp_path / "altered.blf"
    write(whole, some(10))
    altered.write_bytes(whole.read_bytes() + after)
    got: list[Frame] = []
    tracemalloc.start()
    try:
        with pytest.raises(Refused) as caught:
            got += read_frames(altered)
        most = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    [fault] = caught.value.faults
    assert (fault.code, fault.numbers) == ("broken-log", {"frames": 10})
    assert len(got) == 10
    assert most < 5 * MOST


@pytest.mark.parametrize("size", [0, 143, 2**32 - 1])
def test_a_head_of_any_size(size: int, tmp_path: Path) -> None:
    whole = tmp_path / "pit.blf"
    write(whole, some(10))
    data = bytearray(whole.read_bytes())
    data[4:8] = size.to_bytes(4, "little")
    whole.write_bytes(data)
    with pytest.raises(Refused) as caught:
        list(read_frames(whole))
    assert [fault.code for fault in caught.value.faults] == ["unreadable"]
