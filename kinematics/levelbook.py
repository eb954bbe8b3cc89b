"""Arithmetic of the classical level book, and the errors of levels and rotating lasers.

Used to check and to print what `levelling` computes. Metres; elevations positive up, staff readings positive
up from the foot of the staff. Source: C. Ghilani and P. Wolf, Elementary Surveying (HI = BM + BS,
elevation = HI - FS).
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

from .errors import Fault, Refused, refuse

EARTH_RADIUS_M = 6_371_000.0
REFRACTION = 0.14
"""Usual coefficient of refraction: the share of the earth's curvature that the line of sight follows."""
_RIGHT_ANGLE_ARC_SECONDS = 90 * 3600


class Sight(NamedTuple):
    """One stand of the level: backsight to the point behind, foresight to the point `name` ahead."""

    backsight_m: float
    foresight_m: float
    name: str


@dataclass(frozen=True, slots=True)
class Row:
    """One reduced stand: height of instrument, and the elevation of the point ahead."""

    name: str
    backsight_m: float
    height_of_instrument_m: float
    foresight_m: float
    elevation_m: float


@dataclass(frozen=True, slots=True)
class LevelBook:
    """A reduced level book.

    `arithmetic_check_m` = (sum of backsights - sum of foresights) - (last - first elevation), nothing but
    rounding in a book without slips.
    """

    start_m: float
    rows: tuple[Row, ...]
    sum_backsights_m: float
    sum_foresights_m: float
    arithmetic_check_m: float

    def misclosure(self, known_m: float) -> float:
        """Misclosure (m) on a last point of known elevation; see the function `misclosure`."""
        return misclosure(self.rows[-1].elevation_m, known_m)


def height_of_instrument(benchmark_m: float, backsight_m: float) -> float:
    """Elevation (m) of the line of sight: benchmark 820.00, backsight 8.42: 828.42.

    Raises `Refused` "not-finite".
    """
    _all_finite(benchmark=benchmark_m, backsight=backsight_m)
    return benchmark_m + backsight_m


def reduce_level_book(start_m: float, sights: Sequence[Sight | tuple[float, float, str]]) -> LevelBook:
    """Carry the elevation `start_m` through each stand's (backsight, foresight, name of the point ahead).

    Start 100.00, backsight 3.10, foresight 9.82: HI 103.10, the point ahead 93.28, which is lower.
    Raises `Refused` with every fault: "no-sight"; "not-finite" at "sights.2.foresight" and the like.
    """
    if not sights:
        raise Refused([Fault("no-sight", "sights", "none", "at least one backsight and foresight")])
    stands = [Sight(*sight) for sight in sights]
    _all_finite(start=start_m, **_readings(stands))
    rows: list[Row] = []
    behind = start_m
    for stand in stands:
        line = height_of_instrument(behind, stand.backsight_m)
        behind = line - stand.foresight_m
        rows.append(Row(stand.name, stand.backsight_m, line, stand.foresight_m, behind))
    back = math.fsum(stand.backsight_m for stand in stands)
    fore = math.fsum(stand.foresight_m for stand in stands)
    return LevelBook(start_m, tuple(rows), back, fore, (back - fore) - (behind - start_m))


def misclosure(computed_m: float, known_m: float) -> float:
    """Computed minus known elevation (m): 94.95 carried to a point known as 94.91 is +0.04.

    Raises `Refused` "not-finite".
    """
    _all_finite(computed=computed_m, known=known_m)
    return computed_m - known_m


def allowable_misclosure_m(distance_km: float, millimetres_per_root_km: float) -> float:
    """Largest misclosure (m, either sign) to be put up with over a levelled distance: c * sqrt(K).

    12 mm over 4 km is 0.024 m. Usual c: 12 in ordinary levelling, 10 or 15 in building practice.
    Raises `Refused`: "not-finite", "not-positive".
    """
    _all_positive(distance_km=distance_km, millimetres_per_root_km=millimetres_per_root_km)
    return millimetres_per_root_km * math.sqrt(distance_km) / 1000


def curvature_and_refraction_m(distance_m: float, refraction: float = REFRACTION) -> float:
    """How much too high (m) a staff reads at a distance, the earth falling away below the line of sight.

    (1 - k) d^2 / 2R: k = 0.14 gives 0.0675 m at 1 km, k = 1/7 0.0673 m, k = 0 the curvature alone.
    Raises `Refused`: "not-finite"; "negative-distance"; "refraction-absurd" outside -1 to 1, where the line bends
    more than the earth (a percentage, or a day on which not to level).
    """
    _all_finite(distance=distance_m, refraction=refraction)
    if not -1.0 < refraction < 1.0:
        raise Refused([
            Fault("refraction-absurd", "refraction", f"{refraction:g}", "a coefficient between -1 and 1",
                  "0.14 is usual", {"refraction": refraction})
        ])  # fmt: skip
    _not_negative(distance_m)
    return (1.0 - refraction) * distance_m**2 / (2.0 * EARTH_RADIUS_M)


def laser_level_error_m(arc_seconds: float, distance_m: float) -> float:
    """How far (m) a laser plane tilted by `arc_seconds` is off at a distance, positive where it rises.

    10 arc-seconds at 30 m are 1.454 mm.
    Raises `Refused`: "not-finite", "negative-distance", "not-a-tilt" (a right angle or more).
    """
    _all_finite(arc_seconds=arc_seconds, distance=distance_m)
    if abs(arc_seconds) >= _RIGHT_ANGLE_ARC_SECONDS:
        raise Refused([
            Fault("not-a-tilt", "arc_seconds", f"{arc_seconds:g}", "less than a right angle", "",
                  {"arc_seconds": arc_seconds})
        ])  # fmt: skip
    _not_negative(distance_m)
    return distance_m * math.tan(math.radians(arc_seconds / 3600))


def turn_test_error_m(first_mark_m: float, turned_mark_m: float) -> float:
    """Error (m) of a laser's line at a wall, from its mark there and its mark after turning it by 180 degrees.

    The difference is twice the error: 1.512 and 1.508 give +0.002, the first mark too high by that.
    Raises `Refused` "not-finite".
    """
    _all_finite(first_mark=first_mark_m, turned_mark=turned_mark_m)
    return (first_mark_m - turned_mark_m) / 2


def _readings(stands: Sequence[Sight]) -> dict[str, float]:
    return {
        f"sights.{place}.{side}": reading
        for place, stand in enumerate(stands)
        for side, reading in (("backsight", stand.backsight_m), ("foresight", stand.foresight_m))
    }


def _all_finite(**values: float) -> None:
    refuse(
        Fault("not-finite", where, str(value), "a finite number")
        for where, value in values.items()
        if not math.isfinite(value)
    )


def _all_positive(**values: float) -> None:
    _all_finite(**values)
    refuse(
        Fault("not-positive", where, f"{value:g}", "more than zero", "", {where: value})
        for where, value in values.items()
        if value <= 0.0
    )


def _not_negative(distance_m: float) -> None:
    if distance_m < 0.0:
        raise Refused([
            Fault("negative-distance", "distance", f"{distance_m:g} m", "zero or more", "",
                  {"distance_m": distance_m})
        ])  # fmt: skip
