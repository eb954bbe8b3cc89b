"""One place of a chain measured again and again with drawn errors, compiled: readings, cases and dimensions to a height,
each time through the formulas themselves, not through rates.
"""

import math

import numpy as np
from numpy.typing import NDArray

from . import chain
from .compiled import compiled, kept_as_it_is
from .drive_block import Records
from .maps import place
from .sensing_block import sense
from .sensing_gravity import cross

Floats = NDArray[np.float64]
Whole = NDArray[np.int64]
RECEIVER = -1
"""In place of a line's ends: the point hangs on the stick."""


@compiled
def skew_case(s: np.void, angle: float) -> None:
    """Turn a case about its own up axis by an angle (rad), its nose to the left."""
    up = s["up_x"], s["up_y"], s["up_z"]
    sine, cosine = math.sin(angle), math.cos(angle)
    x, y, z = s["along_x"], s["along_y"], s["along_z"]
    a, b, c = cross(up, (x, y, z))
    s["along_x"], s["along_y"], s["along_z"] = (
        cosine * x + sine * a,
        cosine * y + sine * b,
        cosine * z + sine * c,
    )
    x, y, z = s["aside_x"], s["aside_y"], s["aside_z"]
    a, b, c = cross(up, (x, y, z))
    s["aside_x"], s["aside_y"], s["aside_z"] = (
        cosine * x + sine * a,
        cosine * y + sine * b,
        cosine * z + sine * c,
    )


@compiled
def add_errors(desk: Floats, drawn: Floats, into: Whole, weights: Floats) -> None:
    """Add weight times an error to each place of the desk that it falls on; `into` (2 k,): which error, which place."""
    for k in range(weights.shape[0]):
        desk[into[2 * k + 1]] += weights[k] * drawn[into[2 * k]]


@compiled
def fill_places(
    desk: Floats, base: Floats, said: Floats, rows: Records, bars: Records, cylinders: Records, records: Records,
    flat: Floats, lasting: Floats, lasting_into: Whole, lasting_weights: Floats, own: Floats, own_into: Whole,
    own_weights: Floats, skewed: Whole, ends: Whole, q: Floats, out: Floats,
) -> int:  # fmt: skip
    """Fill `out`, four numbers a draw: level place (m) of a point, and the cross-slope of its line; how many draws have
    no geometry, whose numbers are NaN.

    `said`, `rows`, `bars`, `cylinders`, `records` (as numbers `flat`) are views of one `desk`, which begins each draw as
    `base`. `lasting` (draws * k,), `own` (draws * j,): errors, what falls where as in `add_errors`. `skewed` (2 s,):
    which lasting error is the skew of which row's case; a case thought skewed by an error gives what a reading of the
    opposite skew gives. `ends`: where in `parameters.NAMES` the point's, left and right corner's x stand, `RECEIVER`
    of those for the receiver.
    """
    draws = out.shape[0] // 4
    k, j = lasting.shape[0] // draws, own.shape[0] // draws
    lost = 0
    at, left, right = ends[0], ends[1], ends[2]
    # Of one type with what other callers hand to the same formulas: these are not compiled for both.
    read, links, rams = kept_as_it_is(rows), kept_as_it_is(bars), kept_as_it_is(cylinders)
    for draw in range(draws):
        desk[:] = base
        held = lasting[draw * k : (draw + 1) * k]
        add_errors(desk, held, lasting_into, lasting_weights)
        add_errors(desk, own[draw * j : (draw + 1) * j], own_into, own_weights)
        for s in range(skewed.shape[0] // 2):
            skew_case(rows[skewed[2 * s + 1]], -held[skewed[2 * s]])
        into = out[4 * draw : 4 * draw + 4]
        into[:] = math.nan
        if sense(read, links, rams, said, q) != 0:
            lost += 1
            continue
        m = records[0]
        found = chain.frames(
            m, chain.steps(m), chain.turns(q[0], q[1], q[2], q[3], q[4], q[5], q[6], q[7], q[8])
        )
        if left == RECEIVER:
            into[0], into[1], into[2] = place(
                chain.level_after(found[0], found[1]), flat[at], flat[at + 1], flat[at + 2]
            )
            into[3] = 0.0
            continue
        held_so = chain.level_after(found[0], found[2])
        into[0], into[1], into[2] = place(held_so, flat[at], flat[at + 1], flat[at + 2])
        lx, ly, lz = place(held_so, flat[left], flat[left + 1], flat[left + 2])
        rx, ry, rz = place(held_so, flat[right], flat[right + 1], flat[right + 2])
        into[3] = (rz - lz) / math.hypot(lx - rx, ly - ry)
    return lost
