"""Measured pins in the frame of one link, and numbers of a profile's text in the unit they were measured in."""

import math
from typing import Any

import tomlkit

from kinematics.machine import Range
from kinematics.units import profile_length_to_metres

from .pin_frame import InBody
from .pin_needs import Told

Flat = tuple[float, float]
_DIGITS = {"m": 7, "cm": 5, "mm": 4, "ft": 7, "in": 6}  # at least a tenth of a micrometre


class Frame:
    """A link's frame in the posture that was measured: origin at its inner pin, x to its outer pin."""

    def __init__(self, at: InBody, inner: str, outer: str) -> None:
        self._at = at
        self.x, self.z = at.xz(inner)
        x, z = at.xz(outer)
        self.length = math.hypot(x - self.x, z - self.z)
        self.angle = math.atan2(z - self.z, x - self.x)
        self._c, self._s = math.cos(self.angle), math.sin(self.angle)

    def flat(self, name: str) -> Flat:
        """(x, z) of a pin in this frame."""
        x, z = self._at.xz(name)
        dx, dz = x - self.x, z - self.z
        return self._c * dx + self._s * dz, self._c * dz - self._s * dx

    def space(self, name: str, plane_y: float) -> tuple[float, float, float]:
        """The same with y from the plane of the pins to the left."""
        x, z = self.flat(name)
        return x, self._at.places[name][1] - plane_y, z


class Writer:
    """A profile's text, in the unit of the table it came from."""

    def __init__(self, unit: str, kind: str, told: Told) -> None:
        self._unit = unit
        self._per_metre = profile_length_to_metres(1.0, unit)
        self.doc = tomlkit.document()
        for key, value in (
            ("schema", 1),
            ("kind", kind),
            ("id", told.id),
            ("name", told.name),
            ("source", told.source),
        ):
            self.doc[key] = value
        self.doc["units"] = tomlkit.item({"length": unit, "angle": "deg"})

    def number(self, metres: float) -> float | int:
        """In the file's unit, to a tenth of a micrometre."""
        return plain(metres / self._per_metre, _DIGITS[self._unit])

    def numbers(self, *metres: float) -> list[float | int]:
        return [self.number(each) for each in metres]

    def table(self, **lengths: float) -> Any:
        made = tomlkit.table()
        for key, value in lengths.items():
            made[key] = self.number(value)
        return made

    @staticmethod
    def inline(**values: Any) -> Any:
        made = tomlkit.inline_table()
        made.update(values)
        return made

    def point(self, flat: Flat) -> Any:
        return self.inline(x=self.number(flat[0]), z=self.number(flat[1]))

    @staticmethod
    def span(reach: Range) -> Any:
        low, high = (plain(math.degrees(end), 9) for end in (reach.low, reach.high))
        return Writer.inline(low=low, high=high)

    def text(self) -> str:
        return tomlkit.dumps(self.doc)


def plain(value: float, digits: int) -> float | int:
    rounded = round(value, digits) + 0.0
    return int(rounded) if rounded.is_integer() else rounded
