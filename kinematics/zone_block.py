"""How uncertain the height of one point is in each of many poses, compiled: the sum of `trust_block` for a whole zone."""

import numpy as np
from numpy.typing import NDArray

from . import chain
from .chain import POINTS
from .compiled import compiled
from .drive_block import Records
from .maps import Vector
from .place_rates import edge_rates
from .said_block import say
from .sensing_block import ANGLES, sense
from .sensing_rates import sensed_rates
from .shares import write_shares
from .sources import KINDS, Kind
from .trust_rates import source_rates

Floats = NDArray[np.float64]
Whole = NDArray[np.int64]
Bytes = NDArray[np.uint8]

STATUS = ("ok", "out-of-reach", "beyond-joint", "not-sensed", "dead-centre")
"""What a cell's status means. "not-sensed": the sensors cannot tell this pose, so that there would be no readout."""
OK, OUT_OF_REACH, BEYOND, NOT_SENSED, DEAD = range(len(STATUS))
OF_SENSORS = (Kind.ZEROS, Kind.SKEW, Kind.NOISE, Kind.TEMPERATURE)
SENSORS = len(OF_SENSORS)
"""So many of `KINDS`, the first, are the sensors' own."""
CENTRE = POINTS.index("centre")
_SAME_RAD = 1e-6
"""So near to the pose that was meant must lie what the sensors tell; they differ by roundings, or by a whole branch."""


@compiled
def angles_differ(one: Floats, other: Floats) -> bool:
    """Whether two rows of angles are two poses."""
    apart = 0.0
    for i in range(len(ANGLES)):
        apart = max(apart, abs(one[i] - other[i]))
    return not apart <= _SAME_RAD


@compiled
def divided(
    c: Floats, standard: Floats, root: Floats, kinds: Whole, rest: Floats, spread: Floats, shares: Floats, other: Floats,
    parts: Floats,
) -> tuple[float, float, float]:  # fmt: skip
    """(variance through all sources at rates `c` and `rest`, of it by the sensors alone, by all else alone), m2.

    `parts` (`KINDS`,) filled: the variance by kind. What correlations share between a sensor and all else is neither's.
    """
    many = c.shape[0]
    whole = sensors = others = 0.0
    for turn in range(3 if root.shape[0] > 0 else 1):
        for i in range(many):
            counts = turn == 0 or (turn == 1) == (kinds[i] < SENSORS)
            other[i] = c[i] if counts else 0.0
        write_shares(other, standard, root, spread, shares)
        mine = theirs = 0.0
        for i in range(many):
            if kinds[i] < SENSORS:
                mine += shares[i]
            else:
                theirs += shares[i]
        if turn == 0:
            whole, sensors, others = max(mine + theirs, 0.0), mine, theirs
            parts[:] = rest
            for i in range(many):
                parts[kinds[i]] += shares[i]
        elif turn == 1:
            sensors = max(mine, 0.0)
        else:
            others = max(theirs, 0.0)
    for k in range(len(KINDS)):
        whole += rest[k]
        if k < SENSORS:
            sensors += rest[k]
        else:
            others += rest[k]
    return whole, sensors, others


@compiled
def fill_zone(
    rows: Records, bars: Records, cylinders: Records, records: Records, flat: Floats, q: Floats, case: Whole,
    between: Whole, back: Vector, pins: float, owed: Floats, standard: Floats, root: Floats, kinds: Whole, rest: Floats,
    width: int, n: int, out: Floats, largest: Bytes, status: Bytes, first: int, last: int,
) -> None:  # fmt: skip
    """Cells `first` to `last` of a zone, whose angles lie row by row in `q` (cells * 9,) where `status` is OK.

    `owed` (sources,): what the chain owes to each; `rest` (`KINDS`,) what it owes to all else (m2); `width`, `n`: columns
    of `sensed_rates` and numbers said. Into `out` (3 * cells,): the variance of the elevation (m2), of it what hangs on
    the sensors alone, and on all else alone; NaN where status says why. `largest`: of `KINDS` the largest part.
    """
    m = records[0]
    fixed = chain.steps(m)
    many, angles = standard.shape[0], len(ANGLES)
    said, again = np.empty(n), np.empty(angles)
    dq, dn, before_by, by = np.empty(angles * width), np.empty(3 * width), np.empty(width), np.empty(width)
    skew, row, rates = np.empty(n), np.empty(angles + flat.shape[0]), np.empty(many)
    shares, other, spread = np.empty(many), np.empty(many), np.empty(root.shape[0] // many)
    parts = np.empty(len(KINDS))
    for cell in range(first, last):
        out[3 * cell : 3 * cell + 3] = np.nan
        if status[cell] != OK:
            continue
        at = q[angles * cell : angles * cell + angles]
        say(rows, bars, cylinders, at, said)
        if sense(rows, bars, cylinders, said, again) != 0 or angles_differ(at, again):
            status[cell] = NOT_SENSED
            continue
        if not sensed_rates(rows, bars, cylinders, said, at, dq, dn, before_by, skew):
            status[cell] = DEAD
            continue
        t = chain.turns(at[0], at[1], at[2], at[3], at[4], at[5], at[6], at[7], at[8])
        edge_rates(m, flat, fixed, t, chain.frames(m, fixed, t), CENTRE, CENTRE, (0.0, 0.0, 1.0), row)
        source_rates(row, dq, skew, case, between, CENTRE, CENTRE, back, pins, by, rates)
        for i in range(many):
            rates[i] += owed[i]
        out[3 * cell], out[3 * cell + 1], out[3 * cell + 2] = divided(
            rates, standard, root, kinds, rest, spread, shares, other, parts
        )
        largest[cell] = np.argmax(parts)
