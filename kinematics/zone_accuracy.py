"""How good the sensors would have to be for every cell of a zone to keep to a tolerance, all else as it is."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .errors import Fault, Refused
from .propagation import coverage
from .sensor import Sensor
from .sources import USUAL
from .zone_block import OF_SENSORS
from .zone_budget import ZoneBudget

Floats = NDArray[np.float64]
FIGURES = ("zero_uncertainty", "noise", "per_kelvin", "skew_uncertainty")
"""What is told of a sensor: fields of `Sensor` and, where a profile does not say, what is taken as usual."""


@dataclass(frozen=True, slots=True, eq=False)
class Needed:
    """`factor`: by how much every figure of every sensor may be multiplied so that the tightest cell just keeps to the
    tolerance: below 1 they must be better, above 1 they may be coarser; inf where no sensor counts at all.

    `row`, `column`: that cell. `now`, `then`: by sensor and figure (of `FIGURES`), rad or m. A factor of 0.62 makes of a
    boom's zero of 0.05 deg one of 0.031 deg.
    """

    factor: float
    row: int
    column: int
    now: dict[str, dict[str, float]]
    then: dict[str, dict[str, float]]


def needed(budget: ZoneBudget, half_width: float, probability: float = 0.95) -> Needed:
    """What the sensors of a budget must be for the coverage interval of every cell to be within `half_width` (m).

    Per cell u^2 = f^2 S^2 + f X + R^2: S through the sensors alone (zeros, skews, noises, drifts), R through all else, X
    what correlations share between them. Raises `Refused`: "not-positive" for the tolerance; "beyond-sensors" where R
    alone is too much somewhere, with the largest part of the rest in words.
    """
    if not (math.isfinite(half_width) and half_width > 0.0):
        raise Refused([Fault("not-positive", "tolerance", f"{half_width:g} m", "a half width above 0")])
    allowed = half_width / coverage(1.0, None, probability)
    s, r, total = budget.by_sensors, budget.by_others, budget.standard**2
    left = np.where(budget.ok, allowed * allowed - r, np.inf)
    if (left < 0.0).any():
        raise Refused([_beyond(budget, half_width, probability)])
    factor = _largest_factor(s, total - s - r, left)
    factor[~budget.ok] = np.inf
    row, column = (int(i) for i in np.unravel_index(int(np.argmin(factor)), factor.shape))
    by = float(factor[row, column])
    now = figures_of(budget)
    then = {} if math.isinf(by) else {
        name: {figure: by * value for figure, value in each.items()} for name, each in now.items()
    }  # fmt: skip
    return Needed(by, row, column, now, then)


def figures_of(budget: ZoneBudget) -> dict[str, dict[str, float]]:
    """By sensor the standard uncertainties (rad or m, per kelvin) that were reckoned with; a skew only of gravity."""
    of, found = budget.sources, {}
    for name, sensor in budget.sensors.sensors.items():
        places = {what: _first(of.names, f"{name}.{what}") for what in ("zero", "skew")}
        zero, skew = (float(of.standard[places[what]]) for what in ("zero", "skew"))
        found[name] = {
            "zero_uncertainty": zero,
            "noise": sensor.noise,
            "per_kelvin": _per_kelvin(sensor),
        }
        if sensor.by_gravity:
            found[name]["skew_uncertainty"] = skew
    return found


def _first(names: tuple[str, ...], name: str) -> int:
    """Of a sensor of two numbers the first stands for both."""
    return next(i for i, each in enumerate(names) if each == name or each.startswith(f"{name}."))


def _per_kelvin(sensor: Sensor) -> float:
    """Its drift, as `sources_of` takes it where the profile does not say."""
    if sensor.per_kelvin is not None:
        return sensor.per_kelvin
    by_length = sensor.unit == "m"
    return USUAL.per_kelvin_m if by_length else USUAL.per_kelvin_rad


def _largest_factor(s: Floats, x: Floats, left: Floats) -> Floats:
    """The largest f with f^2 s + f x = left, per cell; inf where nothing grows with f."""
    x = np.where(np.abs(x) <= 1e-12 * np.maximum(s, 1e-30), 0.0, x)
    with np.errstate(divide="ignore", invalid="ignore"):
        root = np.sqrt(x * x + 4.0 * s * left)
        found: Floats = np.where(s > 0.0, (root - x) / (2.0 * s), np.inf)
    return found


def _beyond(budget: ZoneBudget, half_width: float, probability: float) -> Fault:
    rest = np.where(budget.ok, budget.by_others, -1.0)
    row, column = (int(i) for i in np.unravel_index(int(np.argmax(rest)), rest.shape))
    cell = budget.cell(row, column)
    half = coverage(math.sqrt(float(rest[row, column])), None, probability)
    kind = next((kind for kind, _ in cell.parts if kind not in OF_SENSORS), None)
    largest = "" if kind is None else f"; largest: {kind}"
    return Fault(
        "beyond-sensors", "tolerance", f"{1e3 * half_width:.3g} mm either way",
        f"at least {1e3 * half:.3g} mm: with sensors that never err the rest gives so much at reach {cell.reach:.2f} m, "
        f"height {cell.height:.2f} m{largest}",
        "sensors alone cannot do it: better what is largest, touch nearer to where you dig, or allow more",
        {"tolerance_mm": 1e3 * half_width, "rest_mm": 1e3 * half},
    )  # fmt: skip
