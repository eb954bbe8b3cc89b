"""The level book of a machine against a published level book, and what each event voids."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kinematics.errors import Refused
from kinematics.levelling import Book, Laser, Role, void_entries
from tests.tolerances import NOISE_M, PRINTED_FT

HEIGHTS = st.floats(min_value=-12.0, max_value=12.0)
ELEVATIONS = st.floats(min_value=-500.0, max_value=3000.0)


def on_site(elevation: float = 100.0, fall: float = 0.0) -> Book:
    """A machine beside a benchmark, a laser running."""
    return Book().placed().declared(1, "slab", elevation).laser_set_up(Laser(10.0, fall))


def carried(book: Book) -> float:
    """The origin's elevation; fails where there is none."""
    assert book.height is not None
    assert math.isfinite(book.height.elevation)
    return book.height.elevation


def test_level_book_with_three_turning_points() -> None:
    """check value 4.1, textbook exercise (seen): the machine as the rod, no laser, three moves between points.

    A backsight is the height of the instrument over the point; for a machine the origin over the touched point.
    """
    rows = [(3.10, 9.82, "TP1", 93.28), (6.44, 6.96, "TP2", 92.76), (8.76, 3.27, "TP3", 98.25)]
    book = Book().placed().declared(1, "BM A", 100.0).declared(2, "BM B", 94.91)
    at, seq = "BM A", 3
    for backsight, foresight, name, expected in rows:
        book, _ = book.touched(seq, at, -backsight, check=False)
        book, outcome = book.turning_point(seq + 1, name, -foresight)
        assert outcome.elevation == pytest.approx(expected, abs=PRINTED_FT)
        book, at, seq = book.moved(), name, seq + 2
    book, _ = book.touched(seq, at, -7.12, check=False)
    assert carried(book) == pytest.approx(105.37, abs=PRINTED_FT)
    _, closing = book.touched(seq + 1, "BM B", -10.42, check=True)
    assert closing.misclosure == pytest.approx(0.04, abs=PRINTED_FT)
    assert closing.elevation == pytest.approx(94.95, abs=PRINTED_FT)


def test_first_setup() -> None:
    """check value 4.2, Ghilani and Wolf, Elementary Surveying (seen): BM 820.00, BS 8.42, FS 1.20 -> 827.22."""
    book = Book().placed().declared(1, "BM", 820.0)
    book, outcome = book.touched(2, "BM", -8.42, check=False)
    assert outcome.elevation == pytest.approx(828.42, abs=PRINTED_FT)
    _, point = book.turning_point(3, "TP", -1.20)
    assert point.elevation == pytest.approx(827.22, abs=PRINTED_FT)


@given(ELEVATIONS, HEIGHTS, HEIGHTS, HEIGHTS, HEIGHTS)
def test_whole_chain_is_the_formula(b: float, z0: float, r1: float, r2: float, z: float) -> None:
    """domain: E = B - z_e(q0) + z_r(q1) - z_r(q2) + z_e(q)."""
    book = on_site(b)
    book, _ = book.touched(2, "slab", z0, check=False)
    book, _ = book.struck_by_laser(3, r1, None)
    book = book.moved()
    assert book.height is None
    book, outcome = book.struck_by_laser(4, r2, None)
    assert outcome.role is Role.CARRIES_HEIGHT
    assert carried(book) + z == pytest.approx(b - z0 + r1 - r2 + z, abs=NOISE_M)
    assert book.height is not None
    assert book.height.hangs_on == {1, 2, 3, 4}


@given(ELEVATIONS, HEIGHTS, HEIGHTS)
def test_touch_and_strike_in_either_order(b: float, z0: float, r1: float) -> None:
    """The same height and plane, hanging on the same entries."""
    touch_first = on_site(b)
    touch_first, _ = touch_first.touched(2, "slab", z0, check=False)
    touch_first, _ = touch_first.struck_by_laser(3, r1, None)
    strike_first = on_site(b)
    strike_first, waits = strike_first.struck_by_laser(3, r1, None)
    assert waits.role is Role.WAITS
    strike_first, _ = strike_first.touched(2, "slab", z0, check=False)
    assert touch_first.plane == strike_first.plane
    assert touch_first.height == strike_first.height


def test_second_strike_without_a_move_checks_and_changes_nothing() -> None:
    book = on_site()
    book, _ = book.touched(2, "slab", -2.0, check=False)
    book, _ = book.struck_by_laser(3, 1.0, None)
    after, outcome = book.struck_by_laser(4, 1.012, None)
    assert outcome.role is Role.CHECKS
    assert outcome.misclosure == pytest.approx(0.012, abs=NOISE_M)
    assert after.height == book.height
    assert after.plane == book.plane


def test_second_strike_while_the_first_waits_checks_it() -> None:
    book, _ = on_site().struck_by_laser(2, 1.0, None)
    after, outcome = book.struck_by_laser(3, 0.995, None)
    assert outcome.role is Role.CHECKS
    assert outcome.misclosure == pytest.approx(-0.005, abs=NOISE_M)
    assert after.waiting == book.waiting


