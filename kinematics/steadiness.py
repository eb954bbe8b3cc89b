"""How far something moved under the noise of its readings: slowly, as the body's lean wanders, or to and fro."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import NormalDist

import numpy as np

from .reading_series import Floats

FALSE_ALARMS = 1e-3
"""How often noise alone may pass for a movement of a given size, about."""
SWING_ALARMS = 5e-5
"""How often noise alone may pass for a swing of some frequency or other, about."""
FASTEST_HZ = 12.0
"""No boom swings faster (common practice, no source); what does is the engine."""
FEWEST_OVER = 10
AS_WELL = 0.5
FEWEST_IN_MEAN = 2
SHORTEST_MEAN_S = 0.1
OFTEN_HZ = 60.0
"""Readings that come twice as often and oftener are averaged before a swing is looked for."""


@dataclass(frozen=True, slots=True)
class Share:
    """One sensor's part in what is watched: `at_s` (n,) and `values` (n, numbers) of its readings, `noise` of one, and
    `by`, shape (numbers, k), how far each of the k outputs moves with each number; `least` noise of one at any time."""

    at_s: Floats
    values: Floats
    noise: float
    by: Floats
    least: float = 0.0


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


@dataclass(frozen=True, slots=True)
class Swing:
    """Of each output how far it swings to either side (k,), 0 where noise would do as much, and how often (k, Hz)."""

    amplitude: Floats
    hz: Floats


def swing(shares: Sequence[Share], start_s: float, end_s: float, degree: int) -> Swing | None:
    """The steady swing that stands out most between two times, beside a course that is a polynomial of this degree.

    Of every frequency from one swing in that time to 12 Hz a sine and a cosine go through each sensor's readings by
    least squares, at their own times; what each moves, summed, is a swing of the outputs. It stands where noise, that of
    the readings themselves or what they leave beside it, whichever is less, would do as much once in some thousand: 40
    readings of 4 mm hide some 5 mm to either side. Of frequencies that stand the slowest with half the weight of the best
    counts: a swing faster than half the rate of the readings may show as a slower one as wide, but for one whose every
    reading falls on its zero. None where a sensor was read fewer than `degree` + `FEWEST_OVER` times.

    Source: the periodogram of least squares for uneven times (Lomb 1976, Scargle 1982), from memory.
    """
    span = end_s - start_s
    parts = [_within(share, start_s, end_s) for share in shares]
    if min(len(at_s) for at_s, *_ in parts) < degree + FEWEST_OVER:
        return None
    hz = np.linspace(1.0 / span, FASTEST_HZ, max(math.ceil(4.0 * span * FASTEST_HZ), 2))
    outputs = shares[0].by.shape[1]
    waves = np.zeros((len(hz), 2, outputs))
    unsure = np.zeros((len(hz), outputs, 2, 2))
    for share, (at_s, values, part) in zip(shares, parts, strict=True):
        noises = part * share.least, part * share.noise
        fits, spread = _waves(at_s - 0.5 * (start_s + end_s), values, hz, degree, noises)
        waves += fits @ share.by
        unsure += np.einsum("fnab,nk->fkab", spread, share.by**2)
    waves = np.swapaxes(waves, 1, 2)
    sure = np.einsum("fka,fkab,fkb->fk", waves, np.linalg.inv(unsure), waves)
    most = 2.0 * math.log(2.0 * span * FASTEST_HZ / SWING_ALARMS)
    beside = np.pad(sure, ((1, 1), (0, 0)))
    peaks = (sure >= beside[:-2]) & (sure >= beside[2:])
    best = np.argmax(peaks & (sure >= np.maximum(AS_WELL * sure.max(axis=0), most)), axis=0)
    each = np.arange(outputs)
    amplitude = np.hypot(*np.moveaxis(waves[best, each], -1, 0))
    return Swing(np.where(sure[best, each] > most, amplitude, 0.0), hz[best])


def _within(share: Share, start_s: float, end_s: float) -> tuple[Floats, Floats, float]:
    """Times, values and part of the noise of the readings between two times; means of several where they come often."""
    first, end = np.searchsorted(share.at_s, [start_s, end_s]).tolist()
    group = max(math.floor((end - first) / (OFTEN_HZ * (end_s - start_s))), 1)
    first = end - (end - first) // group * group
    at_s, values = share.at_s[first:end], share.values[first:end]
    return (
        at_s.reshape(-1, group).mean(axis=1), values.reshape(-1, group, values.shape[1]).mean(axis=1),
        1.0 / math.sqrt(group),
    )  # fmt: skip


def _waves(
    at_s: Floats, values: Floats, hz: Floats, degree: int, noises: tuple[float, float]
) -> tuple[Floats, Floats]:
    """Cosine and sine through the readings at each frequency (f, 2, numbers), and their covariances (f, numbers, 2, 2),
    what they leave being noise, within the two told."""
    course = np.linalg.qr(np.vander(at_s / np.max(np.abs(at_s)), degree + 1))[0]
    rest = values - course @ (course.T @ values)
    turned = 2.0 * math.pi * hz[:, None] * at_s
    pair = np.stack([np.cos(turned), np.sin(turned)], axis=1)
    pair = pair - (pair @ course) @ course.T
    square = pair @ np.swapaxes(pair, 1, 2)
    # Where all readings fall on the same places of a swing, one of the two is not to be known: then it is taken for 0.
    inverse = np.linalg.inv(square + 0.01 * len(at_s) * np.eye(2))
    along = pair @ rest
    fits = inverse @ along
    left = (rest**2).sum(axis=0) - (along * fits).sum(axis=1)
    freedom = len(at_s) - degree - 7  # of many sines the best was chosen: as if it had six numbers
    variance = np.clip(left / freedom, noises[0] ** 2, noises[1] ** 2)
    spread = inverse @ square @ inverse
    return fits, variance[:, :, None, None] * spread[:, None] + 1e-30 * np.eye(2)
