"""How fast along a way: from rest to a steady pace and back to rest, without a jerk."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Ramp:
    """A way of `length` (any unit) at `pace` (the same a second) between two ramps of `ramp_s` seconds."""

    length: float
    pace: float
    ramp_s: float

    @property
    def seconds(self) -> float:
        """How long it takes. 2 m at 0.5 m/s with ramps of 0.6 s: 4.6 s."""
        return self.length / self.pace + self.ramp_s if self.length > 0.0 else 0.0

    def share(self, t: float) -> float:
        """How much of the way is done after `t` seconds, 0 to 1."""
        if t <= 0.0:
            return 0.0
        total = self.seconds
        if t >= total:
            return 1.0
        if t > 0.5 * total:
            return 1.0 - self._begun(total - t) / self.length
        return self._begun(t) / self.length

    def _begun(self, t: float) -> float:
        if t >= self.ramp_s:
            return self.pace * (t - 0.5 * self.ramp_s)
        u = t / self.ramp_s
        return self.pace * self.ramp_s * u**3 * (1.0 - 0.5 * u)


def at_pace(length: float, pace: float, ramp_s: float) -> Ramp:
    """A way at a pace that it may be too short to reach: then it is slower, so that both ramps keep their time."""
    return Ramp(length, min(pace, length / ramp_s), ramp_s) if length > 0.0 else Ramp(0.0, pace, ramp_s)


def within(seconds: float, ramp_s: float) -> Ramp:
    """A way of length 1 in this time; ramps no longer than half of it."""
    ramp_s = min(ramp_s, 0.5 * seconds)
    return Ramp(1.0, 1.0 / (seconds - ramp_s), ramp_s)
