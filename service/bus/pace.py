"""No more than a service takes of one feeder: three quarters of it, so that a clock a little off does no harm."""

LETTERS_A_READING = 100.0
"""Of a frame so many letters count as a reading, as the service counts."""
TAKEN_PER_S = 2000.0
_PART, _AT_ONCE_S = 0.75, 0.25


class Pace:
    """Lets readings go at three quarters of `per_s`, the service's own limit, a quarter of a second's worth at once."""

    def __init__(self) -> None:
        self.per_s = TAKEN_PER_S
        self._left, self._at = 0.0, float("-inf")

    def take(self, cost: float, now_s: float) -> float:
        """Let so much go now: 0; or the seconds until it may."""
        per_s = _PART * self.per_s
        most = per_s * _AT_ONCE_S
        self._left = min(most, self._left + (now_s - self._at) * per_s) if self._at > float("-inf") else most
        self._at = now_s
        if self._left < min(cost, most):
            return (min(cost, most) - self._left) / per_s
        self._left -= cost
        return 0.0
