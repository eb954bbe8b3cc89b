"""Everything that was seen told once more with other zeros and dimensions, compiled: readings to heights and lines, and
how these move with every source, zero and skew at the same readings."""

import math

import numpy as np
from numpy.typing import NDArray

from . import chain
from .compiled import compiled, kept_as_it_is
from .drive_block import Records
from .linkage import wrapped
from .machine import Point
from .maps import place
from .parameters import NAMES
from .place_rates import FIRST, JOINTS, RECEIVER, edge_rates, receiver_rates
from .sensing_block import (
    ABSENT,
    ANGLES,
    AT_BUCKET,
    AT_PITCH,
    AT_ROLL,
    AT_SWING,
    AT_TILT,
    BOTH,
    ENCODER,
    INCLINATION,
    ITSELF,
    WIRE,
    about_of,
    along_of,
    sense,
    up_of,
)
from .sensing_gravity import cross, dot, on_link, plumb_of, swung
from .sensing_rates import sensed_rates, turned_so, value_that_fits
from .trials_block import add_errors
from .trust_rates import source_rates

HEIGHT, BODY_PITCH, BODY_ROLL, LEVEL, PLUMB = range(5)
"""What an observation is of: a point's height, a level on the body, a level or a plumb line on a link."""
TURNS = 3
"""Of a mounting: nose up, left up, to the left."""
CASE = 11
"""What is handed of a mounting that is looked for: its axes as `sensing_block` has them (along, aside, up), sine and
cosine of left_up."""
_CENTRE_X, _CENTRE_Z = NAMES.index("centre_x"), NAMES.index("centre_z")
Floats = NDArray[np.float64]
Whole = NDArray[np.int64]


@compiled
def mount(rows: Records, which: int, case: Floats) -> None:
    """Set the axes of one row's case."""
    s = rows[which]
    s["along_x"], s["along_y"], s["along_z"] = case[0], case[1], case[2]
    s["aside_x"], s["aside_y"], s["aside_z"] = case[3], case[4], case[5]
    s["up_x"], s["up_y"], s["up_z"] = case[6], case[7], case[8]


@compiled
def axis_moves(case: Floats, turn: int, v: Point) -> Point:
    """d (a direction fixed in a case) / d one of `TURNS`, both as its link has them."""
    if turn == 0:  # about the link's right
        return -v[2], 0.0, v[0]
    y, z = (case[3], case[4], case[5]), (case[6], case[7], case[8])
    if turn == 1:
        return cross(cross(y, z), v)
    si, co = case[9], case[10]
    return cross((si * y[0] + co * z[0], si * y[1] + co * z[1], si * y[2] + co * z[2]), v)


@compiled
def reads_so(s: np.void, case: Floats, turn: int, said: Floats, n: Point) -> tuple[float, float]:
    """By how much more a sensor of gravity would have to say for the same effect on what is told as one more rad of one
    of `TURNS` of its case, at plumb n in its link. A boom's, square, nose up: -1."""
    at, along, up = s["at"], along_of(s), up_of(s)
    if s["kind"] == BOTH:
        x, y, z = plumb_of(s["sign"] * said[at], s["side_sign"] * said[at + 1])
        aside = (s["aside_x"], s["aside_y"], s["aside_z"])
        v = (
            along[0] * x + aside[0] * y + up[0] * z,
            along[1] * x + aside[1] * y + up[1] * z,
            along[2] * x + aside[2] * y + up[2] * z,
        )
        moves = axis_moves(case, turn, v)
        dx, dy, dz = dot(along, moves), dot(aside, moves), dot(up, moves)
        square = y * y + z * z
        return s["sign"] * dx / math.sqrt(square), s["side_sign"] * (z * dy - y * dz) / square
    told = s["sign"] * said[at]
    ahead = dot(axis_moves(case, turn, along), n)
    if s["kind"] == INCLINATION:
        return -s["sign"] * ahead / math.cos(told), 0.0
    si, co = math.sin(told), math.cos(told)
    over = dot(axis_moves(case, turn, up), n)
    half = si * dot(along, n) + co * dot(up, n)
    return -s["sign"] * (co * ahead - si * over) / half, 0.0


