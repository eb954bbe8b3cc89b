"""The error budget of a dig before it is dug: how uncertain the edge's elevation is over a whole zone, and why.

A benchmark is touched, the plane of a laser perhaps carried to later stands, then the edge is set down anywhere in the
zone. The model is that of a readout (`observed.chained`, `trust`): an error that stays as it is enters by what it does at
the dig less what it did at the touch.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .arm import Pose
from .columns import Executor
from .errors import Fault, Refused
from .estimates import Estimates
from .levelling import Book, Laser, Terms
from .observed import Observed, chained
from .parameters import NAMES
from .propagation import coverage
from .rates_at import RatesAt
from .reach import place_edge
from .sensing_block import program
from .sensor_set import SensorSet
from .shares import write_shares
from .sources import KINDS, Kind, Sources
from .through_rates import BETWEEN
from .trust_desk import Owed, between_of, pins_to, worn_back
from .zone import Zone, place_all
from .zone_block import OK, STATUS, fill_zone

Floats = NDArray[np.float64]
Progress = Callable[[float], None]
MOST_CARRIED = 50
_SLAB, _TOUCH = 1, 2
_CHUNK = 2048
_ROUNDING = 1e-12  # of a variance: what should be nothing and is a rounding
_LASER = Laser(10.0, 0.0)


@dataclass(frozen=True, slots=True, eq=False)
class Cell:
    """One cell of a zone: its place (m), pose, and `standard` uncertainty (m) of the edge's elevation there.

    `parts`: standard uncertainty (m) by kind, largest first, without what is nothing; their squares add up to that of
    `standard` (with correlations one may count against the others: it then has a minus). `sources`: the same by source,
    of those that stay as they are and what comes with the dig's own reading.
    """

    row: int
    column: int
    reach: float
    height: float
    pose: Pose
    standard: float
    parts: tuple[tuple[Kind, float], ...]
    sources: tuple[tuple[str, float], ...]


@dataclass(frozen=True, slots=True, eq=False)
class ZoneBudget:
    """The map. Arrays (rows, columns), heights and reaches ascending; NaN where `status` (`zone_block.STATUS`) says why.

    `standard` (m): standard uncertainty of the edge centre's elevation; `by_sensors`, `by_others` (m2): its variance from
    zeros, skews, noises and drifts alone, and from all else alone. `largest`: which of `sources.KINDS` is the largest
    part. `q` (rows, columns, 9): rad, order of `sensing_block.ANGLES`. `touch`: the pose of the touch, of strikes too.
    """

    sensors: SensorSet
    sources: Sources
    zone: Zone
    standard: Floats
    by_sensors: Floats
    by_others: Floats
    largest: NDArray[np.uint8]
    status: NDArray[np.uint8]
    q: Floats
    touch: Pose
    owed: Owed

    @property
    def ok(self) -> NDArray[np.bool_]:
        """Where there is a number."""
        found: NDArray[np.bool_] = self.status == OK
        return found

    @property
    def worst(self) -> Cell:
        """The cell with the largest uncertainty; of equal ones the lowest and nearest."""
        return self.cell(*_at(np.nanargmax(self.standard), self.zone))

    @property
    def best(self) -> Cell:
        """The cell with the smallest."""
        return self.cell(*_at(np.nanargmin(self.standard), self.zone))

    def share_within(self, half_width: float, probability: float = 0.95) -> float:
        """Of the cells with a number the share (0 to 1) whose coverage interval is no wider than this either way (m)."""
        within = coverage(self.standard[self.ok], None, probability) <= half_width
        return float(np.count_nonzero(within)) / within.size

    def cell(self, row: int, column: int) -> Cell:
        """One cell in full. Raises `Refused` "out-of-reach" where there is no number."""
        if self.status[row, column] != OK:
            why = STATUS[self.status[row, column]]
            raise Refused(
                [Fault("out-of-reach", "cell", f"row {row}, column {column}: {why}", "a cell with a number")]
            )
        q = self.q[row, column]
        pose = place_edge(
            self.sensors.assembly, point="centre", reach=float(self.zone.reaches[column]),
            height=float(self.zone.heights[row]), floor_angle=self.zone.floor_angle,
            **self.zone.standing(self.sensors.assembly),
        ).pose  # fmt: skip
        assert np.max(np.abs(pose.q - q)) <= 1e-9  # noqa: S101  # one inverse
        shares = self._shares(RatesAt(self.sensors, self.sources).of_height(pose, "centre"))
        parts = self.owed.rest.copy()
        np.add.at(parts, self.sources.kinds, shares)
        return Cell(
            row, column, float(self.zone.reaches[column]), float(self.zone.heights[row]), pose,
            float(self.standard[row, column]),
            tuple((KINDS[i], _signed_root(parts[i])) for i in _ranked(parts)),
            tuple((self.sources.names[i], _signed_root(shares[i])) for i in _ranked(shares)),
        )  # fmt: skip

    def _shares(self, rates: Floats) -> Floats:
        of, shares = self.sources, np.empty(len(self.sources.names))
        c = rates + self.owed.edge + self.owed.strikes
        write_shares(c, of.standard, of.root.ravel(), np.empty(of.root.shape[1]), shares)
        return shares


def zone_budget(
    sensors: SensorSet, sources: Sources, estimates: Estimates, zone: Zone, touch: tuple[float, float], *,
    carried: int = 0, executor: Executor | None = None, parts: int = 1, progress: Progress | None = None,
) -> ZoneBudget:  # fmt: skip
    """How uncertain the elevation of the edge's centre is in every cell of a zone.

    The benchmark is touched at `touch` (reach, height over the origin, m), floor angle, lean and held joints those of the
    zone. `carried`: so many moves follow, each with the laser set up anew and struck before and after, all strikes in the
    posture of the touch. `progress` is told the share done (0 to 1), in the caller's thread. A boom sensor known to 0.1
    deg that turns the whole arm brings nothing where the touch was, 14 mm where the edge is 8 m further out.
    Raises `Refused`: as `place_edge` at "touch", `zone.place_all`; "no-receiver" with `carried`; "out-of-range";
    "out-of-reach" at "zone" where no cell has a number.
    """
    assembly = sensors.assembly
    faults: list[Fault] = []
    if isinstance(carried, bool) or not isinstance(carried, int) or not 0 <= carried <= MOST_CARRIED:
        faults.append(
            Fault("out-of-range", "carried", repr(carried), f"a whole number from 0 to {MOST_CARRIED}")
        )
    elif carried and assembly.machine.receiver is None:
        faults.append(
            Fault("no-receiver", "carried", f"{carried} moves by the laser", "a receiver in the machine's profile",
                  "measure where it sits, or carry no height")
        )  # fmt: skip
    placed, first = None, None
    try:
        placed = place_all(assembly, zone)
    except Refused as refused:
        faults += refused.faults
    if placed is not None:
        try:
            first = place_edge(
                assembly, point="centre", reach=touch[0], height=touch[1], floor_angle=zone.floor_angle,
                **zone.standing(assembly),
            ).pose  # fmt: skip
        except Refused as refused:
            faults += [fault.at("touch") for fault in refused.faults]
    if faults or placed is None or first is None:
        raise Refused(faults)
    owed = _owed(sensors, sources, estimates, first, carried)
    status = placed.status.ravel().copy()
    out, largest = np.empty(3 * status.size), np.zeros(status.size, dtype=np.uint8)
    run = _runner(sensors, sources, owed, placed.q.reshape(-1), out, largest, status)
    _in_parts(run, status.size, executor, parts, progress)
    shape = placed.status.shape
    if not (status == OK).any():
        raise Refused([_nowhere(status, zone)])
    variance, by_sensors, by_others = (out[k::3].reshape(shape) for k in range(3))
    return ZoneBudget(
        sensors, sources, zone, np.sqrt(variance), by_sensors, by_others, largest.reshape(shape), status.reshape(shape),
        placed.q, first, owed,
    )  # fmt: skip


def book_of(carried: int, touched: float, struck: float) -> Book:
    """The level book of a touch and so many moves by the laser; heights (m) over the origin of edge and receiver.

    Entry 1 is the benchmark, 2 the touch, then two strikes a move. What hangs on what is the book's own.
    """
    book = Book().placed().declared(_SLAB, "slab", 0.0)
    book, _ = book.touched(_TOUCH, "slab", touched, check=False)
    for move in range(carried):
        book = book.laser_set_up(_LASER)
        book, _ = book.struck_by_laser(_TOUCH + 2 * move + 1, struck, None)
        book, _ = book.moved().struck_by_laser(_TOUCH + 2 * move + 2, struck, None)
    return book


def terms_of(carried: int) -> Terms:
    """The terms of the origin's elevation in such a book."""
    height = book_of(carried, 0.0, 0.0).height
    assert height is not None  # noqa: S101  # it was touched
    return height.terms


