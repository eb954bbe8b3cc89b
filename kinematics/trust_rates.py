"""Rates of a readout's heights and cross-slope by every source of uncertainty, compiled."""

import math

import numpy as np
from numpy.typing import NDArray

from . import chain
from .compiled import compiled
from .drive_block import Records
from .maps import Vector
from .outputs import cross_slope_forces
from .parameters import NAMES
from .place_rates import FIRST, JOINTS, RECEIVER, edge_rates, receiver_rates
from .sources import FLEX, PLAY, SLOP, WEAR
from .through_rates import BETWEEN

Floats = NDArray[np.float64]
Whole = NDArray[np.int64]

ROWS = 7
"""Rows of rates: elevation at left, centre, right; the same against the target; the cross-slope."""
CUT, SLOPE = 3, 6
_BETWEEN = np.array([NAMES.index(name) for name in BETWEEN])
_COUPLER, _POWER_LINK = NAMES.index("coupler_angle"), NAMES.index("power_link_length")
_LINKAGE_PINS = 2.0  # of the three pins of idler and power link two lie in the way from idler to bucket


@compiled
def source_rates(
    row: Floats, dq: Floats, skew: Floats, case: Whole, between: Whole, one: int, other: int, back: Vector, pins: float,
    by: Floats, out: Floats,
) -> None:  # fmt: skip
    """From an output's rates by joints and parameters (`place_rates.COLUMNS`) to those by every source (`sources`).

    `dq`, `skew` of `sensed_rates`; `case` (n,): of each number the first of its sensor; `between`: which of `BETWEEN`
    count; `one`, `other`: the points it hangs on (alike: a height); `back`: where a worn edge has gone, in the bucket's
    frame; `pins`: how many let it drop; `by` (n + `BETWEEN`,) is worked on.
    """
    n = skew.shape[0]
    first = 4 * n
    w = by.shape[0]
    a, b, c, d, e, f, g, h, i = row[0], row[1], row[2], row[3], row[4], row[5], row[6], row[7], row[8]
    for k in range(w):  # of all nine joints at once: a sum joint by joint goes through memory nine times
        by[k] = (
            a * dq[k] + b * dq[w + k] + c * dq[2 * w + k] + d * dq[3 * w + k] + e * dq[4 * w + k] + f * dq[5 * w + k]
            + g * dq[6 * w + k] + h * dq[7 * w + k] + i * dq[8 * w + k]
        )  # fmt: skip
    for k in range(n):
        out[k] = out[2 * n + k] = out[3 * n + k] = by[k]
        out[n + k] = 0.0
    for k in range(n):
        out[n + case[k]] += by[k] * skew[k]
    for j in range(len(NAMES)):
        out[first + j] = row[JOINTS + j]
    for used in between:
        out[first + _BETWEEN[used]] += by[n + used]
    worn = 0.0
    for axis in range(3):
        worn += row[JOINTS + FIRST[one] + axis] * back[axis]
        if other != one:
            worn += row[JOINTS + FIRST[other] + axis] * back[axis]
    gives = first + len(NAMES)
    by_link = out[first + _POWER_LINK]
    out[gives + WEAR] = worn
    out[gives + SLOP] = math.sqrt(pins + _LINKAGE_PINS * by_link * by_link)
    out[gives + PLAY] = out[first + _COUPLER]
    out[gives + FLEX] = 1.0 if pins > 0.0 else 0.0


@compiled
def write_rates(
    records: Records, flat: Floats, q: Floats, dq: Floats, skew: Floats, case: Whole, between: Whole, left: int,
    back: Vector, pins: float, fall: tuple[float, float], row: Floats, by: Floats, rates: Floats,
) -> None:  # fmt: skip
    """`ROWS` rows of rates, by every source, of everything that is told of a line whose left end is the point `left`; of
    the receiver the first alone.

    `fall` (ahead, left): slopes of the target in the level frame, against which the edge's place there counts; the rows
    of the cut are left alone where it has none.
    """
    m, size = records[0], rates.shape[0] // ROWS
    t = chain.turns(q[0], q[1], q[2], q[3], q[4], q[5], q[6], q[7], q[8])
    fixed = chain.steps(m)
    found = chain.frames(m, fixed, t)
    if left == RECEIVER:
        receiver_rates(m, flat, t, found, row)
        source_rates(row, dq, skew, case, between, left, left, back, pins, by, rates[:size])
        return
    slope = slope_force(flat, found, left)
    sloping = fall[0] != 0.0 or fall[1] != 0.0
    for row_of in range(ROWS):
        if CUT <= row_of < SLOPE and not sloping:
            continue
        one = left + row_of % CUT
        other, force, drops = one, (0.0, 0.0, 1.0), pins
        if row_of == SLOPE:
            one, other, force, drops = left + 2, left, slope, 0.0
        elif row_of >= CUT:
            force = (-fall[0], -fall[1], 1.0)
        edge_rates(m, flat, fixed, t, found, one, other, force, row)
        out = rates[row_of * size : (row_of + 1) * size]
        source_rates(row, dq, skew, case, between, one, other, back, drops, by, out)


@compiled
def slope_force(flat: Floats, found: chain.Frames, left: int) -> Vector:
    """What the cross-slope of a line puts on its right end, the opposite on its left."""
    i, j = FIRST[left], FIRST[left + 2]
    held = chain.level_after(found[0], found[2])
    x, y, z = flat[i] - flat[j], flat[i + 1] - flat[j + 1], flat[i + 2] - flat[j + 2]
    return cross_slope_forces(
        held[0] * x + held[1] * y + held[2] * z, held[3] * x + held[4] * y + held[5] * z,
        held[6] * x + held[7] * y + held[8] * z,
    )  # fmt: skip
