"""Readings of one sensor as rows of numbers: whole turns taken out and put back, a smooth course, their noise."""

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from .linkage import wrapped
from .sensor import Measure, Sensor

Told = float | tuple[float, float]
Floats = NDArray[np.float64]

MOST_GAP_S = 0.5
"""Between two readings further apart than this nobody knows what a sensor read (common practice, no source)."""
FEWEST_TRIPLES = 2
FEWEST_TO_SMOOTH = 6
LASTING = 0.3
"""Of the noise a profile gives, what comes from reading to reading at least; the rest, temperature and linearity, stands
still for minutes (common practice, no source). Else readings that a coarse step holds fast would pass for exact ones."""
MOST_NOISE = 2.0
"""Times what a profile gives (common practice, no source): what is above that is not noise but motion."""


def unrolled(sensor: Sensor, values: Sequence[Told]) -> Floats:
    """The values (rad or m) as rows, shape (n, 1), or (n, 2) of a pair. Angles go on the short way: 179, -179 deg become
    179, 181."""
    rows = np.array(values, dtype=np.float64).reshape(len(values), -1)
    return rows if sensor.measures == Measure.LENGTH else np.unwrap(rows, axis=0)


def told(sensor: Sensor, numbers: Sequence[float]) -> Told:
    """What `unrolled` took apart, angles give or take whole turns, as the sensor tells it: 181 deg are -179."""
    said = [_in_range(sensor, float(number)) for number in numbers]
    return (said[0], said[1]) if len(said) > 1 else said[0]


def _in_range(sensor: Sensor, value: float) -> float:
    low, high = sensor.range.low, sensor.range.high
    if sensor.measures == Measure.LENGTH or low <= value <= high:
        return value
    return wrapped(value, 0.5 * (low + high))


def noise(at_s: Floats, values: Floats) -> float | None:
    """Standard deviation of one reading (rad or m; of a pair the larger), a steady motion taken out.

    `at_s` (n,) rising, `values` (n, numbers) of `unrolled`. From how far each reading lies off the line between its
    neighbours; evenly spaced that is minus half the second difference d2, and this sqrt(mean(d2^2) / 6). A boom that
    turns 0.1 deg from reading to reading: 0; one at rest that reads 0.0, 0.1, 0.0, 0.1: every d2 is 0.2 deg, its
    noise 0.08. None with fewer than `FEWEST_TRIPLES` readings between neighbours at most `MOST_GAP_S` away.

    Source: the variance of a second difference of independent readings is (1 + 4 + 1) times theirs.
    """
    gaps = np.diff(at_s)
    near = (gaps[:-1] <= MOST_GAP_S) & (gaps[1:] <= MOST_GAP_S)
    if np.count_nonzero(near) < FEWEST_TRIPLES:
        return None
    after = (gaps[:-1] / (gaps[:-1] + gaps[1:]))[near, None]
    before = 1.0 - after
    off = values[1:-1][near] - before * values[:-2][near] - after * values[2:][near]
    return math.sqrt(float(np.max(np.mean(off**2 / (1.0 + before**2 + after**2), axis=0))))


def noise_of(sensor: Sensor, at_s: Floats, values: Floats) -> float:
    """The same of a sensor that has a profile: at least `LASTING` of what that gives, at most `MOST_NOISE` times that, so
    that no motion widens what is allowed to noise; just that with too few readings."""
    found = noise(at_s, values)
    return (
        sensor.noise if found is None else min(max(found, LASTING * sensor.noise), MOST_NOISE * sensor.noise)
    )


def smooth_at(at_s: Floats, values: Floats, moment_s: float) -> Floats | None:
    """The parabola of least squares through readings, at a moment, shape (numbers,); None through too few of them.

    One reading has all its noise, a parabola through n about it 1.5 / sqrt(n) of that in the middle, and follows a
    constant acceleration.
    """
    if len(at_s) < FEWEST_TO_SMOOTH:
        return None
    since = at_s - moment_s
    powers = np.stack([np.ones_like(since), since, since**2], axis=1)
    found: Floats = np.linalg.lstsq(powers, values, rcond=None)[0][0]
    return found
