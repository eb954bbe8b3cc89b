"""The verdict of the long run finds what it is for: each fault planted in records that hold without it."""

import json
import math
from dataclasses import replace
from functools import cache

import pytest

from .long_run.clerk import Acknowledged
from .long_run.lives import Sample
from .long_run.pits import FLOOR_M, SLAB_M, STEP_M, Pit, Walk, walk
from .long_run.verdict import (
    MOST_KB_PER_ENTRY,
    MOST_MB_PER_HOUR,
    MOST_MORE_FILES,
    MOST_MORE_THREADS,
    MOST_WAL_MB,
    added,
    grown,
    growth_faults,
    held,
    lost,
)

LEDGER = [
    Acknowledged(1.0, "pit", 1, None),
    *(Acknowledged(float(i), "pit", i, f"u{i}") for i in range(2, 6)),
]
LOG = {"pit": [(i, f"u{i}") for i in range(1, 6)]}
NOISE_MB = (0.3, -0.2, 0.1, -0.3, 0.2, -0.1)


def test_a_log_that_holds() -> None:
    assert lost(LEDGER, LOG) == []
    assert added(LEDGER, LOG) == []


@pytest.mark.parametrize(
    "log",
    [
        {"pit": LOG["pit"][:-1]},
        {"pit": [*LOG["pit"][:-1], (5, "another")]},
        {"pit": [*LOG["pit"], (5, "u5")]},
        {"pit": LOG["pit"][1:]},
        {},
    ],
)
def test_a_lost_entry_is_found(log: dict[str, list[tuple[int, str]]]) -> None:
    assert lost(LEDGER, log)


def test_a_doubled_entry_is_found() -> None:
    [told] = added(LEDGER, {"pit": [*LOG["pit"], (6, "u6")]})
    assert "entry 6" in told
    [told] = added([*LEDGER, replace(LEDGER[-1], at_s=9.0)], LOG)
    assert "entry 5 was acknowledged for 2 requests" in told


@cache
def _walk() -> Walk:
    return walk()


def _shown(
    at_s: float = 10.5,
    age_s: float = 0.12,
    seq: int = 2,
    of: int = 2,
    off_m: float = 0.0,
    *,
    void: bool = False,
) -> Pit:
    """A pit that was fed at 10.0, 10.2 ... 10.8 s, and the number of one of these frames, shown."""
    pit = Pit("pit", _walk(), 40)
    for k in range(5):
        pit.readings(10.0 + 0.2 * k)
    pit.heights = {1: None, 2: 102.0, 3: 102.5}
    left, centre, right = (pit.heights[2] + each + off_m for each in pit.walk.edge[41 + of])  # type: ignore[operator]
    points = dict(zip(("left", "centre", "right"), (left, centre, right), strict=True))
    told: dict[str, object] = {
        "seq": seq, "no_number_because": [],
        "points": {name: {"elevation": None if void else {"m": each}, "cut_fill": None} for name, each in points.items()},
    }  # fmt: skip
    if not void:
        told["points"]["centre"]["cut_fill"] = {"above_target": {"m": centre - (SLAB_M - FLOOR_M)}}  # type: ignore[index]
    else:
        told["no_number_because"] = [{"code": "height-unknown"}]
    pit.see(json.dumps({"at_s": at_s, "age_s": age_s, "readout": told, "no_number_because": []}))
    return pit


def test_a_right_number_and_a_blank_one_hold() -> None:
    found = held(_shown(), {})
    assert (found.numbers, found.wrong) == (1, [])
    assert found.older_s == pytest.approx(0.02, abs=1e-9)
    blank = _shown(seq=1, void=True)
    assert (held(blank, {}).wrong, blank.without_reason, blank.blank) == ([], 0, {"height-unknown": 1})


@pytest.mark.parametrize(
    "wrong",
    [
        {"off_m": 2e-6},
        {"off_m": STEP_M},
        {"of": 1},  # the frame before, told too young
        {"seq": 3},  # the height of another entry
        {"seq": 1},  # a height that is void
        {"seq": 4},  # an entry that nobody was told of
        {"age_s": 0.05},
        {"at_s": 11.0, "age_s": 0.3},
        {"at_s": 11.0, "age_s": 0.7},  # right, and too old to be shown
    ],
)
def test_a_wrong_number_is_found(wrong: dict[str, float]) -> None:
    assert len(held(_shown(**wrong), {}).wrong) == 1  # type: ignore[arg-type]


def test_no_number_without_a_reason_is_found() -> None:
    pit = Pit("pit", _walk(), 0)
    pit.see(json.dumps({"at_s": 1.0, "age_s": None, "readout": None, "no_number_because": []}))
    assert pit.without_reason == 1


def test_how_long_a_number_went_by_the_log_of_before() -> None:
    assert held(_shown(), {3: 10.2}).behind_s == pytest.approx(0.3)
    assert held(_shown(), {3: 10.7}).behind_s == 0.0


def _samples(
    mb_per_hour: float = 0.0, kb_per_entry: float = 2.0, more: int = 0, wal_mb: float = 4.0
) -> list[Sample]:
    """Half an hour of one life, recording for three minutes of every six; `more` files and threads at its end."""
    found, entries = [], 0
    for i in range(360):
        at_s = 5.0 * i
        entries += 25 if int(at_s / 180.0) % 2 == 0 else 0
        memory = (
            200.0 + mb_per_hour * at_s / 3600.0 + 1e-3 * kb_per_entry * entries + NOISE_MB[i % len(NOISE_MB)]
        )
        files = 120 + (more if i > 260 else 0)
        found.append(Sample(at_s, 3, at_s, memory, files, files, 0, round(1e6 * wal_mb), entries))
    return found


def test_memory_that_stays_holds() -> None:
    samples = _samples()
    [found] = grown(samples)
    assert found.mb_per_hour == pytest.approx(0.0, abs=0.2)
    assert found.kb_per_entry == pytest.approx(2.0, abs=0.05)
    assert growth_faults([found], samples) == []


@pytest.mark.parametrize(
    "samples",
    [
        _samples(mb_per_hour=1.2 * MOST_MB_PER_HOUR),
        _samples(kb_per_entry=1.1 * MOST_KB_PER_ENTRY),
        _samples(more=max(MOST_MORE_FILES, MOST_MORE_THREADS) + 1),
        _samples(wal_mb=MOST_WAL_MB + 1.0),
        _samples(mb_per_hour=math.nan),
        [],
        _samples()[:80],
    ],
)
def test_memory_that_grows_or_is_not_seen_is_found(samples: list[Sample]) -> None:
    assert growth_faults(grown(samples), samples)
