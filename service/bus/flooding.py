"""Too many frames: noticed, and thinned out so that the rest gets through."""

import math
from collections.abc import Hashable
from dataclasses import dataclass, field

THINNED_PER_S, RAW_PER_S = 200.0, 1000.0
"""Readings a second passed on of a sensor that floods; of a raw one more, since its rates are summed up."""
_BURST_S = 0.2
FLOOD_LASTS_S = 1.0


@dataclass(slots=True)
class Bucket:
    """Says whether more than `per_s` come; a burst of 0.2 s worth is none, and a flood is over after a second without."""

    per_s: float
    _left: float = math.inf
    _at: float = -math.inf
    flooded: float = -math.inf

    def take(self, at_s: float) -> bool:
        """One more at a time; whether this is a flood."""
        most = _BURST_S * self.per_s
        self._left = (
            min(most, self._left + max(at_s - self._at, 0.0) * self.per_s) if self._left < most else most
        )
        self._at = at_s
        if self._left < 1.0:
            self.flooded = at_s
        else:
            self._left -= 1.0
        return at_s - self.flooded < FLOOD_LASTS_S


@dataclass(slots=True)
class Thinning:
    """Passes so many readings a second of each sensor, always the newest there is. `count`: those that it kept back."""

    count: int = 0
    _due: dict[Hashable, float] = field(default_factory=dict)

    def due(self, sensor: Hashable, at_s: float, *, raw: bool) -> bool:
        """Whether a reading of this sensor would go on."""
        step = 1.0 / (RAW_PER_S if raw else THINNED_PER_S)
        due = self._due.get(sensor, -math.inf)
        # A hair early is due, for times are rounded; so is one from long before, for a clock was set back.
        return at_s >= due - 0.01 * step or due - at_s > step

    def passes(self, sensor: Hashable, at_s: float, *, raw: bool) -> bool:
        """Whether this reading of a sensor that floods is to go on."""
        if not self.due(sensor, at_s, raw=raw):
            self.count += 1
            return False
        step = 1.0 / (RAW_PER_S if raw else THINNED_PER_S)
        due = self._due.get(sensor, -math.inf)
        self._due[sensor] = (due if 0.0 <= at_s - due < step else at_s) + step
        return True
