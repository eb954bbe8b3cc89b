"""One sensor set read against one book and aim, again and again: readings to a whole readout in one compiled call.

For streams. It gives what `angles_from`, `pose` and `readout` give together, or nothing: where they would refuse, warn or
have a reason for a missing number, `Leaf.read` says False, and they are the ones to ask.
"""

import math

import numpy as np
from numpy.typing import NDArray

from . import chain
from .compiled import compiled
from .correction_block import (
    ADVISED,
    COUPLER,
    CROSS_SLOPE,
    TILT,
    axis_of,
    correct_joints,
    correct_tilt,
    desk,
    levers,
    lowest_of,
    turning,
    write_axes,
    write_parts,
)
from .drive_block import Records
from .grade import NOISE_M, target_elevation
from .levelling import Book
from .linkage import OK
from .parameters import BUCKET_POINTS, EDGE_POINTS
from .readout import LEAN_CHANGE_RAD, LINES, Aim, floor_limit
from .sensing_block import ANGLES, program, sense
from .sensor_set import SensorSet
from .trust import Trust
from .trust_block import CHOICES as TRUST_CHOICES
from .trust_block import NUMBERS as TRUST_NUMBERS
from .trust_block import fill_trust

JOINTS = ADVISED[:TILT]
NUMBERS = (
    *(f"{p}_{what}" for p in EDGE_POINTS for what in ("elevation", "below_plane", "target", "above_target")),
    "lowest_elevation", "heel_clearance", "cross_slope", "target_cross_slope", "floor_angle", "reach", "lateral",
    *(f"{p}_play" for p in EDGE_POINTS),
    *(f"{j}_{what}" for j in JOINTS for what in ("move", "angle", "cylinder", "off_by", "reach", "below")),
    "tilt_move", "tilt_angle", "tilt_cross_slope", "tilt_off_by", "tilt_below",
)  # fmt: skip
"""What `Leaf.numbers` holds (m, rad, ratios), NaN where not known: of the points of the line as in `PointReadout`,
"above_target" its cut or fill; of the pose as in `Pose`; of each joint as in `Correction` and `Advised`."""
CHOICES = (
    *(f"{p}_{what}" for p in EDGE_POINTS for what in ("word", "below_limit")),
    "lowest_point", "below_limit", "past_square",
    *(f"{j}_{what}" for j in ADVISED for what in ("reaches", "lowest", "past_target", "past_limit", "sides")),
)  # fmt: skip
"""What `Leaf.choices` holds: 1 for yes, 0 for no, `NOTHING` where not known; of a word its place in `WORDS`, of a part of
the bucket ("lowest_point", and "lowest" for what is then farthest below the target) its place in `Leaf.parts`; "sides" as
`sides_of`."""
WORDS = ("on grade", "cut", "fill")
NOTHING = 255
TRUSTED = (*NUMBERS, *TRUST_NUMBERS)
"""What `Leaf.numbers` holds with a `Trust`: its numbers behind the others; its choices behind `CHOICES` likewise."""
_POINT, _WHOLE, _PLAY, _JOINT = (
    NUMBERS.index(name) for name in ("left_elevation", "lowest_elevation", "left_play", "boom_move")
)
_EACH_POINT, _EACH_JOINT = 4, 6
_LOWEST, _MOVES = CHOICES.index("lowest_point"), CHOICES.index("boom_reaches")
_EACH_MOVE = 5

Least = tuple[float, float, float]
"""What sentences tell at least: of an angle (rad), of a height, of what a cylinder is drawn (m)."""
AGAINST = np.dtype([
    ("first", np.int64), ("aimed", np.int64),
    *((name, np.float64) for name in (
        "origin", "receiver", "target", "tolerance", "limit", "lean", "play", "least_rad", "least_m", "least_drawn_m"
    )),
])  # fmt: skip
"""Book, aim and line for the compiled formulas (m, rad): `first` point of the line among the bucket's; NaN where not
known."""


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
        "_said",
        "_taken",
        "_trusted",
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
        lean: float | None = None,
        trust: Trust | None = None,
        least: Least = (0.0, 0.0, 0.0),
    ) -> None:
        """`line` and `lean` as in `readout`; `trust` of the same set, book, aim and line; `least` for "sides". Checks of
        the set are not read: hold them against it by `angles_from`."""
        assembly = sensors.assembly
        steps, arms = program(sensors), levers(assembly)
        self.said_by = steps.numbers
        self.parts = arms.parts
        self.numbers = np.full(len(NUMBERS if trust is None else TRUSTED), math.nan)
        choices = len(CHOICES) + (0 if trust is None else len(TRUST_CHOICES))
        self.choices = np.full(choices, NOTHING, dtype=np.uint8)
        self.q = np.full(len(ANGLES), math.nan)
        self.plain = _plain(sensors, book, aim, line, lean)
        given = np.zeros(1, dtype=AGAINST)
        if self.plain:
            _write_given(given[0], sensors, book, aim, line, lean)
            given["least_rad"], given["least_m"], given["least_drawn_m"] = least
        self._said = np.empty(len(steps.numbers))
        self._taken = (
            assembly.parameters, assembly.limits, steps.rows, steps.bar, steps.cylinders, arms.spans, arms.edge, given,
            self._said, self.q, np.empty(chain.WIDTH), *desk(arms), self.numbers, self.choices,
        )  # fmt: skip
        self._trusted = None if trust is None else (*self._taken, trust.desk, trust.whole)

    def read(self, said: NDArray[np.float64]) -> bool:
        """Fill `numbers`, `choices` and `q` from what the sensors say (rad or m), shape and order of `said_by`.

        False: the slow path must be asked (a fault, a warning, a correction past the floor limit); `numbers` are then
        all NaN. Edge 0.1 m over the target, "centre_above_target" is 0.1. Raises `ValueError` for another shape.
        """
        if said.shape != self._said.shape:
            raise ValueError(f"expected {self._said.shape}, of {', '.join(self.said_by)}, found {said.shape}")
        if not self.plain:
            return False
        self._said[:] = said
        return bool(fill_leaf(*self._taken) if self._trusted is None else fill_trusted(*self._trusted))


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


