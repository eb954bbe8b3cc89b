"""What waits to be taken: in memory, oldest first, and in a SQLite file, so that it outlives the process.

Bounded; the oldest goes. Frames are dated by a clock that begins with the sender's boot: those of another boot say
nothing any more, and are let go of. Where the disk does not take a frame it is kept in memory alone.
"""

import secrets
import sqlite3
import threading
from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import count
from pathlib import Path

from kinematics.errors import Fault, Refused

from .any_feeder import MOST_IN_FRAME
from .broker_words import MOST_LETTERS

MOST_S, MOST_BYTES = 600.0, 64 * 1_048_576
TRY_EVERY_S = 5.0
"""So often a file that was not written is tried anew."""
_SHAPE = 1
_INSERT = "INSERT INTO frame VALUES (?, ?, ?, ?, ?, ?)"
_BOOT = Path("/proc/sys/kernel/random/boot_id")


@dataclass(frozen=True, slots=True)
class Framed:
    """A frame of `count` readings: `n` from 1 in its stream, made at `at_s` of the sender's clock; `body`: their JSON."""

    stream: str
    n: int
    at_s: float
    count: int
    body: str


def boot_id() -> str:
    """This boot of the machine, the same in every process; where nothing says it, a name for this process alone."""
    try:
        return _BOOT.read_text(encoding="ascii").strip()
    except (OSError, UnicodeDecodeError):
        return secrets.token_hex(16)


