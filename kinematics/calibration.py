"""Sensor zeros and uncertain dimensions from the machine's own touches, rods, strikes and lines.

The least change that explains what was seen, by least squares with exact derivatives at constant readings
(`calibration_model`, `calibration_fit`). No prior: what the profile says only starts it and scales it. What is not looked
for is held, and its uncertainty counted in the result.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .arm import pose
from .calibration_checks import checked
from .calibration_fit import MOST_WIDENED, Fitter, Solved, bound
from .calibration_model import Model
from .calibration_separable import faults_of, separated
from .calibration_values import with_values
from .calibration_words import size, suspected, unchecked
from .errors import Fault, Refused, refuse
from .sensing import angles_from
from .sensor_set import SensorSet
from .sources import Sources
from .touched import HeightSeen, Seen

Floats = NDArray[np.float64]
AGREES_M = 1e-9
"""How far heights through the ordinary doors may be from those of the compiled fit: rounding of a few metres."""
SURPRISING = 3.0
WORSE = 1.1
"""Times the profile's own: less is no difference in an uncertainty."""
_TELLING = 0.3  # a correlation below is not worth telling


@dataclass(frozen=True, slots=True)
class Residual:
    """One observation, in the order given. `before`, `after`: observed minus told (m or rad) with the set's own values
    and with those found, its group's offset fitted in both; `standard`: of `after` as it should be. `standardised`:
    Baarda's w, beyond 3.3 a suspect; NaN of what nothing checks. `checked`: of an error of it alone, the part that the
    others would show, 0 to 1. `words`: "" or what is to be said of it."""

    name: str
    before: float
    after: float
    standard: float
    standardised: float
    checked: float
    suspect: bool
    words: str


@dataclass(frozen=True, slots=True)
class Suspect:
    """An observation that the others contradict, left out of the fit. `off` (m or rad): how far it is from what they say,
    observed minus told; `standard`: of that."""

    name: str
    off: float
    standard: float
    words: str


@dataclass(frozen=True, slots=True, eq=False)
class Calibrated:
    """What was found. Arrays in the order of `unknowns` (rad, or m where `lengths`).

    `was` in the set, `found`, `change` = found - was; `standard` and `covariance` with everything that is held, widened
    by `widened` where residuals are larger than they should be (Birge's ratio, 1 where they are not). `sensors`: the same
    set with the found values. `offsets` (m) by group: the height of the body's origin in what it counts from, NaN of a
    group of suspects. `rms_before`, `rms_after`: of the residuals in their standard deviations, suspects left out.
    `consistent`: `chi_square`, of `freedom`, is below what it passes in one case of 20. `correlations`: every pair beyond
    0.3. `worse_known`: in words, unknowns that the profile knew better; `surprising`: that changed by more than both
    uncertainties together allow; `unchecked`: in words, observations that bear on
    what was found and that no other could show to be wrong. `doubts`: in words, what else limits this.
    """

    unknowns: tuple[str, ...]
    was: Floats
    found: Floats
    change: Floats
    standard: Floats
    covariance: Floats
    lengths: NDArray[np.bool_]
    sensors: SensorSet
    residuals: tuple[Residual, ...]
    suspects: tuple[Suspect, ...]
    offsets: Mapping[str, float]
    rms_before: float
    rms_after: float
    chi_square: float
    freedom: int
    consistent: bool
    widened: float
    correlations: tuple[tuple[str, str, float], ...]
    worse_known: tuple[str, ...]
    surprising: tuple[str, ...]
    unchecked: tuple[str, ...]
    doubts: tuple[str, ...]


