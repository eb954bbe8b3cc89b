"""One sensor set read against one book and aim, again and again: readings to a whole readout in one compiled call.

For streams. It gives what `angles_from`, `pose` and `readout` give together, or nothing: where they would refuse, warn or
have a reason for a missing number, `Leaf.read` says False, and they are the ones to ask.
"""

import math
from collections.abc import Sequence
from typing import Any, NoReturn

import numpy as np
from numpy.typing import NDArray

from . import chain
from .correction_block import desk, levers
from .grade import target_elevation
from .leaf_block import AGAINST, CHOICES, DESK, NOTHING, NUMBERS, fill
from .levelling import Book
from .parameters import BUCKET_POINTS, EDGE_POINTS
from .readout import LINES, Aim, floor_limit
from .sensing_block import ANGLES, program
from .sensor_set import SensorSet
from .trust import Trust
from .trust_block import CHOICES as TRUST_CHOICES
from .trust_block import NUMBERS as TRUST_NUMBERS

TRUSTED = (*NUMBERS, *TRUST_NUMBERS)
"""What `Leaf.numbers` holds with a `Trust`: its numbers behind the others; its choices behind `CHOICES` likewise."""
Least = tuple[float, float, float]
"""What sentences tell at least: of an angle (rad), of a height, of what a cylinder is drawn (m)."""

_APART = 64
"""Bytes: what is worked on begins a line of the processor's cache."""


class Leaf:
    """One sensor set read against one book and aim, again and again. Metres, radians.

    `numbers` and `choices` of a leaf with a `trust` go on with that one's, judged with every reading.

    `plain`: False where this set, book, aim or line is not covered (no height, a sloping target, a laser plane with a
    fall, teeth that are not there): `read` then always says False. `said_by`: the sensor's name of each number that
    `read` takes. `numbers`, `choices`: filled by `read`, in the order of `NUMBERS` and `CHOICES`. `q`: the angles,
    pitch, roll, then `assembly.JOINTS`, NaN where the readings give none. `parts`: names of the parts of the bucket,
    `parameters.BUCKET_POINTS` first, then the vertices of an edge with more than three, as in `Pose.lowest`.
    A leaf is for one thread.
    """

    __slots__ = (
        "_address",
        "_desk",
        "_shape",
        "choices",
        "numbers",
        "parts",
        "plain",
        "q",
        "said_by",
    )

    def __init__(
        self,
        sensors: SensorSet,
        book: Book,
        aim: Aim | None,
        *,
        line: str = "edge",
        point: str = "centre",
        lean: float | None = None,
        trust: Trust | None = None,
        least: Least = (0.0, 0.0, 0.0),
    ) -> None:
        """`line`, `point` and `lean` as in `readout`; `trust` of the same set, book, aim and line; `least` for
        "sides". Checks of the set are not read: hold them against it by `angles_from`."""
        assembly = sensors.assembly
        steps, arms = program(sensors), levers(assembly)
        self.said_by = steps.numbers
        self.parts = arms.parts
        self.plain = _plain(sensors, book, aim, line, lean)
        given = np.zeros(1, dtype=AGAINST)
        if self.plain:
            _write_given(given[0], sensors, book, aim, line, lean)
            given["corrected"] = BUCKET_POINTS.index(LINES[line][EDGE_POINTS.index(point)])
            given["least_rad"], given["least_m"], given["least_drawn_m"] = least
        more = ((), ()) if trust is None else (TRUST_NUMBERS, TRUST_CHOICES)
        self._desk, parts = on_one_desk((
            assembly.parameters, assembly.limits, steps.rows, steps.bar, steps.cylinders, arms.spans, arms.edge, given,
            np.full(len(steps.numbers), math.nan), np.full(len(ANGLES), math.nan), np.empty(chain.WIDTH), *desk(arms),
            np.full(len(NUMBERS) + len(more[0]), math.nan),
            np.full(len(CHOICES) + len(more[1]), NOTHING, dtype=np.uint8),
            *((np.empty(0), np.empty(0, dtype=np.int64)) if trust is None else (trust.desk, trust.whole)),
        ))  # fmt: skip
        self._address = self._desk.ctypes.data
        self._shape = (len(steps.numbers),)
        self.q, self.numbers, self.choices = (
            parts[DESK.index(name) - 1] for name in ("q", "numbers", "choices")
        )

    def read(self, said: NDArray[np.float64]) -> bool:
        """Fill `numbers`, `choices` and `q` from what the sensors say (rad or m), shape and order of `said_by`.

        False: the slow path must be asked (a fault, a warning, a correction past the floor limit); `numbers` are then
        all NaN. Edge 0.1 m over the target, "centre_above_target" is 0.1. Raises `ValueError` for another shape.
        """
        if said.shape != self._shape:
            raise ValueError(f"expected {self._shape}, of {', '.join(self.said_by)}, found {said.shape}")
        if not self.plain:
            return False
        return bool(fill(self._address, said))

    def __reduce__(self) -> NoReturn:
        """It knows its desk by its address: a copy would write on the other's."""
        raise TypeError(
            "expected one Leaf for each thread, found a copy being made: make another of the same sensors"
        )


def on_one_desk(arrays: Sequence[NDArray[Any]]) -> tuple[NDArray[np.uint8], list[NDArray[Any]]]:
    """(where copies of these arrays begin and end in bytes, then the copies, one after another; each copy as a part)."""
    ends = np.empty((len(arrays), 2), dtype=np.int64)
    at = ends.nbytes
    for i, each in enumerate(arrays):
        start = -(-at // _APART) * _APART
        ends[i] = start, start + each.nbytes
        at = start + each.nbytes
    whole = np.zeros(at + _APART, dtype=np.uint8)
    whole = whole[-whole.ctypes.data % _APART :]
    whole[: ends.nbytes] = ends.ravel().view(np.uint8)
    parts = [
        whole[start:end].view(each.dtype).reshape(each.shape)
        for (start, end), each in zip(ends, arrays, strict=True)
    ]
    for part, each in zip(parts, arrays, strict=True):
        part[...] = each
    return whole, parts


def _plain(sensors: SensorSet, book: Book, aim: Aim | None, line: str, lean: float | None) -> bool:
    attachment = sensors.assembly.attachment
    falls = book.struck is not None and book.laser is not None and book.laser.fall != 0.0
    return (
        line in LINES
        and (line == "edge" or attachment.teeth is not None)
        and len(attachment.edge) + len(BUCKET_POINTS) <= NOTHING  # each part has a choice of its own
        and book.height is not None
        and math.isfinite(book.height.elevation)
        and (book.struck is None or math.isfinite(book.struck.receiver_height))
        and not falls
        and (aim is None or not aim.target.sloping)
        and (lean is None or math.isfinite(lean))
    )


def _write_given(
    given: np.void, sensors: SensorSet, book: Book, aim: Aim | None, line: str, lean: float | None
) -> None:
    given["first"] = BUCKET_POINTS.index(LINES[line][0])
    given["aimed"] = aim is not None
    play = sensors.assembly.attachment.coupler_play
    values = {
        "origin": None if book.height is None else book.height.elevation,
        "receiver": None if book.struck is None else book.struck.receiver_height,
        "target": None if aim is None else target_elevation(aim.target, aim.benchmark.elevation),
        "tolerance": None if aim is None else aim.target.tolerance_m,
        "limit": None if aim is None else floor_limit(aim), "lean": lean, "play": play,
    }  # fmt: skip
    for name, value in values.items():
        given[name] = math.nan if value is None else value
