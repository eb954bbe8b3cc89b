"""A readout repeated many times with errors drawn as its sources allow, through every formula as it is: its uncertainty
without taking anything for linear.

Source: JCGM 101:2008, supplement 1 of the GUM. The counterpart of `trust`, which is by rates.
"""

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .arm import Pose
from .errors import Fault, Refused, refuse
from .estimates import Estimates
from .levelbook import curvature_and_refraction_m
from .levelling import Enters, Terms
from .monte_carlo import Spread, spread
from .observed import Observed, chained, met
from .sensor_set import SensorSet
from .shared import Owners
from .sources import Sources
from .trials_place import Lasting, Place, said_of

Floats = NDArray[np.float64]
BLOCK = 4096
"""Draws that are made at once, of one stream of random numbers: a split over threads falls between two of them."""
MOST_LOST = 0.01
"""Of the draws: if more have no geometry, what is left would not be the readout's."""
MOST_DRAWS = 10_000_000
_NOBODY = Owners()


@dataclass(frozen=True, slots=True, eq=False)
class Trials:
    """What came of so many repeated readouts. Deviations from the readout computed without errors.

    `deviations` (n,) of elevation (m); `cuts` (n,) of cut or fill (m), None where there is no target; `cross_slopes` (n,)
    ratios. `lost`: how many of `count` draws gave no pose at all; they are in none of these, n = count - lost.
    """

    deviations: Floats
    elevation: Spread
    cross_slopes: Floats
    cross_slope: Spread
    cuts: Floats | None
    cut: Spread | None
    count: int
    lost: int
    seed: int


def trials(
    sensors: SensorSet, sources: Sources, estimates: Estimates, terms: Terms, observed: Mapping[int, Observed],
    benchmarks: Mapping[int, float], pose_or_said: Pose | Floats, point: str = "centre", count: int = 100_000,
    seed: int = 1, cut_terms: Terms | None = None, progress: Callable[[int, int], None] | None = None, *,
    fall: tuple[float, float] = (0.0, 0.0), owners: Owners = _NOBODY,
) -> Trials:  # fmt: skip
    """Repeat one readout `count` times with drawn errors: touches, strikes and the readout itself.

    `terms`, `observed`, `benchmarks`, `owners` as in `observed.chained`; `pose_or_said`: the readout's pose, or what the
    sensors said (n,) in the order of a `Program`; `point` of edge or teeth; `cut_terms`: those of elevation less target;
    `fall` as in `trust.Trust`. `progress` is told (done, count). One seed gives the same draws. A source with error e:
    what is believed is computed with readings too large by e, or with a dimension too long by e. Normal, but slop, play
    and curvature rectangular. Some 50 MB for a million.
    Raises `Refused`: as `chained`; "no-such-point", "no-pose" where readings give none, or where more than a hundredth of
    the draws does, "out-of-range" (count, seed).
    """
    run = Rehearsal(
        sensors, sources, estimates, terms, observed, benchmarks, pose_or_said, point, count, seed, cut_terms, fall=fall,
        owners=owners,
    )  # fmt: skip
    for first in range(0, count, BLOCK):
        run.fill(first, min(first + BLOCK, count))
        if progress is not None:
            progress(min(first + BLOCK, count), count)
    return run.result()