@compiled
def write_turned(
    rows: Records, bars: Records, cylinders: Records, said: Floats, q: Floats, mounted: Whole, cases: Floats, by: Floats,
    out: Floats,
) -> None:  # fmt: skip
    """d what is told / d each of `TURNS` of each case looked for into `out`, from its rates `by` each number said.

    `mounted` (m,): the row of each; `cases` (`CASE` m,).
    """
    n = plumb_of(q[AT_PITCH], q[AT_ROLL])
    before = 0.0
    for i in range(len(ANGLES)):
        s = rows[i]
        if s["kind"] == ABSENT:
            continue
        link = n
        if i >= AT_SWING:
            taken = before + s["held"]
            if i == AT_TILT:
                n = on_link(n, taken)
                taken = 0.0
            if s["kind"] != ENCODER and s["kind"] != WIRE:
                value = q[i]
                if s["through"] != ITSELF:
                    value = value_that_fits(s, bars[0], cylinders, said, n, taken, q[i])
                link = turned_so(about_of(s), -math.sin(value + taken), math.cos(value + taken), n)
        for k in range(mounted.shape[0]):
            if mounted[k] == i:
                for turn in range(TURNS):
                    one, other = reads_so(s, cases[CASE * k : CASE * (k + 1)], turn, said, link)
                    told = by[s["at"]] * one
                    if s["kind"] == BOTH:
                        told += by[s["at"] + 1] * other
                    out[TURNS * k + turn] = told
        if i == AT_SWING:
            n = swung(n, q[i])
        elif AT_SWING < i <= AT_BUCKET:
            before += q[i]


@compiled
def line_told(kind: int, links: int, edge: int, aim: float, flat: Floats, q: Floats, row: Floats) -> float:
    """What a line reads (rad) at these angles, its rates by `place_rates.COLUMNS` into `row`: a level its inclination, a
    plumb line how far the link is turned from `aim`, as seen from plumb. `links`: how many of the arm's joints turn it;
    `edge`: 1 for the line to the edge's centre."""
    row[:] = 0.0
    x, y, z = plumb_of(q[AT_PITCH], q[AT_ROLL])
    sp, cp = x, math.cos(q[AT_PITCH])
    sr, cr = math.sin(q[AT_ROLL]), math.cos(q[AT_ROLL])
    if kind == BODY_PITCH:
        row[AT_PITCH] = 1.0
        return float(q[AT_PITCH])
    if kind == BODY_ROLL:
        over = math.sqrt(1.0 - y * y)
        row[AT_PITCH], row[AT_ROLL] = -sp * sr / over, z / over
        return math.asin(y)
    si, co = math.sin(q[AT_SWING]), math.cos(q[AT_SWING])
    mx, my, mz = swung((x, y, z), q[AT_SWING])
    angle = 0.0
    for i in range(links):
        angle += q[AT_SWING + 1 + i]
    ex, ez = flat[_CENTRE_X], flat[_CENTRE_Z]
    if edge != 0:
        angle += math.atan2(ez, ex)
    sa, ca = math.sin(angle), math.cos(angle)
    # d plumb in the arm's plane / d pitch, roll, swing: x, then z.
    px, pz = cp * co - sp * sr * si, -sp * cr
    rx, rz = cp * cr * si, -cp * sr
    if kind == LEVEL:
        sine = ca * mx + sa * mz
        over = 1.0 / math.sqrt(1.0 - sine * sine)
        by_angle, by_x, by_z = (ca * mz - sa * mx) * over, ca * over, sa * over
        told = math.asin(sine)
    else:
        square = mx * mx + mz * mz
        by_angle, by_x, by_z = 1.0, mz / square, -mx / square
        told = wrapped(angle + math.atan2(mx, mz) - aim, 0.0)
    row[AT_PITCH], row[AT_ROLL] = by_x * px + by_z * pz, by_x * rx + by_z * rz
    row[AT_SWING] = by_x * my
    for i in range(links):
        row[AT_SWING + 1 + i] = by_angle
    if edge != 0:
        reach = ex * ex + ez * ez
        row[JOINTS + _CENTRE_X], row[JOINTS + _CENTRE_Z] = -by_angle * ez / reach, by_angle * ex / reach
    return told


