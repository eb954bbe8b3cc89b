"""What the job's own chain owes to every source: touches, strikes and carried planes behind a height.

E = B - z_e(q0) + z_r(q1) - z_r(q2) + z_e(q): what stays as it is (a zero, a length) enters once, by the sum of its rates
at all places of the chain, and cancels as far as these are alike. What comes anew (noise, contact) enters at each.
"""

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .arm import Pose
from .errors import Fault, Refused
from .estimates import Estimates
from .levelbook import curvature_and_refraction_m
from .levelling import Enters, Terms
from .rates_at import RatesAt
from .sensor_set import SensorSet
from .shared import Columns, Owners
from .sources import FLEX, KINDS, Kind, Sources
from .trust_desk import Owed

Floats = NDArray[np.float64]
_OF_HALF_WIDTH = 1.0 / math.sqrt(3.0)  # GUM 4.3.7
_NOBODY = Owners()


@dataclass(frozen=True, slots=True, eq=False)
class Observed:
    """What one touch or strike measured with: its sensors and their sources, its poses (of a strike up and down two, the
    mean of which counts), the point, which stand of the machine it was (`Book.setup`), and whose the parts are, see
    `shared.keys_of`. Observations of one machine and attachment share one `sources`.
    """

    sensors: SensorSet
    sources: Sources
    poses: Sequence[Pose]
    point: str
    setup: int
    owners: Owners = _NOBODY


def met(
    sensors: SensorSet, sources: Sources, owners: Owners, observed: Mapping[int, Observed], seqs: Iterable[int]
) -> Columns:  # fmt: skip
    """The sources of the present stand, and of everything that was `observed` by these entries."""
    columns = Columns(sensors, sources, owners)
    for seq in sorted(set(seqs)):
        seen = observed[seq]
        columns.meet(seen.sensors, seen.sources, seen.owners)
    return columns


def chained(
    terms: Terms, observed: Mapping[int, Observed], benchmarks: Mapping[int, float], estimates: Estimates,
    sensors: SensorSet, sources: Sources, owners: Owners = _NOBODY,
) -> Owed:  # fmt: skip
    """What the elevation of these `terms` owes to every source of a readout with `sensors`.

    `observed`: by entry, every touch and strike in the terms; `benchmarks`: by entry, standard uncertainty (m) of those
    that were given one; `owners`: whose the present stand's parts are. A zero of 8 m/rad at a touch and at the strike
    after it, in one posture: -8 + 8 = 0.
    Raises `Refused`: "no-observation" for an entry whose pose is not given, and as `RatesAt.of_height`.
    """
    measured = [(seq, what) for seq, what in terms if what in (Enters.EDGE, Enters.RECEIVER)]
    missing = [
        Fault("no-observation", f"observed.{seq}", "none", "the poses of every touch and strike of the chain")
        for seq, _ in measured if seq not in observed
    ]  # fmt: skip
    if missing:
        raise Refused(missing)
    columns = met(sensors, sources, owners, observed, (seq for seq, _ in measured))
    sums = _Sums(columns, min((observed[seq].setup for seq, _ in measured), default=0))
    for (seq, what), factor in terms.items():
        if what == Enters.BENCHMARK:
            sums.add(Kind.BENCHMARK, factor * benchmarks.get(seq, estimates.benchmark))
        elif what == Enters.DISTANCE:
            sums.add(Kind.DISTANCE, factor * estimates.distance)
        elif what == Enters.CARRIED:
            sums.add(Kind.LEVEL, factor * estimates.laser_level * estimates.places_apart)
            # Of two distances from the laser, unlike by anything up to the farthest.
            off = curvature_and_refraction_m(estimates.laser_distance)
            sums.add(Kind.CURVATURE, factor * off * _OF_HALF_WIDTH)
        else:
            sums.observe(observed[seq], what, factor, estimates)
    return sums.owed()


class _Sums:
    """A chain being added up."""

    def __init__(self, columns: Columns, began: int) -> None:
        self._columns, self._began = columns, began
        self._rest = np.zeros(len(KINDS))
        self._vectors = {what: self._none() for what in (Enters.EDGE, Enters.RECEIVER)}
        self._drifts: dict[int, Floats] = {}

    def _none(self) -> Floats:
        return np.zeros(len(self._columns.standard))

    def add(self, kind: Kind, deviation: float) -> None:
        """One more part that goes with nothing else (m)."""
        self._rest[KINDS.index(kind)] += deviation * deviation

    def observe(self, seen: Observed, what: Enters, factor: float, estimates: Estimates) -> None:
        """One touch or strike."""
        share = factor / len(seen.poses)
        kind, size = (
            (Kind.RECEIVER, estimates.receiver)
            if what == Enters.RECEIVER
            else (Kind.CONTACT, estimates.contact)
        )
        of, at = seen.sources, self._columns.of(seen.sources, seen.owners)
        rates = RatesAt(seen.sensors, of)
        drifts = np.zeros(len(of.names), dtype=np.bool_)
        drifts[of.drifts] = True
        fresh = ~of.lasting & ~drifts
        if what == Enters.RECEIVER:  # the stick hangs free
            fresh[of.dimensions.stop + FLEX] = False
        for pose in seen.poses:
            by = share * rates.of_height(pose, seen.point)
            self.add(kind, share * size)
            self._square(of.kinds[fresh], (by * of.standard)[fresh])
            np.add.at(self._vectors[what], at[of.lasting], by[of.lasting])
            if seen.setup > self._began:  # a drift counts from where the chain began
                np.add.at(self._drifts.setdefault(seen.setup, self._none()), at[drifts], by[drifts])

    def owed(self) -> Owed:
        """What it all comes to. What is not the present stand's hangs together with nothing of it any more."""
        ours, kinds, standard = self._columns.ours, self._columns.kinds, self._columns.standard
        for drift in self._drifts.values():
            self._square(kinds, drift * standard)
        edge, strikes = self._vectors[Enters.EDGE], self._vectors[Enters.RECEIVER]
        self._square(kinds[ours:], ((edge + strikes) * standard)[ours:])
        return Owed(edge[:ours], strikes[:ours], self._rest)

    def _square(self, kinds: NDArray[np.int64], deviations: Floats) -> None:
        np.add.at(self._rest, kinds, deviations**2)
