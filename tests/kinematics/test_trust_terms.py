"""What an elevation owes to each entry of a log: added up again from the measurements, it is the elevation."""

import math
from collections import Counter
from dataclasses import dataclass, field

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kinematics.errors import Refused
from kinematics.levelling import Book, Enters, Known, Laser, added
from tests.amounts import several
from tests.tolerances import NOISE_M

KINDS = ("declare", "touch", "check", "turning", "strike", "strike", "move", "place", "laser", "clamp")


@dataclass
class Log:
    """A random log, and what each of its entries measured."""

    rng: np.random.Generator
    book: Book = field(default_factory=Book)
    measured: dict[tuple[int, Enters], float] = field(default_factory=dict)
    did: Counter[str] = field(default_factory=Counter)
    seq: int = 0

    def play(self, length: int) -> None:
        for kind in ("declare", "place", "laser", "touch", *self.rng.choice(KINDS, length).tolist()):
            self.seq += 1
            try:
                self.entry(kind)
            except Refused:
                self.did["refused"] += 1
                continue
            self.did[kind] += 1
            self.add_up()

    def entry(self, kind: str) -> None:
        seq, value = self.seq, float(self.rng.uniform(-5.0, 5.0))
        names = list(self.book.points)
        name = names[int(self.rng.integers(len(names)))] if names else "none"
        if kind == "declare":
            self.book = self.book.declared(seq, f"mark {seq}", 100.0 + value)
            self.measured[seq, Enters.BENCHMARK] = 100.0 + value
        elif kind in ("touch", "check"):
            gives = bool(self.rng.random() < 0.8)
            self.book, _ = self.book.touched(seq, name, value, check=kind == "check", gives_plane=gives)
            self.measured[seq, Enters.EDGE] = value
        elif kind == "turning":
            self.book, _ = self.book.turning_point(seq, f"stone {seq}", value)
            self.measured[seq, Enters.EDGE] = value
        elif kind == "strike":
            fall = self.book.laser is not None and self.book.laser.fall != 0.0
            along = float(self.rng.uniform(-30.0, 30.0)) if fall and self.book.plane is not None else None
            self.book, outcome = self.book.struck_by_laser(seq, value, along)
            self.measured[seq, Enters.RECEIVER] = value
            self.measured[seq, Enters.CARRIED] = 0.0  # the plane stays where it is
            self.measured[seq, Enters.DISTANCE] = along or 0.0
            self.did[outcome.role] += 1
        elif kind == "laser":
            self.book = self.book.laser_set_up(Laser(10.0, float(self.rng.choice([0.0, 0.0, 0.02, -0.013]))))
        else:
            act = {"move": self.book.moved, "place": self.book.placed, "clamp": self.book.receiver_clamped}
            self.book = act[kind]()

    def add_up(self) -> None:
        for known in (self.book.height, self.book.plane, *self.book.points.values()):
            if known is None:
                continue
            total = math.fsum(factor * self.measured[key] for key, factor in known.terms.items())
            assert math.isfinite(total)
            assert abs(total - known.elevation) <= NOISE_M
            assert {seq for seq, _ in known.terms} <= known.hangs_on
            assert all(factor != 0.0 for factor in known.terms.values())


@given(st.integers(0, 1_000_000), st.integers(0, 40))
@settings(deadline=None, max_examples=several(200))
def test_terms_add_up_to_the_elevation(seed: int, length: int) -> None:
    Log(np.random.default_rng(seed)).play(length)


def test_such_logs_do_everything() -> None:
    done: Counter[str] = Counter()
    for seed in range(200):
        log = Log(np.random.default_rng(seed))
        log.play(40)
        done += log.did
    for what in (
        *KINDS,
        "sets the laser plane",
        "carries the height from the laser plane",
        "waits for a touch",
    ):
        assert done[what] > 20, what


def test_what_cancels_is_left_out() -> None:
    """A stone touched again in the posture that set it: its own entry stays, each with its sign."""
    book = Book().declared(1, "slab", 100.0).placed()
    book, _ = book.touched(2, "slab", -1.85, check=False)
    assert book.height is not None
    assert book.height.terms == {(1, Enters.BENCHMARK): 1.0, (2, Enters.EDGE): -1.0}
    book, _ = book.turning_point(3, "stone", -0.5)
    book, _ = book.moved().touched(4, "stone", -0.4, check=False)
    assert book.height is not None
    assert book.height.terms[3, Enters.EDGE] == 1.0
    assert book.height.terms[4, Enters.EDGE] == -1.0
    assert book.height.elevation == pytest.approx(100.0 + 1.85 - 0.5 + 0.4, abs=NOISE_M)
    assert added(book.height.terms, book.height.terms, -1.0) == {}


def test_terms_play_no_part_in_what_is_equal() -> None:
    """A log folded anew compares by elevation and what it hangs on."""
    assert Known(1.0, frozenset({1})) == Known(1.0, frozenset({1}), terms={(1, Enters.EDGE): 1.0})
