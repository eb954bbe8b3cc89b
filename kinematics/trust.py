"""How far readouts of one sensor set are to be trusted, against one book and aim, again and again."""

import math
from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from .chain import POINTS
from .errors import Fault, Refused
from .estimates import Estimates
from .gradient import PULL_COLUMNS
from .observed import Owed
from .parameters import BUCKET_POINTS, NAMES
from .rates_at import between_of, pins_to, said_in, worn_back
from .readout import LINES
from .sensing import Told
from .sensing_block import program
from .sensing_rates import BETWEEN
from .sensor_set import SensorSet
from .sources import KINDS, Kind, Sources
from .trust_block import CHOICES, NONE, NUMBERS, desk_size, fill_trust
from .trust_rates import CUT, ROWS, SLOPE

Floats = NDArray[np.float64]


class Trust:
    """The standard uncertainties of one sensor set's readouts. Metres, ratios.

    `numbers`, `choices`: filled by `judge`, in the order of `trust_block.NUMBERS` and `CHOICES`: standard uncertainties
    of elevation and of cut or fill at the line's three points, of the cross-slope; the largest parts of the middle's;
    what would make it better. `rates` (`ROWS`, sources) then of each row by each source. A trust is for one thread.
    """

    __slots__ = (
        "_program",
        "_record",
        "choices",
        "cut",
        "desk",
        "height",
        "numbers",
        "rates",
        "sources",
        "whole",
    )

    def __init__(
        self, sensors: SensorSet, sources: Sources, estimates: Estimates, height: Owed | None, cut: Owed | None, *,
        line: str = "edge", fall: tuple[float, float] = (0.0, 0.0),
    ) -> None:  # fmt: skip
        """`height`, `cut`: what elevation, and cut or fill, owe to the chain; None where there is none. `fall`: slopes
        ahead and to the left of a sloping target, in the level frame, as ratios.

        Raises `Refused` "no-such-point" for teeth on a bucket without them, "not-a-choice" for another line.
        """
        if line not in LINES:
            raise Refused([Fault("not-a-choice", "line", repr(line), "one of " + ", ".join(LINES))])
        assembly = sensors.assembly
        if line == "teeth" and assembly.attachment.teeth is None:
            raise Refused([Fault("no-such-point", "line", "teeth on a bucket without them", "edge")])
        self.sources, self.height, self.cut = sources, height, cut
        self._program, self._record = program(sensors), assembly.parameters
        self.numbers = np.full(len(NUMBERS), math.nan)
        self.choices = np.full(len(CHOICES), NONE, dtype=np.uint8)
        self._lay_out(sensors, estimates, line, fall)

    def _lay_out(
        self, sensors: SensorSet, estimates: Estimates, line: str, fall: tuple[float, float]
    ) -> None:
        """What `fill_trust` finds on its desk."""
        of, assembly, numbers = self.sources, sensors.assembly, self._program.numbers
        m, n, rank = len(of.names), of.numbers, of.root.shape[1]
        between = between_of(sensors)
        zero, none = np.zeros(m), np.zeros(len(KINDS))
        edge, strikes, rest = (
            np.array([other if each is None else getattr(each, what) for each in (self.height, self.cut)])
            for what, other in (("edge", zero), ("strikes", zero), ("rest", none))
        )
        active = np.flatnonzero(
            self._counts(line, between) | (edge != 0.0).any(axis=0) | (strikes != 0.0).any(axis=0)
        )
        self.desk = np.zeros(desk_size(n, m, rank, len(active)))
        given = np.concatenate([
            [pins_to(assembly, LINES[line][0]), *fall, estimates.contact, *worn_back(assembly)], of.standard[active],
            edge[:, active].ravel(), strikes[:, active].ravel(), rest.ravel(), of.root[active].ravel() if rank else [],
        ])  # fmt: skip
        self.desk[: len(given)] = given
        self.desk[-len(NAMES) :] = assembly.parameters.view(np.float64)
        self.rates = self.desk[len(given) : len(given) + ROWS * m].reshape((ROWS, m))
        owe_alike = self.height is not None and self.cut is not None and not any(fall) and (
            np.array_equal(edge[0], edge[1]) and np.array_equal(strikes[0], strikes[1])
        )  # fmt: skip
        self.whole = np.concatenate([
            [n, m, rank, BUCKET_POINTS.index(LINES[line][0]), self.height is not None, self.cut is not None,
             owe_alike, len(active), len(between)],
            np.searchsorted(of.kinds[active], np.arange(KINDS.index(Kind.FLEX) + 2)), active, of.lengths[active],
            [numbers.index(name) for name in numbers], between,
        ]).astype(np.int64)  # fmt: skip

    def _counts(self, line: str, between: list[int]) -> NDArray[np.bool_]:
        """(sources,): what may bear on a readout of this line: not corners that are not read, nor the receiver, nor a
        linkage that no sensor sits on."""
        of = self.sources
        counts = of.standard > 0.0
        others = {*POINTS, "mast"} - set(LINES[line])
        idle = {name for i, name in enumerate(BETWEEN) if i not in between} - set(PULL_COLUMNS)
        counts[of.dimensions] &= [
            name.rpartition("_")[0] not in others and name not in idle for name in NAMES
        ]
        return counts

    def rows(self) -> Floats:
        """Rates of what was judged last, shape (`ROWS`, sources); those of a level target's cut are its elevation's."""
        rows = self.rates.reshape(ROWS, -1)
        sloping = bool(self.desk[1] or self.desk[2])
        return rows if sloping else np.concatenate([rows[:CUT], rows[:CUT], rows[SLOPE:]])

    def said(self, readings: Mapping[str, Told]) -> Floats:
        """Readings by name (rad or m), as `judge` takes them."""
        return said_in(self._program.numbers, readings)

    def judge(self, said: Floats, q: Floats) -> bool:
        """Fill `numbers` and `choices` for readings (rad or m, shape and order of a `Program`) and the angles (9,) that
        they give. False at a linkage's dead centre, where nothing can be said; all numbers are then NaN.

        A boom sensor's zero of 0.001 rad, 8 m ahead, touched 8 m ahead: it enters elevation with 0.
        """
        steps, record = self._program, self._record
        return bool(fill_trust(
            steps.rows, steps.bar, steps.cylinders, said, q, record, self.desk, self.whole,
            self.numbers, self.choices,
        ))  # fmt: skip
