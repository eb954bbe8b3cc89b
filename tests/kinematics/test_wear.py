"""Wear by tape and by touch, with its sign; misclosures of a day."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kinematics.errors import Refused
from kinematics.levelbook import Sight, reduce_level_book
from kinematics.misclosures import Misclosure, closed
from kinematics.wear import height_error, wear_by_tape, wear_by_touch
from tests.tolerances import NOISE_M


def test_by_tape() -> None:
    found = wear_by_tape(1.432, 1.417, 0.003, 0.004)
    assert found.amount == pytest.approx(0.015)
    assert found.standard == pytest.approx(0.005)
    assert found.seen
    assert not wear_by_tape(1.432, 1.428, 0.003).seen


@given(st.floats(0.5, 2.0), st.floats(0.0, 0.1), st.floats(0.6, 1.5))
def test_by_touch_against_a_drawn_bucket(length: float, worn: float, dip: float) -> None:
    """A straight bucket hanging at `dip` below level: what the tool believes of the height of its point, less the
    truth."""
    down = math.sin(dip)
    believed, true = -length * down, -(length - worn) * down
    found = wear_by_touch(believed - true, down, 0.001)
    assert abs(found.amount - worn) <= NOISE_M
    assert abs(height_error(worn, down, None) - (believed - true)) <= NOISE_M
    assert height_error(worn, down, down) == 0.0


def test_a_worn_edge_reads_low_and_digs_high() -> None:
    assert height_error(0.015, 1.0, None) == -0.015
    assert height_error(0.015, 0.8, 1.0) == pytest.approx(0.003)


@pytest.mark.parametrize(
    ("profile", "taped", "standard", "codes"),
    [
        (1.4, math.nan, 0.003, {"not-finite"}), (1.4, -1.4, 0.003, {"not-a-length"}), (1.4, 0.0, -1.0, {"not-a-length",
         "negative-uncertainty"}), (1.4, 4.6, 0.003, {"wear-absurd"}), (1.4, 1400.0, 0.003, {"wear-absurd"}),
    ],
)  # fmt: skip
def test_refused_tapes(profile: float, taped: float, standard: float, codes: set[str]) -> None:
    with pytest.raises(Refused) as told:
        wear_by_tape(profile, taped, standard)
    assert {fault.code for fault in told.value.faults} == codes


@pytest.mark.parametrize("down", [0.49, 0.0, -1.0])
def test_a_flat_edge_says_little(down: float) -> None:
    with pytest.raises(Refused) as told:
        wear_by_touch(-0.01, down, 0.002)
    assert told.value.code == "says-little"


def test_the_level_book_of_the_exercise() -> None:
    """check_values 4.1 (seen), feet: misclosure +0.04 ft; against 4.5, 12 mm sqrt(K): over 1 km, 12 mm against 12.2
    mm."""
    sights = [(3.10, 9.82), (6.44, 6.96), (8.76, 3.27), (7.12, 10.42)]
    book = reduce_level_book(100.0, [Sight(back, fore, f"TP{i}") for i, (back, fore) in enumerate(sights)])
    off = 0.3048 * book.misclosure(94.91)
    assert off == pytest.approx(0.3048 * 0.04, abs=1e-9)
    over_one = closed([Misclosure(off, None)], 1.0)
    assert over_one.allowable == pytest.approx(0.012)
    assert over_one.past == (0,)
    assert closed([Misclosure(off, None)], 1.1).past == ()
    assert closed([Misclosure(off, None)], 1.0, 15.0).past == ()
    assert closed([Misclosure(off, None)]).allowable is None


def test_misclosures_of_a_day() -> None:
    found = closed([Misclosure(0.002, 0.004), Misclosure(-0.009, 0.004), Misclosure(0.001, None)])
    assert found.worst == 1
    assert found.beyond == (1,)
    assert found.mean == pytest.approx(-0.002)
    assert found.rms == pytest.approx(math.sqrt((4 + 81 + 1) / 3) / 1e3)


def test_refused_misclosures() -> None:
    with pytest.raises(Refused):
        closed([])
    with pytest.raises(Refused):
        Misclosure(math.nan, 0.1)
    with pytest.raises(Refused):
        Misclosure(0.0, -0.1)
    with pytest.raises(Refused):
        closed([Misclosure(0.0, None)], -1.0)
