"""How far an edge has worn, by tape or by a touch, and what that does to heights. Metres.

Wear is taken along the way from the bucket pin to the edge. It is positive where the edge is shorter than the profile
has it: the tool then thinks the edge farther out than it is, and with the edge below the pin, **lower** than it is."""

import math
from dataclasses import dataclass

from .agreement import FACTOR, FINEST_M
from .errors import Fault, Refused, refuse

MOST_WORN_M = 0.5
"""More is another bucket, or another unit (common practice, no source)."""
STEEPEST_LEFT = 0.5
"""A touch tells of the edge's length only by how far the edge points down: below sin 30 deg it hardly does."""


@dataclass(frozen=True, slots=True)
class Wear:
    """`amount` worn off (m; negative: longer than the profile, such as a new edge), its `standard` uncertainty (m)."""

    amount: float
    standard: float

    @property
    def within(self) -> float:
        """Half the 95 % interval (m)."""
        return FACTOR * self.standard

    @property
    def seen(self) -> bool:
        """Whether it is more than its own uncertainty."""
        return abs(self.amount) > max(self.within, FINEST_M)


def wear_by_tape(profile: float, taped: float, standard: float, profile_standard: float = 0.0) -> Wear:
    """Wear from the taped way (m) from the middle of the bucket pin to a point of the edge, and the profile's.

    Profile 1.432, taped 1.417: 15 mm worn. Raises `Refused`: "not-finite", "not-a-length", "negative-uncertainty",
    "wear-absurd" beyond half a metre either way.
    """
    _checked(
        {"profile": profile, "taped": taped}, {"standard": standard, "profile_standard": profile_standard}
    )
    return _believed(Wear(profile - taped, math.hypot(standard, profile_standard)), "taped")


def wear_by_touch(misclosure: float, down: float, standard: float) -> Wear:
    """Wear of a point that rests on a known point, the height being set by another part of the bucket that is not worn,
    or before the wear.

    `misclosure` (m): computed minus known, as of a check touch; `down`: how steeply the way from pin to point goes
    down, 1 straight down; `standard` (m) of the misclosure. The tool believes the point lower than it is: -12 mm,
    straight down, is 12 mm of wear. Raises `Refused`: "not-finite", "negative-uncertainty", "says-little" where `down`
    is below 0.5, "wear-absurd"."""
    _checked({"misclosure": misclosure, "down": down}, {"standard": standard}, lengths=False)
    if down < STEEPEST_LEFT:
        below = math.degrees(math.asin(max(-1.0, down)))
        raise Refused([
            Fault("says-little", "pose", f"an edge {below:.0f} deg below its pin",
                  "at least 30 deg: a touch tells of its length only by that", "uncurl until the edge points down",
                  {"down": down})
        ])  # fmt: skip
    return _believed(Wear(-misclosure / down, standard / down), "misclosure")


def height_error(wear: float, down: float, touched_down: float | None) -> float:
    """By how much (m) the tool reads an edge too high, worn by `wear` (m) since the profile was measured.

    `down`: how steeply the edge points down from its pin where it digs, 1 straight down; `touched_down`: where the same
    worn edge set the height, None where it did not (a height of an unworn edge, or from before). Not touched, 15 mm
    worn, straight down: -0.015, it reads 15 mm too **low**, and who stops there has dug 15 mm too **high**. Touched in
    the same posture: 0. Touched pointing straight down and digging at 0.8 of it: +0.003. Raises `Refused` "not-finite".
    """
    _checked({"wear": wear, "down": down, "touched_down": touched_down or 0.0}, {}, lengths=False)
    return wear * ((0.0 if touched_down is None else touched_down) - down)


def _checked(values: dict[str, float], standards: dict[str, float], *, lengths: bool = True) -> None:
    refuse(
        Fault("not-finite", name, str(value), "a finite number")
        for name, value in (values | standards).items()
        if not math.isfinite(value)
    )
    refuse(
        [
            *(
                Fault("negative-uncertainty", name, f"{value:g}", "0 or more")
                for name, value in standards.items()
                if value < 0.0
            ),
            *(
                Fault("not-a-length", name, f"{value:g} m", "more than zero")
                for name, value in values.items()
                if lengths and value <= 0.0
            ),
        ]
    )


def _believed(wear: Wear, where: str) -> Wear:
    if abs(wear.amount) > MOST_WORN_M:
        raise Refused([
            Fault("wear-absurd", where, f"{wear.amount:+.3f} m of wear", f"at most {MOST_WORN_M:g} m either way",
                  "check the unit, and which bucket is on", {"wear_m": wear.amount})
        ])  # fmt: skip
    return wear
