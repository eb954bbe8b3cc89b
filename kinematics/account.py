"""All that makes up one uncertainty of a readout, source by source: what a stream tells in short."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .propagation import Combined, combine
from .sources import KINDS, Kind
from .trust import Trust
from .trust_block import REMEDIES, lists, places, remedy, shares_of, total_of, write_parts
from .trust_rates import CUT, SLOPE
from .uncertain_inputs import Inputs

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class Account:
    """One number's uncertainty as a budget. `inputs`: the sources of the present stand, then what the chain brings
    besides, by kind; `kinds` of each; `rates` (n,) of the number by each, through the chain too; `combined` of one
    output."""

    inputs: Inputs
    kinds: tuple[Kind, ...]
    rates: Floats
    combined: Combined

    @property
    def standard(self) -> float:
        """Combined standard uncertainty (m, or a ratio)."""
        return float(self.combined.standard[0])

    def by_kind(self) -> dict[Kind, float]:
        """Variance by kind, largest first, without those of none; they add up to the whole."""
        found: dict[Kind, float] = {}
        for kind, part in zip(self.kinds, self.combined.parts[0].tolist(), strict=True):
            found[kind] = found.get(kind, 0.0) + part
        return dict(sorted(((k, v) for k, v in found.items() if v != 0.0), key=lambda each: -each[1]))


def account(trust: Trust, row: int) -> Account:
    """The budget of a row of `trust_rates.ROWS` of what a trust judged last: 1 is the elevation of the middle.

    Elevation of standard 9 mm: parts that add up to 81e-6 m2. Raises `ValueError` for a row without a number, see
    `Trust.height` and `Trust.cut`.
    """
    owed = None if row == SLOPE else trust.cut if row >= CUT else trust.height
    if owed is None and row != SLOPE:
        raise ValueError(f"expected a row that has a number, found {row}")
    of = trust.sources
    rates = trust.rows()[row].copy()
    names, kinds, standard = list(of.names), [KINDS[kind] for kind in of.kinds.tolist()], of.standard
    if owed is not None:
        rates += owed.edge + owed.strikes
        names += [f"before: {kind.value}" for kind in KINDS]
        kinds += list(KINDS)
        standard = np.concatenate([standard, np.sqrt(owed.rest)])
        rates = np.concatenate([rates, np.ones(len(KINDS))])
    correlation = None
    if of.root.size:
        correlation = np.eye(len(names))
        m = len(of.names)
        correlation[:m, :m] = of.root @ of.root.T
    inputs = Inputs(tuple(names), standard, correlation)
    return Account(inputs, tuple(kinds), rates, combine(inputs, rates[None, :]))


@dataclass(frozen=True, slots=True)
class Help:
    """What one of `trust_block.REMEDIES` would do: to which source, and the standard uncertainty it would leave (m)."""

    remedy: str
    source: str
    standard: float


def helps(trust: Trust) -> list[Help]:
    """Everything that would make the middle of what a trust judged last better, the most helpful first; nothing without a
    height."""
    owed = trust.height if trust.cut is None else trust.cut
    if owed is None:
        return []
    standard, *_, root, _, _, _, _, _, _, _, c, shares, parts, spread, _ = places(trust.desk, trust.whole)
    ends, active, lengths, *_ = lists(trust.whole)
    rows = trust.rows()
    by = rows[1 if trust.cut is None else CUT + 1]
    edge, strikes, beyond = owed.edge[active], owed.strikes[active], float(total_of(owed.rest))
    total = beyond + shares_of(by, edge + strikes, active, standard, root, c, spread, shares)
    write_parts(shares, ends, owed.rest, parts)
    found: list[Help] = []
    for which, name in enumerate(REMEDIES):
        best, source, variance = remedy(
            which, which + 1, by, rows[1], active, ends, standard, lengths, float(trust.desk[3]), float(trust.desk[7]),
            total, shares, parts, total,
        )  # fmt: skip
        if best == which:
            found.append(Help(name, trust.sources.names[source], math.sqrt(max(variance, 0.0))))
    return sorted(found, key=lambda each: each.standard)
