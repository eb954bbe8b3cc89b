"""How far something slow, as the body's lean, wandered under the noise of its readings."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import NormalDist

import numpy as np

from .reading_series import Floats

FALSE_ALARMS = 1e-3
"""How often noise alone may pass for a movement of a given size, about."""
FEWEST_IN_MEAN = 2
SHORTEST_MEAN_S = 0.1


@dataclass(frozen=True, slots=True)
class Share:
    """One sensor's part in what is watched: `at_s` (n,) and `values` (n, numbers) of its readings, `noise` of one, and
    `by`, shape (numbers, k), how far each of the k outputs moves with each number."""

    at_s: Floats
    values: Floats
    noise: float
    by: Floats


def wandered(shares: Sequence[Share], start_s: float, end_s: float) -> tuple[float, float] | None:
    """(spread, what noise would make of it) of the output that wandered most between two times.

    The spread of single readings is mostly noise: of fifty of 0.05 deg some 0.22 deg. So it is that of a running mean
    over a quarter, an eighth and a sixteenth of the time, which keeps what a body does (one that rocks 0.1 deg to either
    side once in 2 s shows 0.1 deg and more in any second), and of that what noise alone would do at most, once in a
    thousand, is taken off in quadrature. The largest of the three counts; the allowance is that of the longest mean. None
    where not even that one has two readings of each sensor in it.
    """
    spread, allowance = 0.0, None
    for parts in (4, 8, 16):
        length = (end_s - start_s) / parts
        if parts > 4 and length < SHORTEST_MEAN_S:
            break
        centres = np.linspace(start_s + 0.5 * length, end_s - 0.5 * length, 4 * (parts - 1) + 1)
        course = _running(shares, centres, length)
        if course is None:
            break
        means, unsure = course
        # Of the differences of as many means the widest; those that overlap count for half as many again.
        pairs = (1.5 * parts) * (1.5 * parts - 1.0)
        noise = unsure * math.sqrt(2.0) * NormalDist().inv_cdf(1.0 - FALSE_ALARMS / pairs)
        over = np.ptp(means, axis=0) ** 2 - noise**2
        spread = max(spread, math.sqrt(max(float(np.max(over)), 0.0)))
        allowance = float(np.max(noise)) if allowance is None else allowance
    return None if allowance is None else (spread, allowance)


def _running(shares: Sequence[Share], centres: Floats, length: float) -> tuple[Floats, Floats] | None:
    """Running means of the outputs (centres, k) and the standard deviation of one of them (k,)."""
    means: Floats | float = 0.0
    variance: Floats | float = 0.0
    for share in shares:
        first = np.searchsorted(share.at_s, centres - 0.5 * length, "left")
        end = np.searchsorted(share.at_s, centres + 0.5 * length, "right")
        count = end - first
        if np.min(count) < FEWEST_IN_MEAN:
            return None
        sums = np.concatenate(
            [np.zeros((1, share.values.shape[1])), np.cumsum(share.values - share.values[0], axis=0)]
        )
        means = means + (sums[end] - sums[first]) / count[:, None] @ share.by
        variance = variance + share.noise**2 * (share.by**2).sum(axis=0) / np.min(count)
    return np.asarray(means), np.sqrt(np.asarray(variance))
