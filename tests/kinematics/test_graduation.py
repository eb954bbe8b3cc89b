"""The graduation of a staff: every figure stands at the height it says, in every unit."""

import math
import re
from itertools import pairwise

import pytest

from kinematics.errors import Refused
from kinematics.graduation import REACH_M, graduation
from kinematics.units import LengthUnit, to_metres
from tests.tolerances import CLOSURE_M, NOISE_M


def read(written: str, unit: LengthUnit) -> float:
    return to_metres(written if unit is LengthUnit.FTIN else float(written), unit)


@pytest.mark.parametrize("unit", list(LengthUnit))
@pytest.mark.parametrize("around", [98.43, -0.1, 0.02, 1609.344, -7.77])
def test_a_figure_stands_where_it_says(unit: LengthUnit, around: float) -> None:
    told = graduation(around, unit)
    heights = [m for m, _ in told.figures]
    for m, written in told.figures:
        assert math.isclose(m, read(written, unit), rel_tol=1e-12, abs_tol=CLOSURE_M), written
    assert heights == sorted(heights)
    apart = told.block_m * told.blocks_per_figure
    assert all(math.isclose(b - a, apart, abs_tol=NOISE_M) for a, b in pairwise(heights))
    for end, last in ((around - REACH_M, heights[0]), (around + REACH_M, heights[-1])):
        assert abs(last - around) < REACH_M + NOISE_M
        assert abs(last - end) < apart + NOISE_M, "no further figure would fit"
    assert told.blocks_per_figure % 2 == 0, "sides alternate alike from figure to figure"


@pytest.mark.parametrize("unit", list(LengthUnit))
def test_scale_bars_are_as_long_as_they_say(unit: LengthUnit) -> None:
    bars = graduation(0.0, unit).bars
    for m, written in bars:
        number = written if unit is LengthUnit.FTIN else written.removesuffix(f" {unit.value}")
        assert math.isclose(m, read(number, unit), rel_tol=1e-12), written
    assert [m for m, _ in bars] == sorted(m for m, _ in bars)


def test_blocks_and_figures_of_each_unit() -> None:
    """The international foot is 0.3048 m, that of the survey 1200/3937 m (NIST)."""
    found = {unit: graduation(0.0, unit) for unit in LengthUnit}
    assert {unit.value: each.block_m for unit, each in found.items()} == pytest.approx(
        {"m": 0.01, "mm": 0.01, "ft": 0.01524, "ftUS": 60 / 3937, "ftin": 0.0127}, rel=1e-12
    )
    middle = {unit.value: [w for m, w in each.figures if abs(m) < 0.11] for unit, each in found.items()}
    assert middle == {
        "m": ["-0.1", "0.0", "0.1"], "mm": ["-100", "0", "100"], "ft": ["-0.2", "0.0", "0.2"],
        "ftUS": ["-0.2", "0.0", "0.2"], "ftin": ['-3"', '0"', '3"'],
    }  # fmt: skip
    assert [w for _, w in found[LengthUnit.FTIN].figures if re.match("1'", w)][:2] == ["1' 0\"", "1' 3\""]


@pytest.mark.parametrize(
    ("around", "unit", "code"),
    [(math.nan, "m", "not-finite"), (2e6, "m", "length-absurd"), (1.0, "yd", "unknown-unit")],
)
def test_refusals(around: float, unit: str, code: str) -> None:
    with pytest.raises(Refused) as caught:
        graduation(around, unit)
    assert [each.code for each in caught.value.faults] == [code]