@compiled
def fill_seen(
    desk: Floats, bases: Floats, saids: Floats, rows: Records, bars: Records, cylinders: Records, records: Records,
    flat: Floats, changes: Floats, into: Whole, weights: Floats, mounted: Whole, seconds: Whole, cases: Floats,
    what: Whole, aims: Floats, case_of: Whole, between: Whole, worn: Floats, pins: Floats, work: Floats, qs: Floats,
    told: Floats, rates: Floats, turned: Floats,
) -> int:  # fmt: skip
    """Fill `qs` (N * `ANGLES`, rad), `told` (N,), `rates` (N * sources,) and `turned` (N * `TURNS` * cases,) of N
    observations; 0, or 1 + which has no geometry any more.

    `desk` begins each as its part of `bases`; `rows`, `bars`, `cylinders`, `records` (as numbers `flat`) are views of it.
    `changes` fall on it as `into`, `weights` say (`add_errors`); `mounted`, `seconds` (-1: none): the rows of each case
    that is looked for, `cases` how it sits now. `what` (3 N,): kind, point or how many links, whether to the edge;
    `aims` (N,) of plumb lines; `case_of`, `between` as `trust_rates.source_rates`; `worn` (3 N,), `pins` (N,) of each.
    """
    count = told.shape[0]
    n, size, width = saids.shape[0] // count, desk.shape[0], rates.shape[0] // count
    held = mounted.shape[0]
    columns = work.shape[0] - n - JOINTS - len(NAMES)
    by_width = columns // (JOINTS + 4)
    dq, dn = work[: JOINTS * by_width], work[JOINTS * by_width : (JOINTS + 3) * by_width]
    by = work[(JOINTS + 3) * by_width : (JOINTS + 4) * by_width]
    skew, row = work[columns : columns + n], work[columns + n :]
    # Of one type with what other callers hand to the same formulas: these are not compiled for both.
    read, links, rams = kept_as_it_is(rows), kept_as_it_is(bars), kept_as_it_is(cylinders)
    for i in range(count):
        desk[:] = bases[i * size : (i + 1) * size]
        add_errors(desk, changes, into, weights)
        for k in range(held):
            mount(rows, mounted[k], cases[CASE * k : CASE * (k + 1)])
            if seconds[k] >= 0:
                mount(rows, seconds[k], cases[CASE * k : CASE * (k + 1)])
        said, q = saids[i * n : (i + 1) * n], qs[i * len(ANGLES) : (i + 1) * len(ANGLES)]
        if sense(read, links, rams, said, q) != 0:
            return 1 + i
        if not sensed_rates(read, links, rams, said, q, dq, dn, by, skew):
            return 1 + i
        kind, point = what[3 * i], what[3 * i + 1]
        one = point
        if kind == HEIGHT:
            m = records[0]
            t = chain.turns(q[0], q[1], q[2], q[3], q[4], q[5], q[6], q[7], q[8])
            fixed = chain.steps(m)
            found = chain.frames(m, fixed, t)
            at = FIRST[point]
            if point == RECEIVER:
                receiver_rates(m, flat, t, found, row)
                told[i] = place(chain.level_after(found[0], found[1]), flat[at], flat[at + 1], flat[at + 2])[
                    2
                ]
            else:
                edge_rates(m, flat, fixed, t, found, point, point, (0.0, 0.0, 1.0), row)
                told[i] = place(chain.level_after(found[0], found[2]), flat[at], flat[at + 1], flat[at + 2])[
                    2
                ]
        else:
            one = 0
            told[i] = line_told(kind, point, what[3 * i + 2], aims[i], flat, q, row)
        back = worn[3 * i], worn[3 * i + 1], worn[3 * i + 2]
        source_rates(
            row, dq, skew, case_of, between, one, one, back, pins[i], by, rates[i * width : (i + 1) * width]
        )
        write_turned(
            read,
            links,
            rams,
            said,
            q,
            mounted,
            cases,
            by,
            turned[i * TURNS * held : (i + 1) * TURNS * held],
        )
    return 0
