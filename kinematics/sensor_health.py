"""How a sensor does: how often it is read, how evenly, how noisily."""

from dataclasses import dataclass

import numpy as np

from .reading_series import Floats, noise

FEWEST_READINGS = 4


@dataclass(frozen=True, slots=True)
class Health:
    """Of `count` readings kept; the rest None with fewer than `FEWEST_READINGS`.

    `rate_hz`: readings a second. `jitter_s`: standard deviation of the intervals between them. `noise`: standard
    deviation of one reading (rad or m) as `reading_series.noise` has it, which a steady motion does not disturb; None too
    where they lie too far apart. Readings at 0, 0.1, 0.2, 0.4 s: 7.5 a second, jitter 0.047 s.
    """

    count: int
    rate_hz: float | None
    jitter_s: float | None
    noise: float | None


def health(at_s: Floats, values: Floats) -> Health:
    """The health numbers of readings at times (n,) in s, rising, and values (n, numbers) as `reading_series.unrolled`."""
    count = len(at_s)
    if count < FEWEST_READINGS:
        return Health(count, None, None, None)
    gaps = np.diff(at_s)
    return Health(count, (count - 1) / float(at_s[-1] - at_s[0]), float(np.std(gaps)), noise(at_s, values))
