"""Readouts printed fast: the text of one as a plate, whose figures are filled in anew for every further reading.

`ReadoutOut` and the functions beside it stay the one source of shape and words. A readout made by them is taken apart:
what hangs on numbers alone becomes a figure, the rest stays as it is for as long as all that is not a number (words,
which corrections reach, which part is lowest) stays the same. What cannot be taken apart so is not printed so.
"""

import json
import math
import re
from typing import Any

from kinematics.agreement import FACTOR
from kinematics.digits import PLAIN, ROUNDED, SIGNED, UNSIGNED, Figure, Plate
from kinematics.leaf import TRUSTED, Leaf, Least
from kinematics.parameters import EDGE_POINTS
from kinematics.units import LengthUnit, show_number

from .corrections import LEAST_DEG, cylinders_in, least_shown, signed_percent, size
from .readouts import ReadoutOut

Json = dict[str, Any]

# A nanometre, and as little of a degree or a percent.
_PLACES = 9
_SHOWN: dict[LengthUnit, tuple[float, int]] = {
    LengthUnit.M: (1.0, 3), LengthUnit.MM: (1e3, 0), LengthUnit.FT: (1 / 0.3048, 2), LengthUnit.FT_US: (3937 / 1200, 2),
}  # fmt: skip
"""Per metre, and decimals; feet and inches are text of another kind."""
_MARK = "\u0001"
_DEG = math.degrees(1.0)
_INDEX = {name: i for i, name in enumerate(TRUSTED)}
_MOST = 256  # plates kept for one way of asking


def least_told(units: LengthUnit) -> Least:
    """What a leaf whose readouts are printed in these units must know of their sentences."""
    return LEAST_DEG / _DEG, 0.5 * least_shown(units), 0.5 * least_shown(cylinders_in(units))


class Press:
    """The plates of one way of asking, for a leaf made with `least_told`."""

    def __init__(self, leaf: Leaf, units: LengthUnit) -> None:
        self._leaf, self._units = leaf, units
        self._plates: dict[bytes, Plate] = {}

    @property
    def able(self) -> bool:
        """Whether lengths of these units are figures."""
        return self._leaf.plain and self._units in _SHOWN

    def print(self) -> str | None:
        """The readout that the leaf has read, None where no plate for it was set yet or a figure cannot be written."""
        # By all of the leaf that is not a number, the cases of its sentences too.
        plate = self._plates.get(self._leaf.choices.tobytes())
        return None if plate is None else plate.fill(self._leaf.numbers)

    def set(self, told: ReadoutOut) -> None:
        """Set the plate of a readout that the leaf has read too, unless it was set."""
        key = self._leaf.choices.tobytes()
        if key in self._plates:
            return
        if len(self._plates) >= _MOST:
            self._plates.clear()
        document = told.model_dump(mode="json")
        setter = _Setter(self._leaf.numbers.tolist(), self._units)
        setter.all(document)
        self._plates[key] = _plate(json.dumps(document, separators=(",", ":")), setter.figures)


# A figure for programs has the quotes of its mark about it, one in a sentence does not.
_MARKED = re.compile(r'"\\u0001(\d+)=\\u0001"|\\u0001(\d+)\\u0001')


def _plate(text: str, figures: list[Figure]) -> Plate:
    letters, order, at = [], [], 0
    for mark in _MARKED.finditer(text):
        letters.append(text[at : mark.start()].encode())
        order.append(figures[int(mark[1] or mark[2])])
        at = mark.end()
    return Plate([*letters, text[at:].encode()], order)


