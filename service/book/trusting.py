"""How far a job's readouts are to be trusted: from its log, its estimates and the profiles that stood on it."""

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass

from kinematics.arm import Pose, pose
from kinematics.assembly import Assembly
from kinematics.errors import Fault, Refused
from kinematics.estimates import Estimates
from kinematics.levelling import Enters, Terms, added
from kinematics.observed import Observed, chained
from kinematics.readout import Aim
from kinematics.sensor_set import SensorSet
from kinematics.shared import Owners
from kinematics.sources import KINDS, USUAL, Kind, Sources, plain_sensors, sources_of
from kinematics.trust import Trust
from kinematics.trust_desk import Owed
from kinematics.units import ratio_from_percent

from .keeper import Keeper
from .payloads import PoseRecord
from .state import JobState, Observation, Stand

_USUAL_SENSORS = f"sensors: as are usual, noise {math.degrees(USUAL.noise):g} deg each"
Reckoned = Callable[[SensorSet, Estimates], Sources]


@dataclass(frozen=True, slots=True, eq=False)
class Sensed:
    """What a stand is reckoned with: its sensors, or sensors as are usual; `assumed`: the latter, in words."""

    sensors: SensorSet
    assumed: tuple[str, ...] = ()


Sets = Mapping[Stand, Sensed]


def stands_of(state: JobState) -> set[Stand]:
    """Every stand that the job's readouts may rest on, the present one too."""
    found = {each.stand for each in state.observations.values()}
    return found if state.stand is None else {*found, state.stand}


def sets_of(keeper: Keeper, state: JobState, here: SensorSet | None = None) -> dict[Stand, Sensed]:
    """The sensors of every stand in a state; `here` of the present one, where they are at hand. Reads the database where
    it must: not for the event loop."""
    known = {} if here is None or state.stand is None else {state.stand: Sensed(here)}
    return known | {stand: _sensed(keeper, stand) for stand in stands_of(state) - known.keys()}


def _sensed(keeper: Keeper, stand: Stand) -> Sensed:
    assembly = keeper.fitted(stand)
    try:
        sensors = keeper.sensed_on(stand)
    except Refused as refused:
        return Sensed(plain_sensors(assembly), (f"{_USUAL_SENSORS}, for {refused.faults[0]}",))
    if sensors is None:
        return Sensed(plain_sensors(assembly), (f"{_USUAL_SENSORS}, the profiles name none",))
    return Sensed(sensors)


@dataclass(frozen=True, slots=True, eq=False)
class Chain:
    """What a readout rests on: sensors and sources of the present stand, what its height, and its cut or fill, owe
    to them and to everything before; `terms` of both; what was `assumed`, in words."""

    sensors: SensorSet
    sources: Sources
    owners: Owners
    estimates: Estimates
    height: Owed | None
    cut: Owed | None
    terms: tuple[Terms | None, Terms | None]
    observed: Mapping[int, Observed]
    benchmarks: Mapping[int, float]
    assumed: tuple[str, ...]
    why: tuple[Fault, ...] = ()
    """Why there is nothing of height, cut or fill though the book has them: a touch at a linkage's dead centre."""
    again: tuple[tuple[str, float], tuple[str, float]] = (("", 0.0), ("", 0.0))
    """Which point to touch again, and the variance (m2) that it and distances leave: for elevation, for cut or fill."""

    def trust(self, line: str, fall: tuple[float, float] = (0.0, 0.0), *, cut: bool = True) -> Trust:
        """The trust of a line of the bucket; `fall`: slopes of a sloping target in the level frame, ahead and left;
        `cut`: False where the readout has no cut or fill, its station being unknown."""
        owed = self.cut if cut else None
        return Trust(
            self.sensors, self.sources, self.estimates, self.height, owed, line=line, fall=fall,
            stays=self.again[owed is not None][1],
        )  # fmt: skip


