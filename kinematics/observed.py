"""What the job's own chain owes to every source: touches, strikes and carried planes behind a height.

E = B - z_e(q0) + z_r(q1) - z_r(q2) + z_e(q): what stays as it is (a zero, a length) enters once, by the sum of its rates
at all places of the chain, and cancels as far as these are alike. What comes anew (noise, contact) enters at each.
"""

import dataclasses
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .arm import Pose
from .errors import Fault, Refused
from .estimates import Estimates
from .levelbook import curvature_and_refraction_m
from .levelling import Enters, Terms
from .machine import Machine
from .parameters import MACHINE_NAMES, NAMES
from .rates_at import RatesAt
from .sensor_set import SensorSet
from .sources import FLEX, KINDS, Kind, Sources
from .trust_desk import Owed

Floats = NDArray[np.float64]
_OF_HALF_WIDTH = 1.0 / math.sqrt(3.0)  # GUM 4.3.7
_BELOW = ("coupler", "tilt", "rotate")


@dataclass(frozen=True, slots=True, eq=False)
class Observed:
    """What one touch or strike measured with: its sensors and their sources, its poses (of a strike up and down two, the
    mean of which counts), the point, and which stand of the machine it was (`Book.setup`).

    Observations of one machine and attachment share one `sources`: by that they are known to be the same.
    """

    sensors: SensorSet
    sources: Sources
    poses: Sequence[Pose]
    point: str
    setup: int


def chained(
    terms: Terms, observed: Mapping[int, Observed], benchmarks: Mapping[int, float], estimates: Estimates,
    sensors: SensorSet, sources: Sources,
) -> Owed:  # fmt: skip
    """What the elevation of these `terms` owes to every source of a readout with `sensors`.

    `observed`: by entry, every touch and strike in the terms; `benchmarks`: by entry, standard uncertainty (m) of those
    that were given one. A zero of 8 m/rad at a touch and at the strike after it, in one posture: -8 + 8 = 0.
    Raises `Refused`: "no-observation" for an entry whose pose is not given, and as `RatesAt.of_height`.
    """
    measured = [(seq, what) for seq, what in terms if what in (Enters.EDGE, Enters.RECEIVER)]
    missing = [
        Fault("no-observation", f"observed.{seq}", "none", "the poses of every touch and strike of the chain")
        for seq, _ in measured if seq not in observed
    ]  # fmt: skip
    if missing:
        raise Refused(missing)
    sums = _Sums(sensors, sources, min((observed[seq].setup for seq, _ in measured), default=0))
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

    def __init__(self, sensors: SensorSet, sources: Sources, began: int) -> None:
        self._sensors, self._sources, self._began = sensors, sources, began
        self._rest = np.zeros(len(KINDS))
        self._vectors = {what: np.zeros(len(sources.names)) for what in (Enters.EDGE, Enters.RECEIVER)}
        self._drifts: dict[int, Floats] = {}
        self._others: dict[tuple[int, int], tuple[Sources, Floats]] = {}
        self._owns: dict[int, NDArray[np.int64]] = {}

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
        at, of = RatesAt(seen.sensors, seen.sources), seen.sources
        drifts = np.zeros(len(of.names), dtype=np.bool_)
        drifts[of.drifts] = True
        fresh = ~of.lasting & ~drifts
        if what == Enters.RECEIVER:  # the stick hangs free
            fresh[of.dimensions.stop + FLEX] = False
        for pose in seen.poses:
            by = share * at.of_height(pose, seen.point)
            self.add(kind, share * size)
            self._square(of, by, fresh)
            self._keep(of, by, self._own(seen), of.lasting, self._vectors[what], 0)
            if seen.setup > self._began:  # a drift counts from where the chain began
                drift = self._drifts.setdefault(seen.setup, np.zeros(len(self._sources.names)))
                self._keep(of, by, self._own(seen), drifts, drift, seen.setup)

    def owed(self) -> Owed:
        """What it all comes to."""
        every = np.ones(len(self._sources.names), dtype=np.bool_)
        for drift in self._drifts.values():
            self._square(self._sources, drift, every)
        for of, vector in self._others.values():
            self._square(of, vector, np.ones(len(of.names), dtype=np.bool_))
        return Owed(self._vectors[Enters.EDGE], self._vectors[Enters.RECEIVER], self._rest)

    def _square(self, of: Sources, by: Floats, where: NDArray[np.bool_]) -> None:
        np.add.at(self._rest, of.kinds[where], ((by * of.standard) ** 2)[where])

    def _keep(
        self, of: Sources, by: Floats, own: NDArray[np.int64], where: NDArray[np.bool_], vector: Floats, stand: int
    ) -> None:  # fmt: skip
        """Add rates to those of the same sources here; what is another machine's or attachment's, to its own: of drifts
        those of a `stand`, 0 of what lasts through all."""
        mine = where & (own >= 0)
        np.add.at(vector, own[mine], by[mine])
        others = where & (own < 0)
        if others.any():
            _, theirs = self._others.setdefault((id(of), stand), (of, np.zeros(len(of.names))))
            theirs[others] += by[others]

    def _own(self, seen: Observed) -> NDArray[np.int64]:
        """(sources,): where each of an observation's sources stands among those here, -1 where it is another's."""
        of = seen.sources
        if id(of) not in self._owns:
            self._owns[id(of)] = where_same(of, seen.sensors, self._sources, self._sensors)
        return self._owns[id(of)]


def where_same(of: Sources, theirs: SensorSet, sources: Sources, ours: SensorSet) -> NDArray[np.int64]:
    """(len(of.names),): where among `sources`, of the set `ours`, each source `of` the set `theirs` stands as the same
    thing, -1 where it is another machine's or attachment's."""
    if of is sources:
        return np.arange(len(of.names))
    same = _same_parts(theirs, ours)
    names = {name: i for i, name in enumerate(sources.names)}
    return np.array([names.get(name, -1) if _is_same(name, same, theirs, ours) else -1 for name in of.names])


@dataclass(frozen=True, slots=True)
class _Same:
    machine: bool
    receiver: bool
    attachment: bool


def _same_parts(one: SensorSet, other: SensorSet) -> _Same:
    a, b = one.assembly, other.assembly

    def bare(machine: Machine) -> Machine:
        return dataclasses.replace(machine, receiver=None)

    machine = bare(a.machine) == bare(b.machine)
    return _Same(machine, machine and a.machine.receiver == b.machine.receiver, a.attachment == b.attachment)


def _is_same(name: str, same: _Same, one: SensorSet, other: SensorSet) -> bool:
    """Whether a source is one thing in both."""
    if name in NAMES:
        of_receiver = name.startswith(("receiver_", "mast_"))
        return same.receiver if of_receiver else same.machine if name in MACHINE_NAMES else same.attachment
    named = name.split(".", maxsplit=1)[0]
    sensor = one.sensors.get(named)
    if sensor is None:  # what gives; of these only wear is kept
        return same.attachment
    if sensor != other.sensors.get(named):
        return False
    return same.attachment if sensor.place in _BELOW else same.machine