class Rehearsal:
    """`trials` in ranges of draws, for callers with threads: `fill` every range once, in any order, then ask `result`.

    Arguments and errors as `trials`. Ranges begin at multiples of `BLOCK`; the draws of one are the same wherever it is
    filled.
    """

    def __init__(
        self, sensors: SensorSet, sources: Sources, estimates: Estimates, terms: Terms, observed: Mapping[int, Observed],
        benchmarks: Mapping[int, float], pose_or_said: Pose | Floats, point: str, count: int, seed: int,
        cut_terms: Terms | None, *, fall: tuple[float, float], owners: Owners = _NOBODY,
    ) -> None:  # fmt: skip
        refuse(
            Fault("out-of-range", name, str(number), f"a whole number, {least} to {most}")
            for name, number, least, most in (("count", count, 100, MOST_DRAWS), ("seed", seed, 0, 2**63))
            if not isinstance(number, int | np.integer)
            or isinstance(number, bool)
            or not least <= number <= most
        )
        both = {**terms, **(cut_terms or {})}
        chained(both, observed, benchmarks, estimates, sensors, sources, owners)  # refuses what is missing
        self.count, self.seed = count, seed
        self._estimates, self._benchmarks, self._fall = estimates, benchmarks, fall
        self._terms = [terms] if cut_terms is None else [terms, cut_terms]
        self._keys = list(both)
        seen = {seq: observed[seq] for seq, what in both if what in (Enters.EDGE, Enters.RECEIVER)}
        self._errors = Lasting(sources, met(sensors, sources, owners, observed, seen))
        self._began = min((one.setup for one in seen.values()), default=0)
        self._places = {
            key: [Place.of_pose(self._errors, observed[key[0]], one) for one in observed[key[0]].poses]
            for key in both if key[1] in (Enters.EDGE, Enters.RECEIVER)
        }  # fmt: skip
        now = said_of(sensors, pose_or_said)
        self._now = Place(self._errors, sensors, sources, now, point, setup=None, owners=owners)
        self._made = np.full((1 + len(self._terms), count), math.nan)

    def fill(self, first: int, end: int) -> None:
        """Do the draws from `first`, a multiple of `BLOCK`, to `end`, one too or `count`. Else "out-of-range"."""
        if first % BLOCK or (end % BLOCK and end != self.count) or not 0 <= first <= end <= self.count:
            raise Refused([
                Fault("out-of-range", "first", f"{first} to {end}", f"ends at multiples of {BLOCK}, or at {self.count}")
            ])  # fmt: skip
        for start in range(first, end, BLOCK):
            rows = min(BLOCK, end - start, self.count - start)
            seeds = np.random.SeedSequence(self.seed, spawn_key=(start // BLOCK,))
            self._block(np.random.Generator(np.random.PCG64(seeds)), self._made[:, start : start + rows])

    def _block(self, rng: np.random.Generator, made: Floats) -> None:
        rows = made.shape[1]
        lasting = self._errors.draw(rng, rows)
        drifts: dict[int, dict[int, Floats]] = {}
        errors = [self._error(key, rng, lasting, drifts, rows) for key in self._keys]
        now = self._now.measure(rng, lasting, self._now.drift(rng, rows, {}), flexes=True)
        rises = now[:, 2], now[:, 2] - self._fall[0] * now[:, 0] - self._fall[1] * now[:, 1]
        made[0] = now[:, 3]
        for k, terms in enumerate(self._terms):
            made[1 + k] = rises[k]
            for key, error in zip(self._keys, errors, strict=True):
                made[1 + k] += terms.get(key, 0.0) * error

    def _error(
        self, key: tuple[int, Enters], rng: np.random.Generator, lasting: Floats, drifts: dict[int, dict[int, Floats]],
        rows: int,
    ) -> Floats:  # fmt: skip
        """How far off (m, rows) what an entry measured is."""
        seq, what = key
        of = self._estimates
        if what == Enters.BENCHMARK:
            return self._benchmarks.get(seq, of.benchmark) * rng.standard_normal(rows)
        if what == Enters.DISTANCE:
            return of.distance * rng.standard_normal(rows)
        if what == Enters.CARRIED:
            off = curvature_and_refraction_m(of.laser_distance)
            tilt = of.laser_level * of.places_apart * rng.standard_normal(rows)
            return tilt + off * rng.uniform(-1.0, 1.0, rows)
        edge = what == Enters.EDGE
        total = np.zeros(rows)
        for place in self._places[key]:
            drift = None
            if place.setup is not None and place.setup > self._began:
                drift = place.drift(rng, rows, drifts.setdefault(place.setup, {}))
            height = place.measure(rng, lasting, drift, flexes=edge)[:, 2]
            total += height + (of.contact if edge else of.receiver) * rng.standard_normal(rows)
        return total / len(self._places[key])

    def result(self) -> Trials:
        """What came of it."""
        there = np.isfinite(self._made).all(axis=0)
        lost = int(self.count - there.sum())
        if lost > MOST_LOST * self.count:
            raise Refused([
                Fault("no-pose", "pose", f"{lost} of {self.count} draws without a pose",
                      f"at most {MOST_LOST:.0%}: a linkage or a sensor stands near where it tells nothing",
                      "move the bucket a little, or know sensors and dimensions better")
            ])  # fmt: skip
        made = self._made if lost == 0 else self._made[:, there]
        cuts = made[2] if len(made) > 2 else None
        return Trials(
            made[1], spread(made[1]), made[0], spread(made[0]), cuts, None if cuts is None else spread(cuts), self.count,
            lost, self.seed,
        )  # fmt: skip
