"""What is held against what: entries acknowledged against the log, numbers shown against the truth, memory against time.

Pure functions of what was kept, so that a test can show each of them finds what it is for.
"""

import math
from bisect import bisect_left, bisect_right
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from .clerk import Acknowledged
from .lives import Sample
from .pits import FLOOR_M, SLAB_M, Pit

Log = Mapping[str, Sequence[tuple[int, str]]]
"""(number, UUID) of each entry, by job."""
SAME_M = 1e-6
"""Numbers are told to nine places; sensors are exact, and the way there and back rounds to 1e-12."""
MOMENT_S, AGE_LIMIT_S = 1e-3, 0.5
"""Times are told to the microsecond; older readings of these profiles give no number."""
WARM_S, LONG_S = 120.0, 600.0
MOST_MB_PER_HOUR, MOST_KB_PER_ENTRY = 8.0, 16.0
"""An hour sees some twenty thousand viewers come and go, so that 8 MB are less than half a kB of each. A log is kept in
memory as long as the service runs, each entry as its payload and in the state that it made."""
MOST_MORE_FILES, MOST_MORE_THREADS = 12, 12
"""A database connection or two and the viewers of the moment; worker threads come and go with what is asked."""
MOST_WAL_MB = 32.0
"""SQLite writes its log back at 4 MB, but not while a backup reads."""
_MOST_TOLD = 20


def lost(ledger: Sequence[Acknowledged], log: Log) -> list[str]:
    """Acknowledged entries that are not there exactly once."""
    found = Counter((job, *entry) for job, entries in log.items() for entry in entries)
    numbers = Counter((job, seq) for job, entries in log.items() for seq, _ in entries)
    return [
        f"{each.job}: entry {each.seq} ({each.uuid}) was acknowledged and is there {count} times, expected once"
        for each in ledger
        if (
            count := numbers[each.job, each.seq]
            if each.uuid is None
            else found[each.job, each.seq, each.uuid]
        )
        != 1
    ]


def added(ledger: Sequence[Acknowledged], log: Log) -> list[str]:
    """Entries that nobody was told of: one request recorded twice, say."""
    told = Counter((each.job, each.seq) for each in ledger)
    there = Counter((job, seq) for job, entries in log.items() for seq, _ in entries)
    return [
        *(
            f"{job}: entry {seq} was acknowledged for {count} requests"
            for (job, seq), count in told.items()
            if count > 1
        ),
        *(
            f"{job}: entry {seq} is there, acknowledged to nobody"
            for job, seq in there
            if (job, seq) not in told
        ),
    ]


@dataclass(slots=True)
class Shown:
    """What came of the numbers shown: how many, and why some are `wrong`; `older_s`: how much older than it was a reading
    was told at worst; `behind_s`: how long at worst a number went by the log of before its next entry."""

    numbers: int
    wrong: list[str]
    older_s: float
    behind_s: float


def held(pit: Pit, acknowledged_s: Mapping[int, float]) -> Shown:
    """Every number shown of a machine, against what was fed and what its log says; `acknowledged_s` of each entry.

    A number is right where it is that of a frame no older than the age told with it, on the height that the log gave at
    the entry told with it.
    """
    found = Shown(0, [], 0.0, 0.0)
    for row in pit.rows():
        at_s, age_s, seq, _, centre, *_ = row
        number = int(seq)
        found.behind_s = max(found.behind_s, at_s - acknowledged_s.get(number + 1, at_s))
        why = _why_wrong(pit, row)
        if why:
            found.wrong.append(f"{pit.job}, entry {number}, {at_s:.3f} s: {why}")
        elif math.isfinite(centre):
            found.numbers += 1
            found.older_s = max(found.older_s, age_s - min(at_s - when for when, _ in _matching(pit, row)))
    return found


def _why_wrong(pit: Pit, row: tuple[float, ...]) -> str:
    at_s, age_s, seq, left, centre, right, cut = row
    if int(seq) not in pit.heights:
        return "a number by an entry that was acknowledged to nobody"
    height = pit.heights[int(seq)]
    if height is None:
        shown = [each for each in (left, centre, right, cut) if not math.isnan(each)]
        return f"{shown} shown, expected nothing: the height is void" if shown else ""
    if not math.isfinite(centre):
        return ""
    if not age_s <= AGE_LIMIT_S + MOMENT_S:
        return f"a number {age_s:.3f} s old, expected at most {AGE_LIMIT_S:g} s"
    if any(True for _ in _matching(pit, row)):
        return ""
    fed = [round(height + pit.walk.edge[k][1], 6) for _, k in _fed(pit, at_s, age_s)]
    return f"centre {centre:.6f} shown, {age_s:.3f} s old, with cut {cut:.6f}; expected a centre of {fed}"


