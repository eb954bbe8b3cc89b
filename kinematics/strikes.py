"""Whether a strike of the laser is believed: taken, or turned down because.

A strike counts only if the arm went slowly through the plane, the mast stood near plumb, the body was steady
and the result is not absurd against what the book predicts.
"""

import math
from collections.abc import Iterator
from dataclasses import dataclass

from .errors import Fault, refuse


@dataclass(frozen=True, slots=True)
class StrikeRules:
    """Limits of belief (common practice, no source). Metres, radians, seconds.

    `speed_per_revolution`: vertical travel of the receiver per turn of the laser head; the head passes once a
    turn, so the plane is found no finer. `mast`: from plumb. `steady` the body tilt's spread over `steady_s`.
    `surprise`: from the predicted receiver height, if the tracks did not move. `up_down`: half the difference of
    a crossing upwards and one downwards.
    """

    speed_per_revolution: float = 0.003
    mast: float = math.radians(10.0)
    steady: float = math.radians(0.05)
    steady_s: float = 1.0
    surprise: float = 0.050
    up_down: float = 0.010

    def __post_init__(self) -> None:
        refuse(
            Fault("not-positive", name, str(value), "a finite number above zero")
            for name in self.__slots__
            for value in [getattr(self, name)]
            if not (math.isfinite(value) and value > 0.0)
        )


@dataclass(frozen=True, slots=True)
class Crossing:
    """What was seen while the receiver crossed the plane.

    `receiver_height` (m over the origin; the mean of an upward and a downward crossing where both were made),
    `half_difference` (m) of these two or None, `vertical_speed` (m/s, either sign), `mast_angle` (rad from plumb),
    `tilt_spread` (rad) of the body over `steady_s` seconds.
    """

    receiver_height: float
    half_difference: float | None
    vertical_speed: float
    mast_angle: float
    tilt_spread: float
    steady_s: float


def turned_down_because(
    seen: Crossing, rules: StrikeRules, revolutions_per_s: float, predicted: float | None
) -> tuple[Fault, ...]:
    """Every reason not to believe a crossing; empty where it is taken.

    3 mm a turn and 10 turns a second: at most 0.030 m/s. `predicted` (m) is the receiver height the book expects,
    None where nothing is expected. NaN fails every rule.
    """
    return tuple(_reasons(seen, rules, revolutions_per_s, predicted))


def _reasons(seen: Crossing, rules: StrikeRules, turns: float, predicted: float | None) -> Iterator[Fault]:
    fastest = rules.speed_per_revolution * turns
    if not abs(seen.vertical_speed) <= fastest:
        yield Fault(
            "too-fast", "vertical_speed", f"{abs(seen.vertical_speed) * 1e3:.0f} mm/s",
            f"at most {fastest * 1e3:.0f} mm/s with this laser", "cross the plane more slowly",
            {"speed_mm_s": abs(seen.vertical_speed) * 1e3, "limit_mm_s": fastest * 1e3},
        )  # fmt: skip
    if not seen.mast_angle <= rules.mast:
        yield Fault(
            "mast-leans", "mast", f"{math.degrees(seen.mast_angle):.1f} deg from plumb",
            f"at most {math.degrees(rules.mast):g} deg", "bring the stick nearer the attitude that plumbs the mast",
            {"mast_deg": math.degrees(seen.mast_angle), "limit_deg": math.degrees(rules.mast)},
        )  # fmt: skip
    if not seen.steady_s >= rules.steady_s:
        yield Fault(
            "not-watched", "steady", f"{seen.steady_s:g} s of body tilt", f"at least {rules.steady_s:g} s",
            "wait until the body rests", {"steady_s": seen.steady_s, "limit_s": rules.steady_s},
        )  # fmt: skip
    if not seen.tilt_spread <= rules.steady:
        yield Fault(
            "not-steady", "steady", f"body tilt moving by {math.degrees(seen.tilt_spread):.3f} deg",
            f"at most {math.degrees(rules.steady):g} deg", "wait until the body rests",
            {"spread_deg": math.degrees(seen.tilt_spread), "limit_deg": math.degrees(rules.steady)},
        )  # fmt: skip
    if seen.half_difference is not None and not seen.half_difference <= rules.up_down:
        yield Fault(
            "up-and-down-differ", "crossings", f"half the difference is {seen.half_difference * 1e3:.0f} mm",
            f"at most {rules.up_down * 1e3:.0f} mm", "cross again, slowly, both ways",
            {"half_difference_mm": seen.half_difference * 1e3, "limit_mm": rules.up_down * 1e3},
        )  # fmt: skip
    if predicted is not None:
        off = seen.receiver_height - predicted
        if not abs(off) <= rules.surprise:
            yield Fault(
                "far-from-prediction", "receiver", f"{off * 1e3:+.0f} mm from where the plane was",
                f"within {rules.surprise * 1e3:.0f} mm", "if tracks, laser or receiver moved, record that first",
                {"off_mm": off * 1e3, "limit_mm": rules.surprise * 1e3},
            )  # fmt: skip
