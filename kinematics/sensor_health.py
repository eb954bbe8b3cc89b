"""How a sensor does: how often it is read, how evenly, how noisily; whether that is still noise."""

import math
from dataclasses import dataclass
from statistics import NormalDist

import numpy as np

from .errors import Fault
from .reading_series import MOST_NOISE, Floats, noise
from .sensor import Sensor

FEWEST_READINGS = 4
FALSE_ALARMS = 1e-5
"""How often readings with just `MOST_NOISE` times the noise of the profile pass for more."""
STRAY = 0.05
"""Of readings about a line so many, at least one, may lie anywhere."""
_DEVIATE = NormalDist().inv_cdf(1.0 - FALSE_ALARMS)


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


def restless(name: str, sensor: Sensor, at_s: Floats, values: Floats, *, at_rest: bool) -> Fault | None:
    """ "too-noisy" where readings, arrays as above, scatter more than `MOST_NOISE` times the profile's noise would.

    `at_rest`: about a straight line, but for the strayest twentieth; else from reading to reading, as `noise` has it,
    whatever the slow motion beneath. So many readings tell their own noise only roughly, and that is allowed for: of
    50 with 0.05 deg in the profile 0.14 deg at rest, of 10 0.19 deg.
    """
    count = len(at_s)
    if count < FEWEST_READINGS:
        return None
    if at_rest:
        found, parts = _about_a_line(at_s, values), count - 2.0
    else:
        # Second differences are correlated by 2/3 and 1/6: as many parts as count / (1 + 2 (4/9 + 1/36)).
        found, parts = noise(at_s, values) or 0.0, count / 1.95
    # Source: Wilson and Hilferty's cube root of chi squared, from memory.
    spread = 2.0 / (9.0 * parts)
    most = MOST_NOISE * sensor.noise * (1.0 - spread + _DEVIATE * math.sqrt(spread)) ** 1.5
    if found <= most:
        return None
    unit, per = ("mm", 1e3) if sensor.unit == "m" else ("deg", math.degrees(1.0))
    return Fault(
        "too-noisy", name, f"readings that scatter by {found * per:.2f} {unit}",
        f"at most {most * per:.2f} {unit}, twice the profile's noise and what so few readings may show",
        "let machine and engine come to rest; if that does not help, look at its mounting and its profile",
        {"found": found * per, "limit": most * per},
    )  # fmt: skip


def _about_a_line(at_s: Floats, values: Floats) -> float:
    since = at_s - at_s.mean()
    middle = values - values.mean(axis=0)
    off = np.sort((middle - np.outer(since, since @ middle / (since @ since))) ** 2, axis=0)
    kept = len(at_s) - max(1, math.floor(STRAY * len(at_s)))
    return math.sqrt(float(np.max(off[:kept].sum(axis=0))) / (kept - 2.0 if kept > 2 else 1.0))