@compiled
def fill_leaf(
    records: Records, limits: NDArray[np.float64], rows: Records, bars: Records, cylinders: Records,
    spans: NDArray[np.float64], edge: NDArray[np.float64], given: Records, said: NDArray[np.float64],
    q: NDArray[np.float64], row: NDArray[np.float64], parts: NDArray[np.float64], axes: NDArray[np.float64],
    moves: NDArray[np.float64], told: Records, numbers: NDArray[np.float64], choices: NDArray[np.uint8],
) -> bool:  # fmt: skip
    """Readings to `NUMBERS` and `CHOICES`; False, and all numbers NaN, where the slow path is to be asked."""
    numbers[:] = math.nan
    choices[:] = NOTHING
    g = given[0]
    if sense(rows, bars, cylinders, said, q) != 0 or chain.solve(records, limits, q, row) != OK:
        q[:] = math.nan
        return False
    write_parts(row, edge, parts)
    write_axes(records, q, axes)
    if warned(g, row, parts):
        return False
    if g["aimed"] and not advised(g, q, spans, bars, cylinders, parts, axes, moves, told):
        return False
    write_line(g, row, parts, axes, numbers, choices)
    if g["aimed"]:
        write_advice(g, told, numbers, choices)
    return True


@compiled
def fill_trusted(
    records: Records, limits: NDArray[np.float64], rows: Records, bars: Records, cylinders: Records,
    spans: NDArray[np.float64], edge: NDArray[np.float64], given: Records, said: NDArray[np.float64],
    q: NDArray[np.float64], row: NDArray[np.float64], parts: NDArray[np.float64], axes: NDArray[np.float64],
    moves: NDArray[np.float64], told: Records, numbers: NDArray[np.float64], choices: NDArray[np.uint8],
    trust_desk: NDArray[np.float64], trust_whole: NDArray[np.int64],
) -> bool:  # fmt: skip
    """`fill_leaf`, and behind its numbers and choices how far to trust them: one call pays once for its arrays."""
    own, own_choices = numbers[: len(NUMBERS)], choices[: len(CHOICES)]
    if not fill_leaf(
        records, limits, rows, bars, cylinders, spans, edge, given, said, q, row, parts, axes, moves, told, own,
        own_choices,
    ):  # fmt: skip
        return False
    return fill_trust(
        rows, bars, cylinders, said, q, records, trust_desk, trust_whole, numbers[len(NUMBERS) :],
        choices[len(CHOICES) :],
    )  # fmt: skip


@compiled
def on_grade(value: float, tolerance: float) -> int:
    """The place in `WORDS` of a point that stands this (m) above its target, as `grade.cut_fill`; `NOTHING` of NaN."""
    if abs(value) <= tolerance + NOISE_M:
        return 0
    if value > 0.0:
        return 1
    return 2 if value < 0.0 else NOTHING


@compiled
def warned(g: np.void, row: NDArray[np.float64], parts: NDArray[np.float64]) -> bool:
    """Whether a readout of this pose would come with a warning."""
    now = math.acos(min(1.0, row[chain.LEVEL_FROM_BODY + 8]))
    lowest = g["origin"] + parts[lowest_of(parts), 2]
    if (
        row[chain.SQUARE] < 0.0
        or row[chain.HEEL_CLEARANCE] < -NOISE_M
        or abs(now - g["lean"]) > LEAN_CHANGE_RAD
        or lowest < g["limit"] - NOISE_M
    ):
        return True
    if g["aimed"]:
        dx = parts[g["first"], 0] - parts[g["first"] + 2, 0]
        dy = parts[g["first"], 1] - parts[g["first"] + 2, 1]
        if dx == 0.0 and dy == 0.0:  # teeth that stand plumb have no cross-slope
            return True
        for i in range(len(BUCKET_POINTS)):
            shown = g["first"] <= i < g["first"] + 3
            if not shown and on_grade(g["origin"] + parts[i, 2] - g["target"], g["tolerance"]) == 2:
                return True
    return False


