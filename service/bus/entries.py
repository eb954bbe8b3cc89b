"""What a sensor map says of one sensor: which numbers of which message or columns it is."""

from dataclasses import dataclass, field
from typing import Literal

from kinematics.units import Quantity, sensor_unit

from .layouts import Layout

Degraded = Literal["error", "take"]
Tells = Literal["hit", "above"]


@dataclass(frozen=True, slots=True)
class Part:
    """Numbers that come together, of one message or, `layout` None, columns of a CSV log.

    `signals`: their names as the map has them; "-" in front turns the sign. `source` None: the whole identifier counts.
    `unit`: the map's word where the message has none; `merits` and `latency`: the map's signals for them.
    """

    layout: Layout | None
    source: int | None
    signals: tuple[str, ...]
    unit: str | None = None
    merits: tuple[str, ...] = ()
    latency: str | None = None

    @property
    def names(self) -> tuple[str, ...]:
        """The names without their signs."""
        return tuple(each.removeprefix("-") for each in self.signals)

    @property
    def signs(self) -> tuple[float, ...]:
        """-1.0 where a sign is turned, else 1.0."""
        return tuple(-1.0 if each.startswith("-") else 1.0 for each in self.signals)

    def units(self) -> tuple[tuple[Quantity, float] | None, ...]:
        """Of each number what it is of and how many of rad, m, m/s2, rad/s its unit is; None of a unit not known."""
        layout = self.layout
        own = [None if layout is None else sensor_unit(layout.items[name].unit) for name in self.names]
        by_map = None if self.unit is None else sensor_unit(self.unit)
        return tuple(by_map if each is None else each for each in own)


@dataclass(frozen=True, slots=True)
class Entry:
    """One sensor: one part, of angles or a length, or of a raw sensor two, accelerometer and gyro, of three each: ahead,
    left, up. `line` in its file, 0 of one that has none."""

    sensor: str
    parts: tuple[Part, ...]
    degraded: Degraded = "error"
    line: int = field(default=0, compare=False)

    @property
    def raw(self) -> bool:
        """Whether it tells accelerations and rates."""
        return len(self.parts) == 2

    @property
    def numbers(self) -> int:
        """How many numbers its reading has; three of each kind of a raw one."""
        return len(self.parts[0].signals)

    @property
    def quantity(self) -> Quantity:
        """What its reading is of: angle, length, or acceleration of a raw one."""
        units = self.parts[0].units()[0]
        assert units is not None  # noqa: S101 - a map with a unit not known was refused
        return units[0]

    @property
    def on_bus(self) -> bool:
        """Whether it is heard on a bus, not read from columns."""
        return self.parts[0].layout is not None


@dataclass(frozen=True, slots=True)
class Heard:
    """The receiver: one part; `tells` None where it speaks our own frame."""

    part: Part
    tells: Tells | None = None
