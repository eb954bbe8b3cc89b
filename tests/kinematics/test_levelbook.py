"""The classical level book and its errors: `kinematics.levelbook`."""

import math
from collections.abc import Callable

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kinematics.errors import Refused
from kinematics.levelbook import (
    allowable_misclosure_m,
    curvature_and_refraction_m,
    height_of_instrument,
    laser_level_error_m,
    misclosure,
    reduce_level_book,
    turn_test_error_m,
)
from kinematics.units import from_metres, profile_length_to_metres, to_metres
from tests.tolerances import CLOSURE_M, NOISE_M, PRINTED_FT, PRINTED_M_4, ROUNDING

FOOT_BOOK = [(3.10, 9.82, "TP1"), (6.44, 6.96, "TP2"), (8.76, 3.27, "TP3"), (7.12, 10.42, "BM B")]
readings = st.floats(0.0, 5.0)
books = st.lists(st.tuples(readings, readings, st.just("TP")), min_size=1, max_size=12)


def ft(value: float) -> float:
    return to_metres(value, "ft")


def in_ft(metres: float) -> float:
    return from_metres(metres, "ft")


# The book


def test_full_level_book() -> None:
    """check_values.md 4.1 (seen): a textbook exercise in feet, BM A 100.00 to BM B, known 94.91."""
    book = reduce_level_book(ft(100.0), [(ft(back), ft(fore), name) for back, fore, name in FOOT_BOOK])
    printed = [("TP1", 103.10, 93.28), ("TP2", 99.72, 92.76), ("TP3", 101.52, 98.25), ("BM B", 105.37, 94.95)]
    for row, (name, line, elevation) in zip(book.rows, printed, strict=True):
        assert row.name == name
        assert abs(in_ft(row.height_of_instrument_m) - line) <= PRINTED_FT
        assert abs(in_ft(row.elevation_m) - elevation) <= PRINTED_FT
    assert abs(in_ft(book.sum_backsights_m) - 25.42) <= PRINTED_FT
    assert abs(in_ft(book.sum_foresights_m) - 30.47) <= PRINTED_FT
    assert abs(book.arithmetic_check_m) <= CLOSURE_M
    assert abs(in_ft(book.misclosure(ft(94.91))) - 0.04) <= PRINTED_FT


def test_first_setup() -> None:
    """check_values.md 4.2 (seen): C. Ghilani and P. Wolf, Elementary Surveying, feet."""
    assert abs(in_ft(height_of_instrument(ft(820.0), ft(8.42))) - 828.42) <= PRINTED_FT
    (row,) = reduce_level_book(ft(820.0), [(ft(8.42), ft(1.20), "ahead")]).rows
    assert abs(in_ft(row.elevation_m) - 827.22) <= PRINTED_FT


def test_misclosure_is_computed_minus_known() -> None:
    assert misclosure(94.95, 94.91) > 0.0
    assert misclosure(94.91, 94.95) < 0.0


@given(start=st.floats(-500.0, 500.0), sights=books)
def test_the_sums_check_the_book(start: float, sights: list[tuple[float, float, str]]) -> None:
    book = reduce_level_book(start, sights)
    assert math.isfinite(book.arithmetic_check_m)
    assert abs(book.arithmetic_check_m) <= NOISE_M
    assert len(book.rows) == len(sights)


@given(start=st.floats(-500.0, 500.0), sights=books)
def test_levelling_back_over_the_same_points_closes(
    start: float, sights: list[tuple[float, float, str]]
) -> None:
    back = [(fore, behind, name) for behind, fore, name in reversed(sights)]
    assert abs(reduce_level_book(start, [*sights, *back]).misclosure(start)) <= NOISE_M


def test_every_bad_reading_is_named() -> None:
    with pytest.raises(Refused) as caught:
        reduce_level_book(math.inf, [(1.0, 2.0, "a"), (math.nan, 1.0, "b"), (1.0, math.inf, "c")])
    assert [fault.where for fault in caught.value.faults] == [
        "start",
        "sights.1.backsight",
        "sights.2.foresight",
    ]
    assert {fault.code for fault in caught.value.faults} == {"not-finite"}


def test_an_empty_book_is_refused() -> None:
    with pytest.raises(Refused) as caught:
        reduce_level_book(100.0, [])
    assert caught.value.code == "no-sight"


# Allowances and errors