class _Setter:
    """Puts marks for figures into the document of one readout."""

    def __init__(self, numbers: list[float], units: LengthUnit) -> None:
        self._numbers = dict(zip(TRUSTED, numbers, strict=True))
        self._units = units
        self.figures: list[Figure] = []

    def _mark(self, name: str, scale: float, decimals: int, way: int) -> str:
        self.figures.append(Figure(_INDEX[name], scale, decimals, way))
        return str(len(self.figures) - 1)

    def number(self, holder: Json, key: str, name: str, scale: float = 1.0, way: int = PLAIN) -> None:
        """A number for programs, unless there is none."""
        if holder[key] is not None:
            holder[key] = f"{_MARK}{self._mark(name, scale, _PLACES, way)}={_MARK}"

    def length(self, told: Json | None, name: str, factor: float = 1.0, *, unsigned: bool = False) -> None:
        """So many times a length, in metres and as it is shown."""
        if told is None:
            return
        scale, decimals = _SHOWN[self._units]
        self.number(told, "m", name, factor, way=UNSIGNED if unsigned else PLAIN)
        figure = self._mark(name, factor * scale, decimals, UNSIGNED if unsigned else ROUNDED)
        told["shown"] = f"{_MARK}{figure}{_MARK} {self._units.value}"

    def words(self, holder: Json, *parts: tuple[str, str, float, int, int], key: str = "words") -> None:
        """A sentence in which the texts that `parts` begin with, in this order, become figures."""
        done, rest = "", holder[key]
        for text, name, scale, decimals, way in parts:
            head, found, rest = rest.partition(text)
            if not found:
                raise ValueError(f"expected {text!r} in {holder[key]!r}")
            done += f"{head}{_MARK}{self._mark(name, scale, decimals, way)}{_MARK}"
        holder[key] = done + rest

    def _size(self, name: str, units: LengthUnit) -> list[tuple[str, str, float, int, int]]:
        """A length in a sentence, as `size` writes it; nothing to fill in where that is "less than"."""
        text = size(self._numbers[name], units)
        scale, decimals = _SHOWN[units]
        return [] if text.startswith("less") else [(text.rpartition(" ")[0], name, scale, decimals, UNSIGNED)]

    def all(self, told: Json) -> None:
        """Every figure of a readout."""
        for point in EDGE_POINTS:
            self._point(told["points"][point], point)
            if told["edge_play"] is not None:
                self.length(told["edge_play"][point], f"{point}_play")
        for name in ("lowest_elevation", "heel_clearance", "reach", "lateral"):
            self.length(told[name], name)
        for name in ("cross_slope", "target_cross_slope"):
            self.number(told, f"{name}_percent", name, 100.0)
        self.number(told, "floor_angle_deg", "floor_angle", _DEG)
        for move in told["corrections"]:
            self._move(move, move["joint"])
        if told["tilt_for_cross_slope"] is not None:
            self._tilt(told["tilt_for_cross_slope"])
        self.number(told, "cross_slope_within_percent", "cross_slope_u", 100.0 * FACTOR)
        if told["trust"] is not None:
            self._trust(told["trust"])

    def _point(self, told: Json, point: str) -> None:
        self.length(told["elevation"], f"{point}_elevation")
        self.length(told["elevation_within"], f"{point}_elevation_u", FACTOR)
        self.length(told["below_plane"], f"{point}_below_plane")
        if told["cut_fill"] is not None:
            self.length(told["cut_fill"]["amount"], f"{point}_above_target", unsigned=True)
            self.length(told["cut_fill"]["above_target"], f"{point}_above_target")
            self.length(told["cut_fill"]["within"], f"{point}_cut_u", FACTOR)

    def _move(self, told: Json, joint: str) -> None:
        degrees = _DEG * self._numbers[f"{joint}_move"]
        parts = []
        if not told["reaches"]:
            parts = self._size(f"{joint}_off_by", self._units)
        elif abs(degrees) >= LEAST_DEG:
            parts.append((f"{abs(degrees):.2f}", f"{joint}_move", _DEG, 2, UNSIGNED))
            if told["cylinder_move_mm"] is not None:
                parts += self._size(f"{joint}_cylinder", cylinders_in(self._units))
        self.words(told, *parts)
        self.number(told, "move_deg", f"{joint}_move", _DEG)
        self.number(told, "angle_deg", f"{joint}_angle", _DEG)
        self.number(told, "cylinder_move_mm", f"{joint}_cylinder", 1e3)
        for key in ("off_by", "reach"):
            self.length(told[key], f"{joint}_{key}")
        self._below(told, joint)

    def _below(self, told: Json, joint: str) -> None:
        self.length(told["lowest_below"], f"{joint}_below")
        for then in told["warnings"]:
            self.words(then, *self._size(f"{joint}_below", self._units))

    def _tilt(self, told: Json) -> None:
        degrees, slope, off = (
            self._numbers[name] * scale
            for name, scale in (("tilt_move", _DEG), ("tilt_cross_slope", 100.0), ("tilt_off_by", 100.0))
        )
        at = (signed_percent(slope), "tilt_cross_slope", 100.0, 1, SIGNED)
        if not told["reaches"]:
            self.words(told, (f"{abs(off):.1f}", "tilt_off_by", 100.0, 1, UNSIGNED), at)
        elif abs(degrees) >= LEAST_DEG:
            self.words(told, (f"{degrees:+.2f}", "tilt_move", _DEG, 2, SIGNED), at)
        self.number(told, "move_deg", "tilt_move", _DEG)
        self.number(told, "angle_deg", "tilt_angle", _DEG)
        self.number(told, "cross_slope_percent", "tilt_cross_slope", 100.0)
        self.number(told, "off_by_percent", "tilt_off_by", 100.0)
        self._below(told, "tilt")

    def _trust(self, told: Json) -> None:
        name = {"cut_fill": "centre_cut_u", "elevation": "centre_elevation_u"}[told["of"]]
        scale, decimals = _SHOWN[self._units]
        whole = told["within"]["shown"].rpartition(" ")[0], name, FACTOR * scale, decimals, ROUNDED
        if told["largest"] is not None:
            first = told["parts"][0]["within"]["shown"].rpartition(" ")[0]
            self.words(told, (first, "part_0", FACTOR * scale, decimals, ROUNDED), whole, key="largest")
        if told["would_help"] is not None:
            after = show_number(FACTOR * self._numbers["remedied_u"], self._units)
            self.words(
                told, whole, (after, "remedied_u", FACTOR * scale, decimals, ROUNDED), key="would_help"
            )
        self.length(told["standard"], name)
        self.length(told["within"], name, FACTOR)
        for i, part in enumerate(told["parts"]):
            self.length(part["within"], f"part_{i}", FACTOR)