def test_falling_plane_is_carried_by_the_taped_distance() -> None:
    """1 % over 12 m is 120 mm: P' = P + g s."""
    book = on_site(fall=0.01)
    book, _ = book.touched(2, "slab", -2.0, check=False)
    book, _ = book.struck_by_laser(3, 1.0, None)
    assert book.plane is not None
    assert book.plane.elevation == pytest.approx(103.0, abs=NOISE_M)
    book, outcome = book.moved().struck_by_laser(4, 1.5, -12.0)
    assert outcome.role is Role.CARRIES_HEIGHT
    assert carried(book) == pytest.approx(103.0 - 0.12 - 1.5, abs=NOISE_M)
    assert book.plane is not None
    assert book.plane.at == 4
    back, check = book.struck_by_laser(5, 1.62, 12.0)
    assert check.misclosure == pytest.approx(0.0, abs=NOISE_M)
    assert back.plane == book.plane


def test_falling_plane_without_distance_gives_depth_below_it_only() -> None:
    book = on_site(fall=0.01)
    book, _ = book.touched(2, "slab", -2.0, check=False)
    book, _ = book.struck_by_laser(3, 1.0, None)
    book, outcome = book.moved().struck_by_laser(4, 1.5, None)
    assert outcome.role is Role.PLANE_ONLY
    assert outcome.hangs_on == {1, 2, 3}
    assert book.height is None
    assert book.struck is not None


def test_distance_where_it_means_nothing_is_refused() -> None:
    book, _ = on_site().touched(2, "slab", -2.0, check=False)
    with pytest.raises(Refused) as first:
        book.struck_by_laser(3, 1.0, 5.0)
    assert first.value.code == "distance-useless"
    book, _ = book.struck_by_laser(3, 1.0, None)
    with pytest.raises(Refused) as level:
        book.moved().struck_by_laser(4, 1.0, 5.0)
    assert level.value.code == "distance-useless"


def test_check_strike_on_a_falling_plane_needs_the_distance() -> None:
    book, _ = on_site(fall=-0.02).touched(2, "slab", -2.0, check=False)
    book, _ = book.struck_by_laser(3, 1.0, None)
    with pytest.raises(Refused) as refused:
        book.struck_by_laser(4, 1.0, None)
    assert refused.value.code == "distance-missing"


def test_what_each_event_voids() -> None:
    book, _ = on_site().touched(2, "slab", -2.0, check=False)
    book, _ = book.struck_by_laser(3, 1.0, None)
    moved = book.moved()
    assert (moved.height, moved.struck, moved.setup) == (None, None, 2)
    assert moved.plane == book.plane
    reset = book.laser_set_up(Laser(5.0, 0.0))
    assert reset.height == book.height
    assert (reset.plane, reset.struck) == (None, None)
    clamped = book.receiver_clamped()
    assert clamped.height == book.height
    assert (clamped.plane, clamped.struck) == (None, None)
    placed = book.placed()
    assert (placed.height, placed.plane, placed.waiting) == (None, None, None)
    assert set(placed.points) == {"slab"}


def test_job_without_a_laser() -> None:
    """Turning points carry a job; only the strike is refused, with words."""
    book = Book().placed().declared(1, "slab", 100.0)
    book, _ = book.touched(2, "slab", -2.0, check=False)
    with pytest.raises(Refused) as refused:
        book.struck_by_laser(3, 1.0, None)
    assert refused.value.code == "no-laser"
    book, point = book.turning_point(4, "stone", -1.4)
    assert point.elevation == pytest.approx(100.6, abs=NOISE_M)
    book, _ = book.moved().touched(5, "stone", -1.1, check=False)
    assert carried(book) == pytest.approx(101.7, abs=NOISE_M)
    assert "laser" not in book.moved().how_to_know_height()


@pytest.mark.parametrize(
    ("act", "code"),
    [
        (lambda: Book().touched(1, "slab", 0.0, check=False), "no-setup"),
        (lambda: Book().laser_set_up(Laser(10, 0)).struck_by_laser(1, 0.0, None), "no-setup"),
        (lambda: on_site().touched(2, "kerb", 0.0, check=False), "unknown-benchmark"),
        (lambda: on_site().touched(2, "slab", 0.0, check=True), "height-unknown"),
        (lambda: on_site().turning_point(2, "stone", 0.0), "height-unknown"),
        (lambda: on_site().declared(2, "slab", 1.0), "name-taken"),
        (lambda: on_site().declared(2, "kerb", math.nan), "not-finite"),
    ],
)
def test_refusals(act: object, code: str) -> None:
    assert callable(act)
    with pytest.raises(Refused) as refused:
        act()
    assert refused.value.code == code


def test_withdrawing_takes_what_hangs_on_it() -> None:
    hangs_on = {1: (), 2: (1,), 3: (1, 2), 4: (), 5: (3,), 6: (4,)}
    assert void_entries([(7, 2)], hangs_on) == {2, 3, 5}
    assert void_entries([], hangs_on) == frozenset()
    assert void_entries([(7, 2), (8, 7)], hangs_on) == {7}
    assert void_entries([(7, 2), (8, 7), (9, 8)], hangs_on) == {8, 2, 3, 5}
