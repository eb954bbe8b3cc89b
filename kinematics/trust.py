"""How far readouts of one sensor set are to be trusted, against one book and aim, again and again."""

import math
from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from .errors import Fault, Refused
from .estimates import Estimates
from .readout import LINES
from .sensing import Told
from .sensing_block import program
from .sensor_set import SensorSet
from .sources import Sources
from .trust_block import CHOICES, NONE, NUMBERS, fill_trust
from .trust_desk import Owed, lay_out, said_in
from .trust_rates import CUT, SLOPE

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
        line: str = "edge", fall: tuple[float, float] = (0.0, 0.0), stays: float = 0.0,
    ) -> None:  # fmt: skip
        """`height`, `cut`: what elevation, and cut or fill, owe to the chain; None where there is none. `fall`: slopes
        ahead and to the left of a sloping target, in the level frame, as ratios. `stays` (m2): the variance that the
        point would leave that may be touched again, and a target's distances.

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
        laid = lay_out(
            sensors,
            sources,
            LINES[line],
            contact=estimates.contact,
            stays=stays,
            owed=(height, cut),
            fall=fall,
        )
        self.desk, self.whole, self.rates = laid.desk, laid.whole, laid.rates

    def rows(self) -> Floats:
        """Rates of what was judged last, shape (`ROWS`, sources); those of a level target's cut are its elevation's."""
        rows = self.rates
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
