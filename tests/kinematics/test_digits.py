"""Figures set by compiled code, against Python's own formatting and `units.show`."""

import json
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kinematics.digits import PLAIN, ROUNDED, SIGNED, UNSIGNED, Figure, Plate
from kinematics.units import LengthUnit, show_number

WAYS = st.sampled_from([PLAIN, ROUNDED, UNSIGNED, SIGNED])
VALUES = st.floats(-1e5, 1e5)


def one(value: float, decimals: int, way: int, scale: float = 1.0) -> str | None:
    return Plate([b"", b""], [Figure(0, scale, decimals, way)]).fill(np.array([value]))


@settings(deadline=None)
@given(VALUES, st.integers(0, 9))
def test_plain_figures_read_back(value: float, decimals: int) -> None:
    text = one(value, decimals, PLAIN)
    assert text is not None
    back = json.loads(text)
    assert math.isfinite(back)
    # half of the last place, and what 17 digits of 1e5 leave
    assert abs(back - value) <= 0.5 * 10.0**-decimals * (1 + 1e-6) + 1e-10


@settings(deadline=None)
@given(VALUES, st.integers(0, 3))
def test_rounded_figures_are_pythons(value: float, decimals: int) -> None:
    text = one(value, decimals, ROUNDED)
    if text is not None:
        assert text == f"{value:z.{decimals}f}"
        assert one(value, decimals, UNSIGNED) == f"{abs(value):.{decimals}f}"
        zero = float(text) == 0.0
        assert one(value, decimals, SIGNED) == (text if zero else f"{value:+.{decimals}f}")
    else:
        steps = abs(value) * 10**decimals
        assert abs(steps % 1.0 - 0.5) < 1.1e-5


@settings(deadline=None)
@given(VALUES, st.sampled_from([(LengthUnit.M, 1.0, 3), (LengthUnit.MM, 1e3, 0), (LengthUnit.FT, 1 / 0.3048, 2),
                                (LengthUnit.FT_US, 3937 / 1200, 2)]))  # fmt: skip
def test_lengths_are_shown_as_everywhere(value: float, how: tuple[LengthUnit, float, int]) -> None:
    unit, scale, decimals = how
    text = one(value, decimals, ROUNDED, scale)
    assert text is None or text == show_number(value, unit)


@pytest.mark.parametrize("value", [0.0005, -0.0015, 12.0005])
def test_a_half_is_left_to_others(value: float) -> None:
    assert one(value, 3, ROUNDED) is None
    assert one(value, 3, PLAIN) is not None


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf, 1e300])
def test_what_is_no_figure(value: float) -> None:
    for way in (PLAIN, ROUNDED, UNSIGNED, SIGNED):
        assert one(value, 3, way) is None


def test_a_zero_has_no_sign() -> None:
    assert [one(-0.0001, 3, way) for way in (PLAIN, ROUNDED, UNSIGNED, SIGNED)] == [
        "0.000",
        "0.000",
        "0.000",
        "0.000",
    ]
    assert one(-0.0, 0, ROUNDED) == "0"


@settings(deadline=None)
@given(st.lists(st.tuples(VALUES, st.integers(0, 6), WAYS), max_size=12))
def test_letters_stand_where_they_stood(rows: list[tuple[float, int, int]]) -> None:
    figures = [Figure(i, 1.0, decimals, way) for i, (_, decimals, way) in enumerate(rows)]
    letters = [f"<{i}é>".encode() for i in range(len(rows) + 1)]
    numbers = np.array([value for value, _, _ in rows])
    text = Plate(letters, figures).fill(numbers)
    alone = [one(value, decimals, way) for value, decimals, way in rows]
    if None in alone:
        assert text is None
    else:
        wanted = "".join(f"<{i}é>{figure or ''}" for i, figure in enumerate([*alone, ""]))
        assert text == wanted


@settings(deadline=None)
@given(st.data(), st.lists(st.tuples(st.integers(0, 6), WAYS), min_size=1, max_size=6))
def test_filled_again_and_again_it_is_as_filled_once(
    data: st.DataObject, kinds: list[tuple[int, int]]
) -> None:
    """Whatever widths came before, and whether a figure could not be written."""
    figures = [Figure(i, 1.0, decimals, way) for i, (decimals, way) in enumerate(kinds)]
    letters = [f"<{i}>".encode() * i for i in range(len(kinds) + 1)]
    plate = Plate(letters, figures)
    for _ in range(6):
        numbers = np.array([data.draw(VALUES | st.just(math.nan)) for _ in kinds])
        assert plate.fill(numbers) == Plate(letters, figures).fill(numbers)


def test_pieces_and_figures_belong_together() -> None:
    with pytest.raises(ValueError, match="expected 2 pieces around 1 figures, found 1"):
        Plate([b""], [Figure(0, 1.0, 0, PLAIN)])
