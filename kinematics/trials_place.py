"""One place of a repeated readout: which error falls on which reading, case and dimension, and what is then measured."""

import math
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from .arm import Pose
from .desk_places import dimension_places, loosened, relaxed
from .drive_block import BAR, CYLINDER
from .errors import Fault, Refused
from .observed import Observed
from .parameters import EDGE_POINTS, NAMES, RECORD, TOOTH_POINTS
from .sensing import readings_of
from .sensing_block import ANGLES, SENSED, program
from .sensor_set import SensorSet
from .shared import Columns, Owners
from .sources import FLEX, PLAY, SLOP, WEAR, Sources
from .trials_block import RECEIVER, fill_places
from .trust_desk import pins_to, said_in, worn_back

Floats = NDArray[np.float64]
Whole = NDArray[np.int64]
_HALF = math.sqrt(3.0)
_LINKAGE_PINS = 2


class Lasting:
    """What stays as it is through one repeated readout: an error drawn for each thing that any stand of it has."""

    def __init__(self, sources: Sources, columns: Columns) -> None:
        self._columns, self._root = columns, sources.root
        self._drawn = np.flatnonzero(columns.lasting & (columns.standard > 0.0))
        self._standard = columns.standard[self._drawn]
        self._among = np.full(len(columns.standard), -1)
        self._among[self._drawn] = np.arange(self.count)

    def of(self, sources: Sources, owners: Owners) -> tuple[Whole, dict[int, float]]:
        """Of a stand's sources: (sources,) which of the errors drawn is whose, -1 of what is not uncertain or does not
        last; by column, the standard uncertainties of its drifts."""
        at = self._columns.of(sources, owners)
        drifts = at[sources.drifts]
        return self._among[at], dict(
            zip(drifts.tolist(), self._columns.standard[drifts].tolist(), strict=True)
        )

    @property
    def count(self) -> int:
        """How many errors are drawn."""
        return len(self._drawn)

    def draw(self, rng: np.random.Generator, rows: int) -> Floats:
        """(rows, errors)."""
        drawn = rng.standard_normal((rows, self.count))
        if self._root.size:
            ours = self._drawn[self._drawn < self._columns.ours]
            drawn[:, : len(ours)] = rng.standard_normal((rows, self._root.shape[1])) @ self._root[ours].T
        return drawn * self._standard