def observed_in(carried: int, sensors: SensorSet, sources: Sources, touch: Pose) -> dict[int, Observed]:
    """What was measured in such a book, all in one posture: the touch, and two strikes about each move."""
    seen = {_TOUCH: Observed(sensors, sources, [touch], "centre", 1)}
    for move in range(carried):
        seen[_TOUCH + 2 * move + 1] = Observed(sensors, sources, [touch], "receiver", 1 + move)
        seen[_TOUCH + 2 * move + 2] = Observed(sensors, sources, [touch], "receiver", 2 + move)
    return seen


def _owed(sensors: SensorSet, sources: Sources, estimates: Estimates, touch: Pose, carried: int) -> Owed:
    seen = observed_in(carried, sensors, sources, touch)
    try:
        return chained(terms_of(carried), seen, {}, estimates, sensors, sources)
    except Refused as refused:
        raise Refused(fault.at("touch") for fault in refused.faults) from None


def _runner(
    sensors: SensorSet, sources: Sources, owed: Owed, q: Floats, out: Floats, largest: NDArray[np.uint8],
    status: NDArray[np.uint8],
) -> Callable[[int, int], None]:  # fmt: skip
    steps, assembly = program(sensors), sensors.assembly
    case = np.array([steps.numbers.index(name) for name in steps.numbers])
    record = assembly.parameters
    flat = np.array(record.view(np.float64))
    assert flat.shape == (len(NAMES),)  # noqa: S101
    fixed = (
        case, np.array(between_of(sensors), dtype=np.int64), worn_back(assembly), pins_to(assembly, "centre"),
        owed.edge + owed.strikes, np.array(sources.standard), np.array(sources.root).ravel(), sources.kinds, owed.rest,
        sources.numbers + len(BETWEEN), sources.numbers,
    )  # fmt: skip

    def run(first: int, last: int) -> None:
        fill_zone(
            steps.rows,
            steps.bar,
            steps.cylinders,
            record,
            flat,
            q,
            *fixed,
            out,
            largest,
            status,
            first,
            last,
        )

    return run


