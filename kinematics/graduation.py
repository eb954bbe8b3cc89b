"""How a levelling staff is graduated in each unit, and round lengths for a scale bar: for drawings of heights.

A figure stands at every tenth of a metre, fifth of a foot or quarter of a foot; the blocks between two are even in
number, so that sides alternate alike from figure to figure. Common practice, no source.
"""

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from types import MappingProxyType

from .units import LengthUnit, show, show_number, to_metres

REACH_M = 3.0
"""A staff is told so far above and below the height asked for: as long as the longest that is carried."""


@dataclass(frozen=True, slots=True)
class Graduation:
    """A staff about a height. `block_m`: height of a block; `blocks_per_figure`: from one figure to the next.

    `figures`: (m, as written) from low to high. `bars`: (m, as written) round lengths, short to long.
    """

    block_m: float
    blocks_per_figure: int
    figures: tuple[tuple[float, str], ...]
    bars: tuple[tuple[float, str], ...]


@dataclass(frozen=True, slots=True)
class _Rule:
    """`counted`: figures in one of `unit`; a figure is that whole number of them over `counted`."""

    unit: LengthUnit
    counted: int
    blocks: int
    written: Callable[[int, float], str]
    bars: tuple[float, ...]


def _tenths(per_unit: int) -> Callable[[int, float], str]:
    return lambda count, _: f"{count / per_unit:z.1f}"


_METRIC_BARS = (0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0)
_FOOT_BARS = (0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0, 200.0, 500.0)
_RULES: Mapping[LengthUnit, _Rule] = MappingProxyType({
    LengthUnit.M: _Rule(LengthUnit.M, 10, 10, _tenths(10), _METRIC_BARS),
    LengthUnit.MM: _Rule(LengthUnit.M, 10, 10, lambda count, _: str(100 * count), _METRIC_BARS),
    LengthUnit.FT: _Rule(LengthUnit.FT, 5, 4, _tenths(5), _FOOT_BARS),
    LengthUnit.FT_US: _Rule(LengthUnit.FT_US, 5, 4, _tenths(5), _FOOT_BARS),
    LengthUnit.FTIN: _Rule(LengthUnit.FT, 4, 6, lambda _, m: show_number(m, LengthUnit.FTIN), _FOOT_BARS),
})  # fmt: skip


def graduation(around_m: float, unit: LengthUnit | str) -> Graduation:
    """The staff of a unit within `REACH_M` of an elevation (m).

    About 98.43 m in m the figures are 95.5 ... 101.4, a block is 0.01 m; about 1.6 m in ftin they go by 3 inches, a block
    is half an inch. Below zero figures have their sign: -0.1 is a tenth below.
    Raises `Refused`: "unknown-unit", "not-a-number", "not-finite", "length-absurd".
    """
    show_number(around_m, unit)
    chosen = LengthUnit(unit)
    rule = _RULES[chosen]
    figure = to_metres(1.0, rule.unit) / rule.counted
    first, last = math.ceil((around_m - REACH_M) / figure), math.floor((around_m + REACH_M) / figure)
    heights = [to_metres(count / rule.counted, rule.unit) for count in range(first, last + 1)]
    bars = [to_metres(each, rule.unit) for each in rule.bars]
    return Graduation(
        figure / rule.blocks, rule.blocks,
        tuple((m, rule.written(count, m)) for count, m in zip(range(first, last + 1), heights, strict=True)),
        tuple((m, _bar(m, each, chosen)) for m, each in zip(bars, rule.bars, strict=True)),
    )  # fmt: skip


def _bar(metres: float, number: float, unit: LengthUnit) -> str:
    """Round lengths need no decimals: 2 m, 500 mm, 0.5 ft; feet and inches are written as ever."""
    if unit is LengthUnit.FTIN:
        return show(metres, unit)
    return f"{number * 1000 if unit is LengthUnit.MM else number:g} {unit.value}"
