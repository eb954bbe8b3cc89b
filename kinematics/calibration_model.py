"""What a sensor set with other zeros and dimensions would make of everything that was seen: laid out once, told again and
again, with exact derivatives."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from .calibration_block import (
    BODY_PITCH,
    BODY_ROLL,
    CASE,
    HEIGHT,
    LEVEL,
    PLUMB,
    TURNS,
    fill_seen,
)
from .calibration_values import LEFT_UP, NOSE_UP, TO_LEFT, turn_of, value_of
from .chain import POINTS
from .desk_places import dimension_places, loosened, relaxed
from .drive_block import BAR, CYLINDER
from .errors import Fault, Refused
from .mounting_lines import Level
from .parameters import NAMES, RECORD
from .place_rates import JOINTS
from .sensing_block import ANGLES, SENSED, program
from .sensor import LEFT, Mounting
from .sensor_set import LEAN, SensorSet
from .sources import FLEX, USUAL, Sources
from .through_rates import BETWEEN
from .touched import BODY, LINKS, HeightSeen, Seen
from .trust_desk import between_of, pins_to, said_in, worn_back

Floats = NDArray[np.float64]
Whole = NDArray[np.int64]
_TURNS = (NOSE_UP, LEFT_UP, TO_LEFT)
_NO_WEAR = (0.0, 0.0, 0.0)


@dataclass(frozen=True, slots=True, eq=False)
class Told:
    """`angles` (N, `sensing_block.ANGLES`) rad; `told` (N,): heights over the body origin (m) and lines (rad); `jacobian`
    (N, k) by the unknowns; `rates` (N, sources) by every source, at constant readings."""

    angles: Floats
    told: Floats
    jacobian: Floats
    rates: Floats


class Model:
    """Observations of one sensor set, without its checks, and the unknowns that are to explain them. For one thread.

    `was` (k,) the unknowns' values in the set, `own` (k,) their standard uncertainties there (rad or m, above 0: where
    the set has 0 the usual one), `lengths` (k,), `observed` (N,), `groups` (N,): each height's number, -1 of a line,
    `group_names`; `start`: what is told with the set as it is.
    """

    def __init__(
        self, sensors: SensorSet, sources: Sources, unknowns: Sequence[str], seen: Sequence[Seen]
    ) -> None:
        self.sensors, self.sources, self.unknowns, self.seen = sensors, sources, tuple(unknowns), tuple(seen)
        self._steps = program(sensors)
        self._record = sensors.assembly.parameters
        self.was = np.array([value_of(sensors, name) for name in unknowns])
        at = [sources.names.index(name) for name in unknowns]
        self.lengths = sources.lengths[at]
        usual = np.where(self.lengths, USUAL.lengths, USUAL.zero_rad)
        self.own = np.where(sources.standard[at] > 0.0, sources.standard[at], usual)
        self.group_names = tuple(dict.fromkeys(one.group for one in seen if isinstance(one, HeightSeen)))
        self.groups = np.array(
            [self.group_names.index(one.group) if isinstance(one, HeightSeen) else -1 for one in seen]
        )
        self.observed = np.array([_observed(one) for one in seen])
        self.standard = np.array([one.standard for one in seen])
        self._lay_out()
        self._columns = self._columns_of()
        self.start = self.tell(self.was)

    def tell(self, values: Floats) -> Told:
        """Everything told with these values (k,) of the unknowns. Raises `Refused` "no-pose" at "seen.3"."""
        angles, told = np.empty((len(self.seen), len(ANGLES))), np.empty(len(self.seen))
        rates = np.empty((len(self.seen), len(self.sources.names)))
        turned = np.empty((len(self.seen), TURNS * len(self._mounted)))
        failed = self._fill(values, angles, told, rates, turned)
        if failed:
            raise Refused([
                Fault("no-pose", f"seen.{failed - 1}", "readings that give no pose with the values tried",
                      "readings in the middle of what the joints can do", "leave it out, or touch in another posture")
            ])  # fmt: skip
        jacobian = np.empty((len(told), len(self.unknowns)))
        for j, (of_rates, column, factor) in enumerate(self._columns):
            jacobian[:, j] = factor * (rates if of_rates else turned)[:, column]
        return Told(angles, told, jacobian, rates)

    def angles(self, which: int) -> dict[str, float]:
        """Lean and joint angles (rad) of one observation as `arm.pose` takes them, with the set as it is."""
        return self.angles_of(self.start.angles[which])

    def angles_of(self, q: Floats) -> dict[str, float]:
        """The same of a row of `sensing_block.ANGLES`."""
        named = dict(zip(ANGLES, q.tolist(), strict=True))
        return {name: named[name] for name in (*LEAN, *self.sensors.assembly.ranges)}

    def fresh(self) -> Floats:
        """(N,): the variance (m2, rad2) of each observation alone: its own, and what comes anew at each reading (noise,
        slop, play, flex), by the rates of the set as it is. A stick with a receiver hangs free of flex."""
        by = self.start.rates * self.sources.standard
        by[:, self._lasts()] = 0.0
        free = [isinstance(one, HeightSeen) and one.point == "receiver" for one in self.seen]
        by[free, self.sources.dimensions.stop + FLEX] = 0.0
        variance: Floats = self.standard**2 + (by**2).sum(axis=1)
        return variance

    def held(self) -> Floats:
        """(N, rank): what each observation owes (m, rad) to what stays as it is meanwhile and is not looked for: other
        zeros, skews, drift, wear, dimensions. Times its transpose it is their covariance."""
        lasts = self._lasts()
        lasts[[self.sources.names.index(name) for name in self.unknowns]] = False
        by = (self.start.rates * self.sources.standard)[:, lasts]
        root = self.sources.root
        return by @ root[lasts] if root.size else by

    def _lasts(self) -> NDArray[np.bool_]:
        lasts = self.sources.lasting.copy()
        lasts[self.sources.drifts] = True
        return lasts

    def _lay_out(self) -> None:
        assembly, steps = self.sensors.assembly, self._steps
        saids = [said_in(steps.numbers, one.readings) for one in self.seen]
        loose, bases = loosened(steps), []
        loose.rows["least_across"] = 0.0  # on the way only: what is found is proven through the doors
        for i, said in enumerate(saids):
            try:
                parts = (self._record, *relaxed(steps, loose, assembly, said))
            except Refused as refused:
                raise Refused(fault.at(f"seen.{i}") for fault in refused.faults) from None
            bases.append([part.view(np.float64) for part in parts])
        ends = np.cumsum([0, *(len(part) for part in bases[0])]).tolist()
        self._ends = ends
        self._bases = np.concatenate([part for parts in bases for part in parts])
        self._saids = np.concatenate(saids)
        self._desk = np.empty(ends[-1])
        what = [_what(one) for one in self.seen]
        self._what = np.array([part for parts, _ in what for part in parts], dtype=np.int64)
        self._aims = np.array([aim for _, aim in what])
        points = [one.point if isinstance(one, HeightSeen) else None for one in self.seen]
        self._worn = np.array(
            [axis for point in points for axis in (_NO_WEAR if point is None else worn_back(assembly, point))]
        )
        self._pins = np.array([0.0 if point is None else pins_to(assembly, point) for point in points])
        n = len(steps.numbers)
        self._case_of = np.array([steps.numbers.index(name) for name in steps.numbers])
        self._between = np.array(between_of(self.sensors), dtype=np.int64)
        self._work = np.empty((JOINTS + 4) * (n + len(BETWEEN)) + n + JOINTS + len(NAMES))
        self._falls()

    def _falls(self) -> None:
        """Which unknown falls where on the desk, and which case it turns."""
        starts, row = self._ends, SENSED.itemsize // 8
        zero = SENSED.fields["zero"][1] // 8  # type: ignore[index]
        falls: list[tuple[int, int]] = []
        cases: dict[str, list[int]] = {}
        for j, name in enumerate(self.unknowns):
            of, _, what = name.partition(".")
            if not what:
                falls += [(j, at) for at in dimension_places(name, starts[:4], self._steps.rows)]
                continue
            rows = [i for i, joint in enumerate(ANGLES) if self._of(joint) == of]
            if self.sensors.sensors[of].by_gravity:
                cases[of] = rows
            else:
                falls += [(j, starts[1] + i * row + zero) for i in rows]
        self._into = np.array([part for fall in falls for part in fall], dtype=np.int64)
        self._weights = np.ones(len(falls))
        self._cases = tuple(cases)
        self._mounted = np.array([rows[0] for rows in cases.values()], dtype=np.int64)
        self._seconds = np.array(
            [rows[1] if len(rows) > 1 else -1 for rows in cases.values()], dtype=np.int64
        )

    def _of(self, joint: str) -> str | None:
        given = self.sensors.by_joint.get(joint)
        return None if given is None else given[0]

    def _columns_of(self) -> list[tuple[bool, int, float]]:
        """Of each unknown: whether among the rates, which column, times what."""
        found: list[tuple[bool, int, float]] = []
        for name in self.unknowns:
            of, _, what = name.partition(".")
            if what and self.sensors.sensors[of].by_gravity:
                turn = _TURNS.index(turn_of(self.sensors.sensors[of], what))
                found.append((False, TURNS * self._cases.index(of) + turn, 1.0))
            else:  # what an encoder reads over the true value counts against it, by its sign
                factor = -float(self.sensors.sensors[of].sign) if what else 1.0
                found.append((True, self.sources.names.index(name), factor))
        return found

    def _mountings(self, values: Floats) -> Floats:
        """How the cases that are looked for sit now, as `calibration_block.CASE`."""
        by_name: dict[str, dict[str, float]] = {}
        for name, value in zip(self.unknowns, values.tolist(), strict=True):
            of, _, what = name.partition(".")
            if of in self._cases:
                by_name.setdefault(of, {})[turn_of(self.sensors.sensors[of], what)] = value
        cases = np.empty((len(self._cases), CASE))
        for k, of in enumerate(self._cases):
            sensor = self.sensors.sensors[of]
            held = sensor.mounting
            if isinstance(held, Mounting):
                turns = {turn: by_name[of].get(turn, getattr(held, turn)) for turn in _TURNS}
                axes = Mounting(**turns).axes()
                along = axes[1 if sensor.axis == LEFT else 0]
                cases[k] = *along, *axes[1], *axes[2], math.sin(turns[LEFT_UP]), math.cos(turns[LEFT_UP])
        return cases

    def _views(self) -> tuple[Floats, NDArray[np.void], NDArray[np.void], NDArray[np.void]]:
        record, sensed, bar, cylinders = (self._desk[a:b] for a, b in pairwise(self._ends))
        return record, sensed.view(SENSED), bar.view(BAR), cylinders.view(CYLINDER)

    def _fill(self, values: Floats, angles: Floats, told: Floats, rates: Floats, turned: Floats) -> int:
        record, rows, bar, cylinders = self._views()
        return fill_seen(
            self._desk, self._bases, self._saids, rows, bar, cylinders, record.view(RECORD), record, values - self.was,
            self._into, self._weights, self._mounted, self._seconds, self._mountings(values).ravel(), self._what,
            self._aims, self._case_of, self._between, self._worn, self._pins, self._work, angles.reshape(-1), told,
            rates.reshape(-1), turned.reshape(-1),
        )  # fmt: skip


def _observed(one: Seen) -> float:
    if isinstance(one, HeightSeen):
        return one.height
    return one.line.inclination if isinstance(one.line, Level) else 0.0


def _what(one: Seen) -> tuple[tuple[int, int, int], float]:
    """(kind, point or how many links, whether to the edge) and what a plumb line aims at, as `fill_seen` takes them."""
    if isinstance(one, HeightSeen):
        return (HEIGHT, POINTS.index(one.point), 0), 0.0
    if one.link == BODY:
        return (BODY_PITCH if one.axis == "pitch" else BODY_ROLL, 0, 0), 0.0
    links, edge = 1 + LINKS.index(one.link), int(one.line.to_edge)
    if isinstance(one.line, Level):
        return (LEVEL, links, edge), 0.0
    return (PLUMB, links, edge), (-0.5 if one.line.below else 0.5) * math.pi