@pytest.mark.parametrize(
    ("factor", "distance_km", "metres"),
    [(12.0, 1.0, 0.012), (12.0, 4.0, 0.024), (10.0, 0.25, 0.005), (15.0, 1.0, 0.015)],
)
def test_allowable_misclosure(factor: float, distance_km: float, metres: float) -> None:
    """check_values.md 4.5 (seen): 12 mm sqrt(K) ordinary levelling, 10 or 15 in building practice."""
    assert abs(allowable_misclosure_m(distance_km, factor) - metres) <= CLOSURE_M


def test_curvature_and_refraction_metric() -> None:
    """check_values.md 4.3 (seen): 0.0675 K^2 m with K in km, 0.0673 where refraction is 1/7 of curvature."""
    assert abs(curvature_and_refraction_m(1000.0) - 0.0675) <= PRINTED_M_4
    assert abs(curvature_and_refraction_m(1000.0, 1 / 7) - 0.0673) <= PRINTED_M_4
    assert abs(curvature_and_refraction_m(3000.0) - 9 * curvature_and_refraction_m(1000.0)) <= CLOSURE_M


def test_curvature_and_refraction_in_feet() -> None:
    """check_values.md 4.3: 0.021 F^2 ft (seen), 0.0206 F^2 (memory), F in thousands of feet."""
    found = in_ft(curvature_and_refraction_m(ft(1000.0)))
    assert abs(found - 0.021) <= 0.0005  # half the last printed digit
    assert abs(found - 0.0206) <= 0.00005  # half the last printed digit


def test_ten_arc_seconds() -> None:
    """check_values.md 4.4 (derived): 10 arc-seconds are 1.454 mm at 30 m and 0.0582 in at 100 ft."""
    assert abs(laser_level_error_m(10.0, 30.0) - 0.001454) <= 0.0000005  # half the last printed digit
    inches = laser_level_error_m(10.0, ft(100.0)) / profile_length_to_metres(1.0, "in")
    assert abs(inches - 0.0582) <= 0.00005  # half the last printed digit
    assert laser_level_error_m(-10.0, 30.0) == -laser_level_error_m(10.0, 30.0)


@given(line=st.floats(0.0, 3.0), arc_seconds=st.floats(-120.0, 120.0), distance=st.floats(1.0, 100.0))
def test_the_turn_test_halves_the_difference(line: float, arc_seconds: float, distance: float) -> None:
    """check_values.md 4.4 (seen, laser manuals): the difference between the marks is twice the error."""
    error = laser_level_error_m(arc_seconds, distance)
    assert abs(turn_test_error_m(line + error, line - error) - error) <= CLOSURE_M


@given(distance=st.floats(1.0, 5000.0), refraction=st.floats(0.0, 0.5))
def test_refraction_takes_its_share_of_the_curvature(distance: float, refraction: float) -> None:
    whole = curvature_and_refraction_m(distance, 0.0)
    assert (
        abs(curvature_and_refraction_m(distance, refraction) - (1 - refraction) * whole) <= ROUNDING * whole
    )


# Refusals


@pytest.mark.parametrize("bad", [math.nan, math.inf, -math.inf])
def test_nothing_is_computed_from_numbers_without_end(bad: float) -> None:
    for door in (
        height_of_instrument, misclosure, allowable_misclosure_m, curvature_and_refraction_m,
        laser_level_error_m, turn_test_error_m,
    ):  # fmt: skip
        for pair in ((bad, 0.5), (0.5, bad)):
            with pytest.raises(Refused) as caught:
                door(*pair)
            assert [fault.code for fault in caught.value.faults] == ["not-finite"]
        with pytest.raises(Refused) as caught:
            door(bad, bad)
        assert len(caught.value.faults) == 2


def test_what_lies_outside_a_formula_is_refused() -> None:
    with pytest.raises(Refused) as caught:
        allowable_misclosure_m(0.0, -12.0)
    assert [fault.where for fault in caught.value.faults] == ["distance_km", "millimetres_per_root_km"]


@pytest.mark.parametrize(
    ("door", "values", "code"),
    [
        (curvature_and_refraction_m, (-1.0, 0.14), "negative-distance"),
        (curvature_and_refraction_m, (100.0, 14.0), "refraction-absurd"),
        (laser_level_error_m, (10.0, -30.0), "negative-distance"),
        (laser_level_error_m, (324_000.0, 30.0), "not-a-tilt"),
    ],
)
def test_each_such_refusal_has_its_code(
    door: Callable[[float, float], float], values: tuple[float, float], code: str
) -> None:
    with pytest.raises(Refused) as caught:
        door(*values)
    assert caught.value.code == code