def chain_of(
    state: JobState, sets: Sets, aim: Aim | None, reckoned: Reckoned = sources_of
) -> Chain:  # fmt: skip
    """What a readout of this state and aim rests on.

    `reckoned`: the sources of the present stand, where they are to be others than the profiles'. Raises `Refused`:
    "no-setup", and as `reckoned`; what a touch or strike of the chain cannot tell is in `why`.
    """
    stand = state.stand
    if stand is None:
        state.book.needs_setup()
    estimates = state.surroundings
    made: dict[Stand, Sources] = {}

    def sources(of: Stand) -> Sources:
        if of not in made:
            made[of] = (reckoned if of == stand else sources_of)(sets[of].sensors, estimates)
        return made[of]

    assert stand is not None  # noqa: S101  # refused above
    here, own = sets[stand].sensors, sources(stand)
    height = state.book.height
    terms = None if height is None else height.terms
    cut = None if terms is None or aim is None else added(terms, aim.benchmark.terms, -1.0)
    observed: dict[int, Observed] = {}
    owed: list[Owed | None] = [None, None]
    why: tuple[Fault, ...] = ()
    try:
        if not stands_of(state) <= sets.keys():
            raise Refused([_UNREAD])
        for seq, each in state.observations.items():
            observed[seq] = _observed(each, sets, sources(each.stand))
        owed = [
            None
            if each is None
            else chained(each, observed, state.benchmark_uncertainty, estimates, here, own, owners_of(stand))
            for each in (terms, cut)
        ]
    except Refused as refused:
        why = refused.faults
    distance = 0.0
    if owed[1] is not None and aim is not None and aim.target.sloping:
        slopes = aim.target.along_percent, aim.target.across_percent
        distance = (math.hypot(*map(ratio_from_percent, slopes)) * estimates.distance) ** 2
        owed[1].rest[KINDS.index(Kind.DISTANCE)] += distance
    return Chain(
        here, own, owners_of(stand), estimates, owed[0], owed[1], (terms, cut), observed, state.benchmark_uncertainty,
        (*sets[stand].assumed, *own.assumed), why,
        (_surest(state, estimates), ("" if aim is None else aim.target.benchmark, distance)),
    )  # fmt: skip


def _surest(state: JobState, estimates: Estimates) -> tuple[str, float]:
    """The benchmark that is known best, and its variance (m2): of those alike the one that the height rests on."""
    known = {
        name: state.benchmark_uncertainty.get(seq, estimates.benchmark) ** 2
        for name, each in state.book.points.items()
        for seq, what in each.terms
        if what == Enters.BENCHMARK and len(each.terms) == 1
    }
    rests = {} if state.book.height is None else state.book.height.terms
    own = {name for name, each in state.book.points.items() if each.terms.keys() <= rests.keys()}
    return min(known.items(), key=lambda each: (each[1], each[0] not in own), default=("", 0.0))


_UNREAD = Fault(
    "database",
    "",
    "profiles of an earlier stand that are not read yet",
    "a moment",
    "wait for the next readout",
)


def _observed(seen: Observation, sets: Sets, sources: Sources) -> Observed:
    sensors = sets[seen.stand].sensors
    poses = [pose_of(sensors.assembly, each) for each in seen.poses]
    return Observed(sensors, sources, poses, seen.point, seen.setup, owners_of(seen.stand))


def owners_of(stand: Stand) -> Owners:
    """Whose parts a stand is made of: those of a profile, in whichever revision, are of one machine or attachment."""
    return Owners(stand.machine.id, stand.attachment.id)


def pose_of(assembly: Assembly, record: PoseRecord) -> Pose:
    """The pose of a record, solved again."""
    joints = {name: math.radians(angle) for name, angle in record.joints_deg.items()}
    lean = {"pitch": math.radians(record.pitch_deg), "roll": math.radians(record.roll_deg)}
    return pose(assembly, **lean, **joints)