def calibrate(
    sensors: SensorSet, sources: Sources, unknowns: Sequence[str], seen: Sequence[Seen]
) -> Calibrated:
    """The unknowns (`calibration_values.offered`) that explain what was `seen` of a machine with these sensors.

    `sources`: of these sensors, whose standard uncertainties weigh each observation (noise, slop, play and flex with its
    own), and count in the covariance as far as they stay as they are and are not looked for: with V = D + H S H^T the
    covariance is (J^T V^-1 J)^-1. A boom sensor that truly reads 0.002 rad more than its profile says, boom 4 m: the edge
    is told 8 mm higher for each 4 m that it is ahead; from some touches near and far comes `change` +0.002.

    Raises `Refused` with all faults: "unknown-parameter", "given-twice", "not-finite" and what else is wrong with a
    number, at "seen.3.height"; what `angles_from` refuses, at "seen.3.readings.boom"; "no-such-point", "wrong-way" of a
    line; "too-few" with how many more; "all-in-one-posture"; "wrong-units" naming the factor; "not-separable" in words,
    see `calibration_separable`; "too-many-suspects"; "undecided" of which observation is off; "not-explained" where
    residuals are five times too large; "not-converged"; and what the ordinary doors refuse of the values found.
    """
    model = checked(sensors, sources, unknowns, seen)
    fitter = Fitter(model)
    apart = separated(fitter)
    refuse(faults_of(apart))
    best = fitter.search()
    ratio = math.sqrt(best.sum_of_squares / best.freedom) if best.freedom else 1.0
    if ratio > MOST_WIDENED:
        raise Refused([
            Fault("not-explained", "seen", f"residuals {ratio:.1f} times what they should be",
                  f"at most {MOST_WIDENED:g} times", "some other zero or dimension is off, units differ, or the machine "
                  "moved between touches: look at the residuals of fewer observations", {"ratio": ratio})
        ])  # fmt: skip
    consistent = best.sum_of_squares <= bound(best.freedom) or best.freedom == 0
    widened = 1.0 if consistent else ratio
    covariance = best.covariance * widened * widened
    standard = np.sqrt(np.diagonal(covariance))
    found = _proven(model, sensors, best)
    before, after = _apart(fitter, model.start.told, best), _apart(fitter, best.told.told, best)
    suspects = tuple(_suspect(model, best, i) for i in np.flatnonzero(~best.used).tolist())
    own = np.sqrt(fitter.model.fresh())
    return Calibrated(
        model.unknowns, model.was, best.values, best.values - model.was, standard, covariance, model.lengths, found,
        _residuals(fitter, best, before, after), suspects,
        dict(zip(model.group_names, best.offsets.tolist(), strict=True)),
        _rms(before / own, best), _rms(after / own, best), best.sum_of_squares, best.freedom, consistent, widened,
        _correlations(model.unknowns, covariance), _worse(model, standard),
        _surprising(model, best.values - model.was, standard), _unchecked(model, best),
        (*(each.words for each in apart.together), *_doubts(best, widened)),
    )  # fmt: skip


def _proven(model: Model, sensors: SensorSet, best: Solved) -> SensorSet:
    """The set with the values found, if through the ordinary doors it tells the same heights."""
    values = dict(zip(model.unknowns, best.values.tolist(), strict=True))
    found = with_values(sensors, values)
    plain = SensorSet(found.assembly, found.sensors, attached=found.attached)
    faults: list[Fault] = []
    for i in np.flatnonzero(best.used).tolist():
        one = model.seen[i]
        try:
            there = pose(plain.assembly, **angles_from(plain, one.readings))
        except Refused as refused:
            faults += [fault.at(f"seen.{i}.readings") for fault in refused.faults]
            continue
        off = abs(there.height(one.point) - best.told.told[i]) if isinstance(one, HeightSeen) else 0.0
        if not off <= AGREES_M:
            faults.append(
                Fault(
                    "not-converged",
                    f"seen.{i}",
                    f"two heights {off:.2g} m apart",
                    "one height from one set of values",
                )
            )
    refuse(faults)
    return found


