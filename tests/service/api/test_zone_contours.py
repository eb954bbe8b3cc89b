"""Bands and lines over a grid: areas and places that are known beforehand, whatever is missing left out."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from numpy.typing import NDArray

from service.api.drawing import free_box, free_place, signed
from service.api.zone_contours import Place, above, length_of, lines

X, Y = np.array([0.0, 1.0, 3.0, 4.0]), np.array([-1.0, 0.0, 2.0])
ROUNDING = 1e-6
Floats = NDArray[np.float64]


def area(shape: list[Place]) -> float:
    return 0.5 * abs(
        sum(a[0] * b[1] - b[0] * a[1] for a, b in zip(shape, [*shape[1:], shape[0]], strict=True))
    )


def test_above_a_slope_lies_what_is_further_along() -> None:
    z = np.broadcast_to(X, (3, 4)).copy()
    assert sum(map(area, above(X, Y, z, 2.5))) == pytest.approx(1.5 * 3.0)
    [line] = lines(X, Y, z, 2.5)
    assert {x for x, _ in line} == {2.5}
    assert length_of(line) == pytest.approx(3.0)
    assert above(X, Y, z, 4.1) == []
    assert lines(X, Y, z, 4.1) == []


def test_a_gap_is_left_out() -> None:
    z = np.broadcast_to(X, (3, 4)).copy()
    z[0, 3] = math.nan
    assert sum(map(area, above(X, Y, z, 0.0))) == pytest.approx(4.0 * 3.0 - 1.0)
    assert sum(map(length_of, lines(X, Y, z, 3.5))) == pytest.approx(2.0)


def test_a_ring_is_one_line_that_closes() -> None:
    x = np.linspace(-2.0, 2.0, 81)
    z = np.hypot(x[None, :], x[:, None])
    [ring] = lines(x, x, z, 1.0)
    assert ring[0] == ring[-1]
    assert length_of(ring) == pytest.approx(2.0 * math.pi, rel=1e-3)  # chords of 0.05 m
    assert sum(map(area, above(x, x, z, 1.0))) == pytest.approx(16.0 - math.pi, rel=1e-3)


@given(
    z=arrays(np.float64, (3, 4), elements=st.floats(-1.0, 1.0) | st.just(math.nan)),
    level=st.floats(-1.0, 1.0),
)
def test_above_and_below_are_the_whole(z: Floats, level: float) -> None:
    whole = sum(map(area, above(X, Y, np.where(np.isnan(z), z, 0.0), -1.0)))
    # A saddle is joined across both ways, so that above and below may overlap there but never leave a gap.
    both = sum(map(area, above(X, Y, z, level))) + sum(map(area, above(X, Y, -z, -level)))
    assert both >= whole - ROUNDING


def test_figures_keep_off_what_is_there() -> None:
    line = [(float(x), 0.0) for x in range(0, 401, 10)]
    assert free_place(line, [(1000.0, 1000.0)])[0] == (200.0, 0.0)
    here, turn = free_place(line, [(200.0, 0.0)])
    assert abs(here[0] - 200.0) >= 40.0
    assert turn == 0.0
    assert free_place([(0.0, 0.0), (0.0, 100.0)], [(500.0, 0.0)])[1] == -90.0
    assert (signed(-1.5), signed(-0.0), signed(2.0)) == ("\u22121.5", "0", "2")


def test_words_hide_nothing_and_lie_as_near_as_can_be() -> None:
    sheet, map_ = (0.0, 0.0, 400.0, 400.0), (100.0, 100.0, 300.0, 300.0)
    found = free_box((200.0, 110.0), (80.0, 24.0), sheet, [map_], [])
    assert found is not None
    x, y = found
    assert y + 24.0 < 100.0
    assert 120.0 - 1.0 <= x <= 200.0
    blocked = free_box((200.0, 110.0), (80.0, 24.0), sheet, [map_, (0.0, 0.0, 400.0, 100.0)], [])
    assert blocked is not None
    assert blocked[1] >= 100.0
    assert free_box((200.0, 110.0), (80.0, 24.0), sheet, [sheet], []) is None
    assert free_box((5.0, 5.0), (80.0, 24.0), (0.0, 0.0, 100.0, 40.0), [], [(50.0, 20.0)]) is None


def test_figures_are_never_upside_down() -> None:
    for degrees in range(0, 360, 5):
        way = math.radians(degrees)
        ends = [(0.0, 0.0), (100.0 * math.cos(way), 100.0 * math.sin(way))]
        turn = free_place(ends, [(500.0, 500.0)], 20.0)[1]
        assert -100.0 <= turn < 80.0 + ROUNDING
        assert math.sin(math.radians(turn) - way) == pytest.approx(0.0, abs=ROUNDING)