class Place:
    """One pose of a chain, ready to be measured again with errors."""

    def __init__(
        self,
        errors: Lasting,
        sensors: SensorSet,
        sources: Sources,
        said: Floats,
        point: str,
        *,
        setup: int | None,
        owners: Owners,
    ) -> None:
        self.sources, self.setup = sources, setup
        columns, self._drifts = errors.of(sources, owners)
        assembly = sensors.assembly
        self._pins = int(pins_to(assembly, point))
        self._ends = _ends(sensors, point)
        told = program(sensors)
        steps = relaxed(told, loosened(told), assembly, said)
        parts = (said, assembly.parameters, *steps)
        self._base = np.concatenate([part.view(np.float64) for part in parts])
        starts = np.cumsum([0, *(len(part.view(np.float64)) for part in parts)]).tolist()
        self._starts, self._n = starts, len(said)
        gives = sources.dimensions.stop
        falls: list[tuple[int, int, float]] = [(columns[k], k, 1.0) for k in range(self._n)]
        for j, name in enumerate(NAMES, start=sources.dimensions.start):
            falls += [(columns[j], at, 1.0) for at in dimension_places(name, starts[1:5], steps[0])]
        back = worn_back(assembly)
        for name in (*EDGE_POINTS, *TOOTH_POINTS):
            at = starts[1] + NAMES.index(f"{name}_x")
            falls += [(columns[gives + WEAR], at + axis, back[axis]) for axis in (0, 2)]
        falls = [fall for fall in falls if fall[0] >= 0]
        self._lasting = _table(falls)
        anew = [(k, k, 1.0) for k in range(self._n)]
        anew += [(self._n, at, 1.0) for at in dimension_places("coupler_angle", starts[1:5], steps[0])]
        anew += [
            (self._n + 1, at, 1.0) for at in dimension_places("power_link_length", starts[1:5], steps[0])
        ]
        self._anew = _table(anew)
        self._skewed = np.array([
            (columns[self._n + k], i)
            for k, i in _cases(sensors, program(sensors).numbers) if columns[self._n + k] >= 0
        ], dtype=np.int64).ravel()  # fmt: skip
        self._zero = self._through(np.zeros((1, errors.count)), np.zeros((1, self._n + 2)))[0]
        if not np.isfinite(self._zero).all():
            raise Refused([Fault("no-pose", "pose", "readings that give no pose", "a pose to repeat")])

    @classmethod
    def of_pose(cls, errors: Lasting, seen: Observed, pose: Pose) -> "Place":
        """A touch's or strike's."""
        said = said_of(seen.sensors, pose)
        return cls(errors, seen.sensors, seen.sources, said, seen.point, setup=seen.setup, owners=seen.owners)

    def drift(self, rng: np.random.Generator, rows: int, drawn: dict[int, Floats]) -> Floats:
        """(rows, n): how far each number has drifted, in one stand; `drawn`: what has been drawn there, by column."""
        for column, standard in self._drifts.items():
            if column not in drawn:
                drawn[column] = standard * rng.standard_normal(rows)
        return np.column_stack([drawn[column] for column in self._drifts])

    def measure(
        self, rng: np.random.Generator, lasting: Floats, drift: Floats | None, *, flexes: bool
    ) -> Floats:
        """(rows, 4): what is measured, less what is without errors: level place of the point, cross-slope."""
        of, rows = self.sources, len(lasting)
        slop, play, flex = of.standard[of.dimensions.stop + np.array([SLOP, PLAY, FLEX])]
        own = np.empty((rows, self._n + 2))
        own[:, : self._n] = rng.standard_normal((rows, self._n)) * of.standard[of.noises]
        if drift is not None:
            own[:, : self._n] += drift
        own[:, self._n] = play * rng.uniform(-_HALF, _HALF, rows)
        own[:, self._n + 1] = slop * rng.uniform(-_HALF, _HALF, (rows, _LINKAGE_PINS)).sum(axis=1)
        found = self._through(lasting, own)
        found -= self._zero
        found[:, 2] += slop * rng.uniform(-_HALF, _HALF, (rows, self._pins)).sum(axis=1)
        if flexes:
            found[:, 2] += flex * rng.standard_normal(rows)
        return found

    def _through(self, lasting: Floats, own: Floats) -> Floats:
        """(rows, 4) through sensing and chain; a desk of its own, for threads."""
        desk, ends = self._base.copy(), self._starts
        said, record, sensed, bar, cylinders = (desk[a:b] for a, b in pairwise(ends))
        out = np.empty((len(lasting), 4))
        fill_places(
            desk, self._base, said, sensed.view(SENSED), bar.view(BAR), cylinders.view(CYLINDER), record.view(RECORD),
            record, lasting.reshape(-1), *self._lasting, own.reshape(-1), *self._anew, self._skewed, self._ends,
            np.empty(len(ANGLES)), out.reshape(-1),
        )  # fmt: skip
        return out


def _table(falls: list[tuple[int, int, float]]) -> tuple[Whole, Floats]:
    """As `trials_block.add_errors` takes it."""
    into = np.array([(error, place) for error, place, _ in falls], dtype=np.int64).reshape(-1)
    return into, np.array([weight for *_, weight in falls], dtype=np.float64)


def _cases(sensors: SensorSet, numbers: tuple[str, ...]) -> list[tuple[int, int]]:
    """(number, row of the program) of each sensor of gravity, by its first."""
    joint_of: dict[str, int] = {}
    for i, joint in enumerate(ANGLES):
        if joint in sensors.by_joint:
            joint_of.setdefault(sensors.by_joint[joint][0], i)
    return [(numbers.index(name), joint_of[name]) for name, one in sensors.sensors.items() if one.by_gravity]


def _ends(sensors: SensorSet, point: str) -> Whole:
    """Where a point's and its line's ends' x stand in `NAMES`."""
    assembly = sensors.assembly
    lines = {
        "receiver": None,
        **dict.fromkeys(EDGE_POINTS, EDGE_POINTS),
        **dict.fromkeys(TOOTH_POINTS, TOOTH_POINTS),
    }
    there = point in lines and not math.isnan(float(assembly.parameters[f"{point}_x"][0]))
    if not there:
        raise Refused(
            [Fault("no-such-point", "point", repr(point), "a point of edge or teeth that the bucket has")]
        )
    line = lines[point]
    if line is None:
        return np.array([NAMES.index("receiver_x"), RECEIVER, RECEIVER])
    return np.array([NAMES.index(f"{name}_x") for name in (point, line[0], line[2])])


def said_of(sensors: SensorSet, pose_or_said: Pose | Floats) -> Floats:
    """What sensors say in a pose, or what they are given as having said, shape (n,)."""
    numbers = program(sensors).numbers
    if isinstance(pose_or_said, Pose):
        return said_in(numbers, readings_of(sensors, pose_or_said))
    said = np.asarray(pose_or_said, dtype=np.float64)
    if said.shape != (len(numbers),):
        raise Refused([
            Fault("wrong-length", "said", f"shape {said.shape}", f"{len(numbers)} numbers: {', '.join(numbers)}")
        ])  # fmt: skip
    return said.copy()