def _fed(pit: Pit, at_s: float, age_s: float) -> Iterator[tuple[float, int]]:
    first = bisect_left(pit.fed_at, at_s - age_s - MOMENT_S)
    for i in range(first, bisect_right(pit.fed_at, at_s + MOMENT_S)):
        yield pit.fed_at[i], pit.fed[i]


def _matching(pit: Pit, row: tuple[float, ...]) -> Iterator[tuple[float, int]]:
    at_s, age_s, seq, *told = row
    height = pit.heights[int(seq)]
    if height is None:
        return
    for when, k in _fed(pit, at_s, age_s):
        points = [height + each for each in pit.walk.edge[k]]
        true = [*points, points[1] - (SLAB_M - FLOOR_M)]
        if all(abs(a - b) <= SAME_M or math.isnan(a) for a, b in zip(told, true, strict=True)):
            yield when, k


@dataclass(frozen=True, slots=True)
class Grown:
    """How memory went in one life once warm: MB an hour at the same log, kB an entry, what neither explains (MB)."""

    life: int
    minutes: float
    mb_per_hour: float
    kb_per_entry: float
    scatter_mb: float
    first_mb: float
    last_mb: float
    files: float
    threads: float


def grown(samples: Sequence[Sample], warm_s: float = WARM_S, long_s: float = LONG_S) -> list[Grown]:
    """Of every life that was long enough to tell: least squares over time and entries, which go by turns."""
    found = []
    for life in sorted({each.life for each in samples}):
        some = [each for each in samples if each.life == life and each.age_s >= warm_s]
        if len(some) < 8 or some[-1].at_s - some[0].at_s < long_s:
            continue
        hours = np.array([(each.at_s - some[0].at_s) / 3600.0 for each in some])
        entries = np.array([float(each.entries - some[0].entries) for each in some])
        memory = np.array([each.resident_mb for each in some])
        recorded = bool(entries[-1] > 0.0)
        columns = [np.ones_like(hours), hours, *([entries] if recorded else [])]
        matrix = np.stack(columns, axis=1)
        by, *_ = np.linalg.lstsq(matrix, memory, rcond=None)
        left = memory - matrix @ by
        quarter = max(len(some) // 4, 1)
        found.append(
            Grown(
                life, float(60.0 * hours[-1]), float(by[1]), float(1e3 * by[2]) if recorded else 0.0, float(left.std()),
                float(np.median(memory[:quarter])), float(np.median(memory[-quarter:])),
                _more([each.files for each in some], quarter), _more([each.threads for each in some], quarter),
            )
        )  # fmt: skip
    return found


def _more(counts: Sequence[int], quarter: int) -> float:
    return float(np.median(counts[-quarter:]) - np.median(counts[:quarter]))


def growth_faults(found: Sequence[Grown], samples: Sequence[Sample]) -> list[str]:
    """What grew beyond its limit; nothing to judge is a fault too."""
    if not found:
        return [f"no life was longer than {WARM_S + LONG_S:g} s: expected one to see memory by"]
    faults = []
    for each in found:
        for what, value, most, unit in (
            ("memory at the same log", each.mb_per_hour, MOST_MB_PER_HOUR, "MB an hour"),
            ("memory by the log", each.kb_per_entry, MOST_KB_PER_ENTRY, "kB an entry"),
            ("open files", each.files, MOST_MORE_FILES, "more"),
            ("threads", each.threads, MOST_MORE_THREADS, "more"),
        ):
            if not value <= most:
                faults.append(f"life {each.life}: {what}: {value:.1f} {unit}, expected at most {most:g}")
    wal = max((each.wal_bytes for each in samples), default=0) / 1e6
    if not wal <= MOST_WAL_MB:
        faults.append(f"the database's log grew to {wal:.1f} MB, expected at most {MOST_WAL_MB:g}")
    return faults


def in_short(faults: Sequence[str]) -> list[str]:
    """The first of them, and how many there are."""
    more = len(faults) - _MOST_TOLD
    return [*faults[:_MOST_TOLD], *([f"and {more} more"] if more > 0 else [])]