def _apart(fitter: Fitter, told: Floats, best: Solved) -> Floats:
    """(N,): observed minus told, less the weighted mean of its group's used heights."""
    model = fitter.model
    apart = model.observed - told
    weights = np.where(best.used, 1.0 / fitter.model.fresh(), 0.0)
    for group in range(len(model.group_names)):
        of = model.groups == group
        total = float(weights[of].sum())
        apart[of] -= float(weights[of] @ apart[of]) / total if total > 0.0 else math.nan
    lines: Floats = np.where(model.groups < 0, np.arctan2(np.sin(apart), np.cos(apart)), apart)
    return lines


def _residuals(fitter: Fitter, best: Solved, before: Floats, after: Floats) -> tuple[Residual, ...]:
    model = fitter.model
    others = int(best.used.sum())
    spread = fitter.residual_spread(best)
    found = []
    for i, one in enumerate(model.seen):
        suspect = not best.used[i]
        words = ""
        if suspect:
            words = _suspect(model, best, i).words
        elif math.isnan(best.off[i]):
            words = unchecked(one.name, others - 1)
        found.append(Residual(
            one.name, float(before[i]), float(after[i]), float(spread[i]), float(best.w[i]),
            0.0 if math.isnan(best.checked[i]) else float(best.checked[i]), suspect, words,
        ))  # fmt: skip
    return tuple(found)


def _suspect(model: Model, best: Solved, i: int) -> Suspect:
    one, off, spread = model.seen[i], float(best.off[i]), float(best.spread[i])
    told = one.height if isinstance(one, HeightSeen) else None
    words = suspected(one.name, off, spread, int(best.used.sum()), told=told)
    return Suspect(one.name, off, spread, words)


def _rms(apart: Floats, best: Solved) -> float:
    return float(np.sqrt((apart[best.used] ** 2).mean()))


def _correlations(names: tuple[str, ...], covariance: Floats) -> tuple[tuple[str, str, float], ...]:
    sizes = np.sqrt(np.diagonal(covariance))
    told = covariance / np.outer(sizes, sizes)
    return tuple(
        (names[i], names[j], float(told[i, j]))
        for i in range(len(names)) for j in range(i + 1, len(names)) if abs(told[i, j]) > _TELLING
    )  # fmt: skip


def _worse(model: Model, standard: Floats) -> tuple[str, ...]:
    return tuple(
        f"{name}: now known to {size(float(now), length=bool(length))}, by the profile to "
        f"{size(float(own), length=bool(length))}"
        for name, now, own, length in zip(model.unknowns, standard, model.own, model.lengths, strict=True)
        if now > WORSE * own
    )


def _surprising(model: Model, change: Floats, standard: Floats) -> tuple[str, ...]:
    return tuple(
        f"{name} changed by {size(float(by), length=bool(length))}, {abs(by) / own:.0f} times the uncertainty that the "
        f"profile gives it ({size(float(own), length=bool(length))}): a slipped bracket, another part, or something "
        "observed wrongly?"
        for name, by, now, own, length in zip(
            model.unknowns, change, standard, model.own, model.lengths, strict=True
        )
        if abs(by) > SURPRISING * math.hypot(now, own)
    )


def _unchecked(model: Model, best: Solved) -> tuple[str, ...]:
    """A height alone in its group is none of them: it finds nothing but its group's offset."""
    others = int(best.used.sum()) - 1
    return tuple(
        unchecked(model.seen[i].name, others)
        for i in np.flatnonzero(best.used & np.isnan(best.off)).tolist()
        if model.groups[i] < 0 or (model.groups[best.used] == model.groups[i]).sum() > 1
    )


def _doubts(best: Solved, widened: float) -> tuple[str, ...]:
    found = []
    if widened > 1.0:
        found.append(
            f"residuals are {widened:.2f} times what they should be: the uncertainties are widened by as much"
        )
    if not best.freedom:
        found.append("as many unknowns as observations: nothing checks them")
    return tuple(found)
