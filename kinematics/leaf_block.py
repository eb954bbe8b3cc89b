"""Readings to a whole readout in one compiled call: what is told of it in numbers, and what in choices."""

import math

import numpy as np
from numpy.typing import NDArray

from . import chain
from .compiled import bytes_at, compiled, kept_as_it_is
from .correction_block import (
    ADVICE,
    ADVISED,
    COUPLER,
    CROSS_SLOPE,
    TILT,
    axis_of,
    correct_joints,
    correct_tilt,
    lowest_of,
    turning,
    write_axes,
    write_parts,
)
from .drive_block import BAR, CYLINDER, Records
from .grade import NOISE_M
from .linkage import OK
from .parameters import BUCKET_POINTS, EDGE_POINTS, RECORD
from .readout import LEAN_CHANGE_RAD
from .sensing_block import SENSED, sense
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
the bucket ("lowest_point", and "lowest" for what is then farthest below the target) its place in `Leaf.parts`; "sides"
is `side_of` of the move, and of a joint's 4 and 16 times those of what its cylinder is drawn and what it stays off by."""
WORDS = ("on grade", "cut", "fill")
NOTHING = 255
_POINT, _WHOLE, _PLAY, _JOINT = (
    NUMBERS.index(name) for name in ("left_elevation", "lowest_elevation", "left_play", "boom_move")
)
_EACH_POINT, _EACH_JOINT = 4, 6
_LOWEST, _MOVES = CHOICES.index("lowest_point"), CHOICES.index("boom_reaches")
_EACH_MOVE = 5

AGAINST = np.dtype([
    ("first", np.int64), ("corrected", np.int64), ("aimed", np.int64),
    *((name, np.float64) for name in (
        "origin", "receiver", "target", "tolerance", "limit", "lean", "play", "least_rad", "least_m", "least_drawn_m"
    )),
])  # fmt: skip
"""Book, aim and line for the compiled formulas (m, rad): `first` point of the line among the bucket's, and the one that
corrections are for; NaN where not known."""

DESK = (
    "ends", "records", "limits", "rows", "bars", "cylinders", "spans", "edge", "given", "said", "q", "row", "parts",
    "axes", "moves", "told", "numbers", "choices", "trust_desk", "trust_whole",
)  # fmt: skip
"""The arrays that `fill` works on, in this order on one desk: first where each of the others begins and ends, in bytes;
of a `Trust` the last two, empty without one."""


@compiled
def fill(address: int, says: NDArray[np.float64]) -> bool:
    """`fill_leaf`, and behind its numbers and choices how far to trust them where there is a trust.

    A call pays for each array that it is handed, and most for those of records: so it is handed the desk's address.
    `says`: what the sensors say, rad or m.
    """
    ends = bytes_at(address, 16 * (len(DESK) - 1)).view(np.int64).reshape((-1, 2))
    desk = bytes_at(address, ends[18, 1])
    still = kept_as_it_is(desk)  # of one type with what other callers hand to the same formulas
    records, limits = still[ends[0, 0] : ends[0, 1]].view(RECORD), floats(still, ends[1])
    rows, bars = still[ends[2, 0] : ends[2, 1]].view(SENSED), still[ends[3, 0] : ends[3, 1]].view(BAR)
    cylinders, spans = still[ends[4, 0] : ends[4, 1]].view(CYLINDER), floats(still, ends[5]).reshape((-1, 2))
    edge, given = floats(still, ends[6]).reshape((-1, 3)), desk[ends[7, 0] : ends[7, 1]].view(AGAINST)
    said, q, row = floats(desk, ends[8]), floats(desk, ends[9]), floats(desk, ends[10])
    parts, axes = floats(desk, ends[11]).reshape((-1, 3)), floats(desk, ends[12]).reshape((-1, 6))
    moves, told = floats(desk, ends[13]), desk[ends[14, 0] : ends[14, 1]].view(ADVICE)
    numbers, choices = floats(desk, ends[15]), desk[ends[16, 0] : ends[16, 1]]
    said[:] = says
    if not fill_leaf(
        records, limits, rows, bars, cylinders, spans, edge, given, said, q, row, parts, axes, moves, told,
        numbers[: len(NUMBERS)], choices[: len(CHOICES)],
    ):  # fmt: skip
        return False
    if ends[17, 0] == ends[17, 1]:
        return True
    return fill_trust(
        rows, bars, cylinders, said, q, records, floats(desk, ends[17]),
        desk[ends[18, 0] : ends[18, 1]].view(np.int64), numbers[len(NUMBERS) :], choices[len(CHOICES) :],
    )  # fmt: skip


@compiled
def floats(desk: NDArray[np.uint8], ends: NDArray[np.int64]) -> NDArray[np.float64]:
    """The numbers between two places of a desk."""
    return desk[ends[0] : ends[1]].view(np.float64)


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
    point = g["corrected"]
    plane = (g["target"] - g["origin"], 0.0, parts[point, 0], 0.0, parts[point, 1])
    correct_joints(q, spans, bars, cylinders, parts, axes, moves, told, TILT, point, plane)
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
        sides = side_of(one["move"], g["least_rad"])
        if i != TILT:
            sides += 4 * side_of(one["drawn"], g["least_drawn_m"]) + 16 * side_of(one["off_by"], g["least_m"])
        choices[at + 4] = sides


@compiled
def side_of(value: float, least: float) -> int:
    """What a sentence about a value hangs on besides its figure: 1 where it is positive, and 2 more where it is less than
    what is told at least; 0 of NaN. 0.001 where 0.002 is the least: 3.
    """
    return int(value > 0.0) + 2 * int(abs(value) < least)
