"""Acceleration and rate of one sensor, told in two messages, as one reading."""

from dataclasses import dataclass, field

from kinematics.errors import Fault

TOGETHER_S = 0.020
"""Farther apart two halves are not of one moment: at 50 deg/s this is a degree."""
ALONE_S = 1.0


@dataclass(frozen=True, slots=True)
class Half:
    """Three numbers of an accelerometer (m/s2) or gyro (rad/s), got at `at_s`, `late_s` old then as told."""

    at_s: float
    numbers: list[float]
    late_s: float


@dataclass(slots=True)
class Pairing:
    """The halves of one sensor that wait for the other: 0 the accelerometer's, 1 the gyro's. Each is used once."""

    sensor: str
    _waiting: list[Half | None] = field(default_factory=lambda: [None, None])
    _paired_s: float | None = None

    def take(self, which: int, half: Half) -> tuple[tuple[Half, Half] | None, Fault | None]:
        """(accelerometer, gyro) where both are there and of one moment; the fault "raw-apart" where they are not."""
        if self._paired_s is None:
            self._paired_s = half.at_s
        other = self._waiting[1 - which]
        if other is not None and abs(half.at_s - other.at_s) <= TOGETHER_S:
            self._waiting = [None, None]
            self._paired_s = half.at_s
            return ((other, half) if which else (half, other)), None
        self._waiting = [None, None]
        self._waiting[which] = half
        if other is not None:
            return None, self._apart(f"{abs(half.at_s - other.at_s) * 1e3:.0f} ms apart")
        if abs(half.at_s - self._paired_s) > ALONE_S:
            self._paired_s = half.at_s
            return None, self._apart(f"{'gyro' if which else 'accelerometer'} alone for {ALONE_S:g} s")
        return None, None

    def drop(self) -> None:
        """Forget what waits: a half had no value."""
        self._waiting = [None, None]

    def _apart(self, found: str) -> Fault:
        return Fault(
            "raw-apart", self.sensor, found, f"accelerometer and gyro within {TOGETHER_S * 1e3:.0f} ms",
            "let the unit send both at one pace",
        )  # fmt: skip
