"""Logs of CAN frames: candump .log, .asc, .blf, .trc, by python-can's own readers, and where one breaks off.

Those readers pass over much without a word: what a cut file still gives, lines that are none. Here it is told.
"""

import math
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from typing import IO, Any, Self

from kinematics.errors import Fault, Refused
from service.text import plain

from .frames import Frame, frame_of

LOGS = (".log", ".asc", ".blf", ".trc")
BACK_S = 0.05
"""A bus analyser with several channels may write what came within some milliseconds out of order; beyond this its clock
was set back, or two logs stand in one file."""
_BEGINNING = "Start of measurement"  # a line of every .asc
_WANTED = "a CAN log: " + ", ".join(LOGS)
_BLF_SIZE = slice(16, 24)  # of the file as its writer closed it


def read_frames(file: Path, counts: Counter[str] | None = None) -> Iterator[Frame]:
    """Every frame of a log, of whatever kind, in its order. `counts` gets "channels", how many it tells of, and
    "passed over": lines that python-can read no frame from though they begin with a number, as events of an analyser do.

    Raises `Refused` after the good frames, with their number in `numbers["frames"]`: "unreadable" for a file that is no
    log, or none of its kind; "broken-log" where it breaks off: cut short, a line or frame that cannot be read, time that
    runs back by more than 50 ms.
    """
    count = 0
    latest = -math.inf
    lines = _Lines()
    channels: set[str] = set()
    try:
        with _opened(file, lines) as opened, _reader(file.suffix.lower())(opened) as reader:
            for message in reader:
                frame = frame_of(message)
                if counts is not None:
                    channels.add(str(message.channel))
                    counts["channels"] = len(channels)
                if getattr(reader, "timestamps_format", None) == "relative":
                    raise _Broken("times told from one event to the next")
                why = _broken(message, frame, latest)
                if why:
                    raise _Broken(why)
                count += 1
                latest = max(latest, frame.at_s)
                yield frame
        if counts is not None and lines.numbered > count:
            counts["passed over"] += lines.numbered - count
        if file.suffix.lower() == ".blf":
            _closed(file)
    except FileNotFoundError:
        raise Refused([Fault("unreadable", str(file), "no such file", _WANTED)]) from None
    except Refused:
        raise
    except Exception as error:  # each of python-can's readers has faults of its own
        words = plain(str(error) or type(error).__name__, 200)
        at = f"{file}:{lines.number}" if lines.number else str(file)
        if not count:
            found = f"what is no {file.suffix.lower()} log: {words}"
            raise Refused([Fault("unreadable", at, found, _WANTED, "", {"frames": 0})]) from None
        raise Refused([
            Fault("broken-log", at, f"{words}, after {count} good frames", "a whole log",
                  "record it anew; --as-far-as-it-goes takes the frames before", {"frames": count})
        ]) from None  # fmt: skip


class _Broken(Exception):
    pass


class _Lines:
    """A text file that knows how far it was read, and breaks off where its last line does not end."""

    def __init__(self) -> None:
        self.number = self.numbered = 0
        self._file: IO[str] | None = None

    def on(self, file: IO[str]) -> Self:
        self._file = file
        return self

    def __iter__(self) -> Iterator[str]:
        for line in self._file or ():
            self.number += 1
            if not line.endswith("\n"):  # what is left of a line may look like a whole one
                raise _Broken("a last line that does not end")
            self.numbered += line.lstrip()[:1].isdigit() and _BEGINNING not in line
            yield line

    def read(self, size: int = -1) -> str:
        """As a file is read; python-can takes for a file what can be read."""
        return "" if self._file is None else self._file.read(size)

    def close(self) -> None:
        if self._file is not None:
            self._file.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()


def _opened(file: Path, lines: _Lines) -> Any:
    if file.suffix.lower() == ".blf":
        from .blf import opened  # noqa: PLC0415 - as python-can below

        return opened(file)
    # Their heads have names and dates in whatever encoding; frames are ASCII.
    return lines.on(file.open(encoding="latin-1", newline="\n"))


def _reader(ending: str) -> Any:
    """python-can's own choice by ending, on a file that is ours to close."""
    import can  # noqa: PLC0415 - half a second, for those who have such a log

    from .blf import Blf  # noqa: PLC0415

    return {
        ".log": can.CanutilsLogReader,
        ".asc": can.ASCReader,
        ".blf": Blf,
        ".trc": can.TRCReader,
    }[ending]


def _broken(message: Any, frame: Frame, latest: float) -> str:
    if not math.isfinite(frame.at_s):
        return "a time that is no number"
    if frame.at_s < latest - BACK_S:
        return f"time running back by {latest - frame.at_s:.3f} s"
    if frame.kind in ("data", "fd") and len(frame.data) != message.dlc:
        return f"a frame of {message.dlc} bytes with {len(frame.data)} of them"
    return ""


def _closed(file: Path) -> None:
    """Breaks off where a BLF is not as long as its writer wrote into its head on closing it."""
    with file.open("rb") as opened:
        told = int.from_bytes(opened.read(_BLF_SIZE.stop)[_BLF_SIZE], "little")
    size = file.stat().st_size
    if told != size:
        raise _Broken(f"{size} bytes, where its head says {told}")
