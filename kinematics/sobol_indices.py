"""Sobol indices: which varied number makes how much of the spread of a result, alone and with all that it takes part in.

The estimators are scipy's (`scipy.stats.sobol_indices`: A. Saltelli et al., Computer Physics Communications 181 (2010),
table 2 b and f) on the rows of a design of kind "sensitivity".
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from .errors import Fault, Refused
from .study_design import Design

RESAMPLES = 200
_PROBABILITY = 0.95
Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class SobolIndices:
    """Of one result, by varied number in the order of `names`: shapes (names,).

    `first`: the share of the variance that goes if this number alone is known; `total`: the share that stays if all but
    it are known. `first_low` to `total_high`: ends of the interval that 95 of 100 repetitions keep to (bootstrap).
    """

    names: tuple[str, ...]
    first: Floats
    total: Floats
    first_low: Floats
    first_high: Floats
    total_low: Floats
    total_high: Floats


def sobol_indices(design: Design, values: ArrayLike, resamples: int = RESAMPLES) -> SobolIndices:
    """First-order and total indices of one result: `values` (rows,) of a design of kind "sensitivity", in its order.

    Of a sum of independent numbers first and total are alike and add up to 1: of lengths that vary by 3 and 4 mm they are
    0.36 and 0.64. Raises `Refused`: "wrong-form" for another design, "wrong-size", "not-known" where a value is missing
    (a variant that is no machine: without it the numbers are no longer independent), "does-not-vary".
    """
    given = np.asarray(values, dtype=np.float64)
    names = len(design.names)
    if design.kind != "sensitivity":
        raise Refused([Fault("wrong-form", "design", design.kind, "a design of kind sensitivity")])
    if given.shape != (design.rows,):
        raise Refused([Fault("wrong-size", "values", f"shape {given.shape}", f"({design.rows},)")])
    missing = int(np.count_nonzero(~np.isfinite(given)))
    if missing:
        raise Refused([Fault("not-known", "values", f"{missing} of {design.rows} missing", "a value of every row",
                             "narrow the variations so that every variant can be assembled and posed")])  # fmt: skip
    blocks = given.reshape(design.blocks, names + 2).T.copy()
    if np.ptp(blocks[:2]) <= 1e-12 * max(1.0, float(np.abs(blocks[:2]).max())):
        raise Refused(
            [
                Fault(
                    "does-not-vary", "values", "one and the same value", "a result that the variations change"
                )
            ]
        )
    first, total = _estimated(blocks)
    generator = np.random.Generator(np.random.PCG64(design.seed))
    again = np.array([
        _estimated(blocks[:, generator.integers(0, design.blocks, design.blocks)]) for _ in range(resamples)
    ])  # fmt: skip
    low, high = np.quantile(again, (0.5 - 0.5 * _PROBABILITY, 0.5 + 0.5 * _PROBABILITY), axis=0)
    return SobolIndices(design.names, first, total, low[0], high[0], low[1], high[1])


def _estimated(blocks: Floats) -> tuple[Floats, Floats]:
    """(first, total), shapes (names,), from (names + 2, blocks): A, B, then A with each column of B."""
    from scipy import stats  # noqa: PLC0415 - a second to import, for this alone

    a, b, mixed = blocks[:1], blocks[1:2], blocks[2:, None, :]
    if (
        len(mixed) == 1
    ):  # scipy tells one number from a list by shape alone; asked twice it gives both the same
        mixed = np.concatenate([mixed, mixed])
    found = stats.sobol_indices(func={"f_A": a, "f_B": b, "f_AB": mixed}, n=blocks.shape[1])
    names = len(blocks) - 2
    return np.asarray(found.first_order)[:names], np.asarray(found.total_order)[:names]