class Spool:
    """Frames of one feed, from `put` to `taken`; safe between threads.

    A stream goes on where an earlier process ended. A frame that the file does not have begins another, so that after a
    crash no number is given twice; what was there before comes first, under its own stream. `spooled`, `overflowed`,
    `of_another_boot`: counts of frames. `pack_s`: readings of so
    long are one frame. `broken`: why the file is not written now, "" where it is.
    Raises `Refused` "spool-in-use", "other-spool" (of another feed), "unreadable".
    """

    def __init__(
        self, file: Path, feed: str, *, boot: str | None = None, most_s: float = MOST_S,
        most_bytes: int = MOST_BYTES, pack_s: float = 0.0,
    ) -> None:  # fmt: skip
        self.file, self._feed = file, feed
        self._most_s, self._most_bytes, self._pack_s = most_s, most_bytes, pack_s
        self._open = False
        self.stream, self._n = secrets.token_hex(8), 0
        self._rows = 0
        self._on_disk = self.stream
        self._tried_s = 0.0
        self._frames: deque[Framed] = deque()
        self._bytes = 0
        self._lock = threading.RLock()
        self.spooled = self.overflowed = self.overflowed_readings = self.of_another_boot = 0
        self.broken = ""
        self.welcome: str | None = None
        self._file = self._opened(boot_id() if boot is None else boot)

    def close(self) -> None:
        """Let go of the file; what is in it stays."""
        with self._lock:
            self._file.close()

    def __len__(self) -> int:
        return len(self._frames)

    @property
    def readings(self) -> int:
        """How many readings wait."""
        with self._lock:
            return sum(each.count for each in self._frames)

    @property
    def next(self) -> tuple[str, int]:
        """Stream and number of the oldest frame that waits, else of the next that will be put."""
        with self._lock:
            return (self._frames[0].stream, self._frames[0].n) if self._frames else (self.stream, self._n + 1)

    def put(self, at_s: float, count: int, body: str) -> bool:
        """Keep readings as one more frame, or in the last one while it is younger than `pack_s` and has not gone out.

        False where only memory has them, see `broken`.
        """
        with self._lock:
            if self._pack(at_s, count, body):
                return True
            self._open = True
            self._n += 1
            self._add(Framed(self.stream, self._n, at_s, count, body))
            self.spooled += 1
            gone = self._overflow(at_s)
            if not self.broken or at_s - self._tried_s >= TRY_EVERY_S:
                self._tried_s = at_s
                if self._write(gone, self._frames[-1]):
                    return True
            if self.stream == self._on_disk:  # the file does not know of this number, and would give it again
                self._frames.pop()
                self.stream, self._n = secrets.token_hex(8), 1
                self._frames.append(Framed(self.stream, self._n, at_s, count, body))
            return False

    def _pack(self, at_s: float, count: int, body: str) -> bool:
        last = self._frames[-1] if self._open and self._frames and not self.broken else None
        if last is None or at_s - last.at_s >= self._pack_s or last.count + count > MOST_IN_FRAME:
            return False
        both = replace(last, count=last.count + count, body=f"{last.body[:-1]},{body[1:]}")
        if len(both.body) > MOST_LETTERS or not self._write((), both, instead=True):
            return False
        self._frames[-1] = both
        self._bytes += len(both.body) - len(last.body)
        return True

    def going_out(self, stream: str, n: int, now_s: float) -> tuple[Framed | None, float]:
        """The frame of a stream that comes after its `n`, to which nothing is added any more; or None, and the seconds
        after which it may go, 0 where there is none."""
        with self._lock:
            found = next(iter(self.after(stream, n, 1)), None)
            if found is None or found is not self._frames[-1] or not self._open:
                return found, 0.0
            if (wait := found.at_s + self._pack_s - now_s) > 0.0:
                return None, wait
            self._open = False
            return found, 0.0

    def after(self, stream: str, n: int, most: int) -> list[Framed]:
        """At most so many frames of a stream that come after its `n`, in order."""
        with self._lock:
            found: list[Framed] = []
            for each in self._frames:
                if each.stream != stream:
                    if found:
                        break
                    continue
                if each.n > n:
                    found.append(each)
                    if len(found) >= most:
                        break
            return found

    def taken(self, stream: str, n: int) -> list[Framed]:
        """Let go of a stream's frames up to `n`, which were taken; which these were. Only of the oldest stream."""
        with self._lock:
            gone: list[Framed] = []
            while self._frames and self._frames[0].stream == stream and self._frames[0].n <= n:
                gone.append(self._pop())
            if gone:
                self._write(gone)
            return gone

    def remember(self, welcome: str) -> None:
        """Keep what the service said it expects, for a start without it."""
        with self._lock:
            self.welcome = welcome
            self._write(())

    def _add(self, framed: Framed) -> None:
        self._frames.append(framed)
        self._bytes += len(framed.body)

    def _pop(self) -> Framed:
        gone = self._frames.popleft()
        self._bytes -= len(gone.body)
        return gone

    def _overflow(self, now_s: float) -> list[Framed]:
        gone: list[Framed] = []
        while len(self._frames) > 1 and (
            self._bytes > self._most_bytes or now_s - self._frames[0].at_s > self._most_s
        ):
            gone.append(self._pop())
        self.overflowed += len(gone)
        self.overflowed_readings += sum(each.count for each in gone)
        return gone

    # The file.

    def _write(self, gone: Sequence[Framed], new: Framed | None = None, *, instead: bool = False) -> bool:
        """Rows are numbered as they come, and go from the first: a frame touches one page of the file. `instead`: of the
        last one."""
        try:
            with self._file as file:
                if self.broken:  # nobody knows what it has: all of it anew
                    file.execute("DELETE FROM frame")
                    file.executemany(_INSERT, map(_row, count(1), self._frames))
                    self._rows = len(self._frames)
                elif new is not None and instead:
                    file.execute(
                        "UPDATE frame SET count = ?, body = ? WHERE row = ?",
                        (new.count, new.body, self._rows),
                    )
                elif new is not None:
                    self._rows += 1
                    file.execute(_INSERT, _row(self._rows, new))
                if gone and not self.broken:
                    file.execute("DELETE FROM frame WHERE row <= ?", (self._rows - len(self._frames),))
                if gone or new is None or self.broken:
                    file.execute(
                        "UPDATE feed SET stream = ?, n = ?, welcome = ?", (self.stream, self._n, self.welcome)
                    )
        except sqlite3.Error as error:
            self.broken = str(error)
            return False
        self.broken, self._on_disk = "", self.stream
        return True

    def _opened(self, boot: str) -> sqlite3.Connection:
        file = None
        try:
            self.file.parent.mkdir(parents=True, exist_ok=True)
            file = sqlite3.connect(self.file, timeout=0.0, check_same_thread=False)
            # Rolled back, not torn, by a power cut; held by one process, and let go of by its end however it ends.
            file.executescript(
                "PRAGMA locking_mode = EXCLUSIVE; PRAGMA journal_mode = WAL; PRAGMA synchronous = NORMAL;"
            )
            with file:
                file.execute("BEGIN EXCLUSIVE")
                self._begin(file, boot)
        except (OSError, sqlite3.Error, Refused) as error:
            if file is not None:
                file.close()
            if isinstance(error, Refused):
                raise
            raise self._not_opened(error) from None
        return file

    def _begin(self, file: sqlite3.Connection, boot: str) -> None:
        [shape] = file.execute("PRAGMA user_version").fetchone()
        tables = file.execute("SELECT count(*) FROM sqlite_master").fetchone()[0]
        if tables and shape != _SHAPE:
            raise self._other(f"a file of another kind (shape {shape})")
        if not tables:
            file.execute(
                "CREATE TABLE feed (feed TEXT NOT NULL, boot TEXT NOT NULL, stream TEXT NOT NULL, n INTEGER NOT NULL, "
                "welcome TEXT)"
            )
            file.execute(
                "CREATE TABLE frame (row INTEGER PRIMARY KEY, stream TEXT NOT NULL, n INTEGER NOT NULL, "
                "at_s REAL NOT NULL, count INTEGER NOT NULL, body TEXT NOT NULL)"
            )
            file.execute("INSERT INTO feed VALUES (?, ?, ?, 0, NULL)", (self._feed, boot, self.stream))
            file.execute(f"PRAGMA user_version = {_SHAPE}")
        feed, before, stream, n, self.welcome = file.execute(
            "SELECT feed, boot, stream, n, welcome FROM feed"
        ).fetchone()
        if feed != self._feed:
            raise self._other(f"frames of {feed}")
        if before != boot:
            self.of_another_boot = file.execute("DELETE FROM frame").rowcount
            file.execute("UPDATE feed SET boot = ?, stream = ?, n = 0", (boot, self.stream))
        else:
            self.stream, self._n = stream, n
        self._on_disk = self.stream
        for self._rows, *kept in file.execute(
            "SELECT row, stream, n, at_s, count, body FROM frame ORDER BY row"
        ):
            self._add(Framed(*kept))
        if self._frames and self._frames[-1].stream == self.stream:
            self._n = max(self._n, self._frames[-1].n)

    def _other(self, found: str) -> Refused:
        return Refused([
            Fault("other-spool", "--spool", f"{self.file}: {found}", f"a new file, or the spool of {self._feed}",
                  "name another file")
        ])  # fmt: skip

    def _not_opened(self, error: OSError | sqlite3.Error) -> Refused:
        if isinstance(error, sqlite3.OperationalError) and "locked" in str(error):
            return Refused([
                Fault("spool-in-use", "--spool", f"{self.file}: in use", "one process on a spool",
                      "end the other, or name another file with --spool")
            ])  # fmt: skip
        found = error.strerror if isinstance(error, OSError) and error.strerror else str(error)
        return Refused([
            Fault("unreadable", "--spool", f"{self.file}: {found}", "a spool, or a place for a new one",
                  "name another file with --spool, or move this one away")
        ])  # fmt: skip


def _row(row: int, framed: Framed) -> tuple[int, str, int, float, int, str]:
    return row, framed.stream, framed.n, framed.at_s, framed.count, framed.body