def _in_parts(
    run: Callable[[int, int], None],
    cells: int,
    executor: Executor | None,
    parts: int,
    progress: Progress | None,
) -> None:
    """All cells, in chunks: on the caller's threads, `parts` at a time, where there are any."""
    if not (isinstance(parts, int) and parts >= 1):
        raise Refused([Fault("bad-parts", "parts", repr(parts), "a whole number of at least 1")])
    cuts = [*range(0, cells, _CHUNK), cells]

    def chunk(i: int) -> None:
        run(cuts[i], cuts[i + 1])

    for start in range(0, len(cuts) - 1, parts):
        some = range(start, min(start + parts, len(cuts) - 1))
        if executor is None or len(some) == 1:
            for i in some:
                chunk(i)
        else:
            list(executor.map(chunk, some))
        if progress is not None:
            progress(cuts[some.stop] / cells)


def _nowhere(status: NDArray[np.uint8], zone: Zone) -> Fault:
    counts = [(STATUS[code], int(np.count_nonzero(status == code))) for code in np.unique(status).tolist()]
    told = ", ".join(f"{count} cells {why}" for why, count in counts)
    return Fault(
        "out-of-reach", "zone", told,
        f"somewhere in reaches {zone.reach.low:g} to {zone.reach.high:g} m, heights {zone.height.low:g} to "
        f"{zone.height.high:g} m, that the arm reaches with this floor",
        "check the signs of heights and depths, or ask for a nearer zone",
    )  # fmt: skip


def _at(flat: np.intp, zone: Zone) -> tuple[int, int]:
    return int(flat) // zone.columns, int(flat) % zone.columns


def _ranked(shares: Floats) -> list[int]:
    order = np.argsort(-shares, kind="stable")
    least = _ROUNDING * float(np.sum(np.abs(shares)))
    return [i for i in order.tolist() if abs(shares[i]) > least]


def _signed_root(variance: float) -> float:
    return math.copysign(math.sqrt(abs(variance)), variance)