@compiled
def advised(
    g: np.void, q: NDArray[np.float64], spans: NDArray[np.float64], bars: Records, cylinders: Records,
    parts: NDArray[np.float64], axes: NDArray[np.float64], moves: NDArray[np.float64], told: Records,
) -> bool:  # fmt: skip
    """Fill `told` with the corrections to a level target; False where one would pass the floor limit, or be refused."""
    middle = g["first"] + 1
    plane = (g["target"] - g["origin"], 0.0, parts[middle, 0], 0.0, parts[middle, 1])
    correct_joints(q, spans, bars, cylinders, parts, axes, moves, told, TILT, middle, plane)
    if not math.isnan(spans[TILT, 0]):
        correct_tilt(q, spans, parts, axes, moves, told[CROSS_SLOPE], 0.0, plane)
    for i in range(told.shape[0]):
        one = told[i]
        if one["told"] and (one["undrawn"] != OK or g["origin"] + one["low_height"] < g["limit"] - NOISE_M):
            return False
    return True


@compiled
def write_line(
    g: np.void, row: NDArray[np.float64], parts: NDArray[np.float64], axes: NDArray[np.float64],
    numbers: NDArray[np.float64], choices: NDArray[np.uint8],
) -> None:  # fmt: skip
    """What is told of the points of the line, and of the bucket as a whole."""
    rocks = axis_of(axes, COUPLER)
    for k in range(3):
        i = g["first"] + k
        height = parts[i, 2]
        elevation = g["origin"] + height
        at = _POINT + _EACH_POINT * k
        numbers[at] = elevation
        numbers[at + 1] = g["receiver"] - height
        numbers[at + 2] = g["target"]
        if g["aimed"]:
            above = elevation - g["target"]
            numbers[at + 3] = above
            choices[2 * k] = on_grade(above, g["tolerance"])
            choices[2 * k + 1] = int(elevation < g["limit"] - NOISE_M)
        # As `sensitivity.coupler_play`: its rate by the coupler's angle is that of a turn about the pin it holds.
        _, _, rise = turning((parts[i, 0] - rocks[0], parts[i, 1] - rocks[1], height - rocks[2]), rocks)
        numbers[_PLAY + k] = 0.5 * g["play"] * abs(rise[2])
    lowest = lowest_of(parts)
    numbers[_WHOLE] = g["origin"] + parts[lowest, 2]
    numbers[_WHOLE + 1] = row[chain.HEEL_CLEARANCE]
    numbers[_WHOLE + 2] = row[chain.CROSS_SLOPE]
    numbers[_WHOLE + 3] = 0.0 if g["aimed"] else math.nan
    numbers[_WHOLE + 4] = row[chain.FLOOR_ANGLE]
    numbers[_WHOLE + 5] = parts[1, 0]
    numbers[_WHOLE + 6] = parts[1, 1]
    choices[_LOWEST] = lowest
    choices[_LOWEST + 1] = 0  # as `past_square`, else there is a warning
    choices[_LOWEST + 2] = 0


@compiled
def write_advice(g: np.void, told: Records, numbers: NDArray[np.float64], choices: NDArray[np.uint8]) -> None:
    """What is told of the corrections."""
    for i in range(len(ADVISED)):
        one = told[CROSS_SLOPE if i == TILT else i]
        if not one["told"]:
            continue
        at = _JOINT + _EACH_JOINT * i  # the tilt's come last
        numbers[at] = one["move"]
        numbers[at + 1] = one["angle"]
        if i == TILT:
            numbers[at + 2] = one["slope"]
            numbers[at + 3] = one["off_by"]
            numbers[at + 4] = one["below"]
        else:
            numbers[at + 2] = one["drawn"]
            numbers[at + 3] = one["off_by"]
            numbers[at + 4] = one["reach"]
            numbers[at + 5] = one["below"]
        at = _MOVES + _EACH_MOVE * i
        choices[at] = one["reaches"]
        choices[at + 1] = one["deepest"]
        choices[at + 2] = int(one["below"] > g["tolerance"] + NOISE_M)
        choices[at + 3] = 0  # else nothing is told
        choices[at + 4] = sides_of(g, one["move"], one["drawn"], one["off_by"], i == TILT)


@compiled
def sides_of(g: np.void, move: float, drawn: float, off_by: float, tilt: bool) -> int:
    """What a sentence about a move hangs on besides figures, in bits: from the lowest, whether it is positive, and less
    than the least that is told; likewise what its cylinder is drawn, and what it stays off by; of the tilt the first two.

    0.001 rad up where 0.002 is the least: bits 0 and 1.
    """
    bits = int(move > 0.0) + 2 * int(abs(move) < g["least_rad"])
    if tilt:
        return bits
    bits += 4 * int(drawn > 0.0) + 8 * int(abs(drawn) < g["least_drawn_m"])
    return bits + 16 * int(off_by > 0.0) + 32 * int(abs(off_by) < g["least_m"])
