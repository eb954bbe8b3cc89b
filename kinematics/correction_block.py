"""How far one joint alone would have to move, as compiled formulas that never raise: the one source of `corrections`.

A joint turns the bucket about one axis by the right hand; whatever is linear in its places then follows
base + a cos t + b sin t (Rodrigues), so that both answers and the nearest approach are exact.
"""

import math
from dataclasses import dataclass
from typing import NamedTuple, get_type_hints

import numpy as np
from numpy.typing import NDArray

from . import chain
from .assembly import Assembly
from .chain import body_from_arm, level_from_body, levelled
from .compiled import compiled
from .drive_block import BUCKET, Records, bar_row, cylinder_rows, length_at
from .linkage import OK
from .maps import Vector, after, direction, lifted, place
from .parameters import BUCKET_POINTS, EDGE_POINTS
from .trig import sincos

ADVISED = ("boom", "fore_boom", "stick", "bucket", "tilt")
TILT = ADVISED.index("tilt")
# A nanometre, or as much of a slope: rounding, far below what a lever does.
REACHED = 1e-9
# Parts that stand alike to this (m) are told by the first: rounding of a few metres must not choose among them.
ALIKE_M = 1e-12
# Where a wave is 0 or turns back, five turns round; no move and the ends of the room besides.
MOVES = 4 * 5 + 3


class Advice(NamedTuple):
    """What one joint would do (m, rad); see `corrections.Correction`.

    `told` 0 of one that the machine lacks. `drawn`: the cylinder's change of length, NaN without one; `undrawn`: the
    status where it has no length. Then `deepest` (of `Levers.parts`) stands `below` the plane, `lowest` at `low_height`
    over the body origin. `slope`: the tilt's cross-slope, NaN of the others.
    """

    told: int
    reaches: int
    deepest: int
    lowest: int
    undrawn: int
    move: float
    angle: float
    drawn: float
    off_by: float
    reach: float
    slope: float
    below: float
    low_height: float


ADVICE = np.dtype([(name, np.dtype(kind)) for name, kind in get_type_hints(Advice).items()])
"""The same as a record."""
COUPLER = len(ADVISED)
"""The row of `write_axes` behind those of `ADVISED`: the pin about which a bucket rocks in its coupler."""
CROSS_SLOPE = len(ADVISED)
"""The row of told advice behind those of `ADVISED`: the tilt for a cross-slope."""
Plane = tuple[float, float, float, float, float]
"""(height, forward, reach, left, lateral): height + forward (x - reach) + left (y - lateral) in the level frame."""
Wave = tuple[float, float, float]
Axis = tuple[float, float, float, float, float, float]
Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class Levers:
    """What the corrections of one assembly need besides its parameters; made once.

    `parts`: names of edge, teeth, heel and of every vertex of an edge with more than three, rows of `write_parts`;
    `spans`: ranges (rad) of `ADVISED`, NaN of one that is not there, shape (5, 2); `edge`: those vertices in the bucket's
    own frame (m), shape (n, 3).
    """

    parts: tuple[str, ...]
    spans: Floats
    edge: Floats
    bar: NDArray[np.void]
    cylinders: NDArray[np.void]


def levers(assembly: Assembly) -> Levers:
    """The `Levers` of an assembly."""
    spans = np.full((len(ADVISED), 2), math.nan)
    for i, joint in enumerate(ADVISED):
        if joint in assembly.ranges:
            spans[i] = assembly.ranges[joint].low, assembly.ranges[joint].high
    vertices = assembly.attachment.edge
    edge = np.array(vertices if len(vertices) > len(EDGE_POINTS) else np.empty((0, 3)), dtype=np.float64)
    for each in (spans, edge):
        each.flags.writeable = False
    names = (*BUCKET_POINTS, *(f"edge_{i}" for i in range(len(edge))))
    return Levers(names, spans, edge, bar_row(assembly), cylinder_rows(assembly))


def desk(of: Levers) -> tuple[Floats, Floats, Floats, NDArray[np.void]]:
    """Arrays to work on: `parts` (level places), `axes`, `moves` and `told`: one `ADVICE` a joint, then `CROSS_SLOPE`'s,
    nothing told yet."""
    return (
        np.empty((len(of.parts), 3)), np.empty((COUPLER + 1, 6)), np.empty(MOVES),
        np.zeros(CROSS_SLOPE + 1, dtype=ADVICE),
    )  # fmt: skip


@compiled
def write_parts(row: Floats, edge: Floats, parts: Floats) -> None:
    """Level places (m) of `Levers.parts` from a row of results; NaN of a tooth that is not there."""
    for i in range(len(BUCKET_POINTS)):
        for k in range(3):
            parts[i, k] = row[chain.LEVEL + 3 * i + k]
    if edge.shape[0] == 0:
        return
    f = chain.BODY_FROM_BUCKET
    body = (
        row[f], row[f + 1], row[f + 2], row[f + 3], row[f + 4], row[f + 5], row[f + 6], row[f + 7], row[f + 8],
        row[f + 9], row[f + 10], row[f + 11],
    )  # fmt: skip
    g = chain.LEVEL_FROM_BODY
    level = (
        row[g], row[g + 1], row[g + 2], row[g + 3], row[g + 4], row[g + 5], row[g + 6], row[g + 7], row[g + 8],
        0.0, 0.0, 0.0,
    )  # fmt: skip
    for i in range(edge.shape[0]):
        x, y, z = place(body, edge[i, 0], edge[i, 1], edge[i, 2])
        x, y, z = levelled(level, x, y, z)
        parts[len(BUCKET_POINTS) + i, 0] = x
        parts[len(BUCKET_POINTS) + i, 1] = y
        parts[len(BUCKET_POINTS) + i, 2] = z


@compiled
def lowest_of(parts: Floats) -> int:
    """The row of the lowest part, the first of those alike."""
    lowest = 0
    for i in range(1, parts.shape[0]):
        if parts[i, 2] < parts[lowest, 2] - ALIKE_M:
            lowest = i
    return lowest


@compiled
def write_axis(axes: Floats, index: int, at: Vector, along: Vector) -> None:
    """Put an axis, a point on it and its unit direction, into row `index`."""
    for k in range(3):
        axes[index, k] = at[k]
        axes[index, 3 + k] = along[k]


@compiled
def write_axes(records: Records, q: Floats, axes: Floats) -> None:
    """The axes of `ADVISED`, then of `COUPLER`, in the level frame, shape (6, 6); of a part that is not there it means
    nothing.

    Positive angles turn by the right hand.
    """
    m = records[0]
    arm = after(level_from_body(q[0], q[1]), body_from_arm(m, q[2]))
    across = direction(arm, 0.0, -1.0, 0.0)  # boom, stick and bucket rise about it
    lengths = m["boom_length"], m["fore_boom_length"], m["stick_length"], 0.0
    x = 0.0
    z = 0.0
    turned = 0.0
    for i in range(4):
        write_axis(axes, i, place(arm, x, 0.0, z), across)
        turned += q[3 + i]
        s, c = sincos(turned)
        x += lengths[i] * c
        z += lengths[i] * s
    coupler = lifted(m["coupler_angle"], m["coupler_x"], 0.0, m["coupler_z"])
    at = place(coupler, m["tilt_point_x"], m["tilt_point_y"], m["tilt_point_z"])
    along = direction(coupler, m["tilt_axis_x"], m["tilt_axis_y"], m["tilt_axis_z"])
    hitch = after(arm, lifted(turned, x, 0.0, z))
    write_axis(axes, TILT, place(hitch, at[0], at[1], at[2]), direction(hitch, along[0], along[1], along[2]))
    write_axis(axes, COUPLER, place(hitch, m["coupler_x"], 0.0, m["coupler_z"]), across)


@compiled
def axis_of(axes: Floats, index: int) -> Axis:
    """One row of `write_axes`."""
    return (
        axes[index, 0], axes[index, 1], axes[index, 2], axes[index, 3], axes[index, 4], axes[index, 5],
    )  # fmt: skip


@compiled
def turning(lever: Vector, axis: Axis) -> tuple[Wave, Wave, Wave]:
    """x, y and z of `lever` (m) as it turns about an axis, each as (base, a, b)."""
    u = axis[3]
    v = axis[4]
    w = axis[5]
    x, y, z = lever
    along = u * x + v * y + w * z
    return (
        (u * along, x - u * along, v * z - w * y),
        (v * along, y - v * along, w * x - u * z),
        (w * along, z - w * along, u * y - v * x),
    )


@compiled
def wave_at(wave: Wave, t: float) -> float:
    """The value of a wave after a move t (rad)."""
    s, c = sincos(t)
    return wave[0] + wave[1] * c + wave[2] * s


@compiled
def write_moves(wave: Wave, least: float, most: float, moves: Floats) -> int:
    """How many moves (rad) there are from least to most that make a wave 0 or may bring it nearest, written to `moves`:
    none, the ends, where it is 0, and where it turns back."""
    size = math.sqrt(wave[1] * wave[1] + wave[2] * wave[2])
    middle = math.atan2(wave[2], wave[1])
    half = math.nan
    if size > 0.0 and abs(wave[0]) <= size:
        half = math.acos(-wave[0] / size)
    turns = middle + half, middle - half, middle, middle + math.pi
    moves[0] = 0.0
    moves[1] = least
    moves[2] = most
    count = 3
    for turn in range(-2, 3):
        for k in range(4):
            t = turns[k] + turn * 2.0 * math.pi
            if least <= t <= most:
                moves[count] = t
                count += 1
    return count


@compiled
def better(off: float, move: float, best_off: float, best: float) -> bool:
    """Whether a move is to be told rather than the best so far: the smallest that reaches, else what stays off least."""
    reached = abs(off) <= REACHED
    if reached != (abs(best_off) <= REACHED):
        return reached
    if reached or abs(off) == abs(best_off):
        return abs(move) < abs(best)
    return abs(off) < abs(best_off)


@compiled
def moved(at: Vector, axis: Axis, move: float) -> Vector:
    """A place turned (rad, by the right hand) about an axis."""
    x, y, z = turning((at[0] - axis[0], at[1] - axis[1], at[2] - axis[2]), axis)
    s, c = sincos(move)
    return (
        axis[0] + x[0] + x[1] * c + x[2] * s,
        axis[1] + y[0] + y[1] * c + y[2] * s,
        axis[2] + z[0] + z[1] * c + z[2] * s,
    )


@compiled
def look_after(parts: Floats, axis: Axis, move: float, plane: Plane, told: np.void) -> None:
    """Fill in which part then stands farthest below the plane, and which lowest."""
    height, forward, reach, left, lateral = plane
    deepest = 0
    lowest = 0
    below = -math.inf
    low = math.inf
    for i in range(parts.shape[0]):
        x, y, z = moved((parts[i, 0], parts[i, 1], parts[i, 2]), axis, move)
        under = height + forward * (x - reach) + left * (y - lateral) - z
        if under > below + ALIKE_M:
            below = under
            deepest = i
        if z < low - ALIKE_M:
            low = z
            lowest = i
    told["deepest"] = deepest
    told["below"] = below
    told["lowest"] = lowest
    told["low_height"] = low


@compiled
def correct_joints(
    q: Floats, spans: Floats, bars: Records, cylinders: Records, parts: Floats, axes: Floats, moves: Floats,
    told: Records, joints: int, point: int, plane: Plane,
) -> None:  # fmt: skip
    """The move of each of the first `joints` of `ADVISED` alone that brings a part (row of `parts`) onto a plane, or
    nearest; see `Advice`."""
    height, forward, reach, left, lateral = plane
    for i in range(joints):
        one = told[i]
        one["told"] = 0
        if math.isnan(spans[i, 0]):
            continue
        axis = axis_of(axes, i)
        ahead, aside, rise = turning(
            (parts[point, 0] - axis[0], parts[point, 1] - axis[1], parts[point, 2] - axis[2]), axis
        )
        off = (
            axis[2] - (height + forward * (axis[0] - reach)) + rise[0] - forward * ahead[0]
            - left * (axis[1] + aside[0] - lateral),
            rise[1] - forward * ahead[1] - left * aside[1],
            rise[2] - forward * ahead[2] - left * aside[2],
        )  # fmt: skip
        now = q[3 + i]
        count = write_moves(off, min(spans[i, 0] - now, 0.0), max(spans[i, 1] - now, 0.0), moves)
        move = 0.0
        over = wave_at(off, 0.0)
        for k in range(1, count):
            value = wave_at(off, moves[k])
            if better(value, moves[k], over, move):
                over = value
                move = moves[k]
        one["told"] = 1
        one["move"] = move
        one["angle"] = now + move
        one["off_by"] = over
        one["reaches"] = int(abs(over) <= REACHED)
        one["reach"] = axis[0] + wave_at(ahead, move)
        one["slope"] = math.nan
        one["drawn"] = math.nan
        one["undrawn"] = OK
        if i < TILT and not math.isnan(cylinders[i]["foot_x"]):
            through = int(i == BUCKET)
            there, status = length_at(bars[0], cylinders[i], through, now + move)
            here, before = length_at(bars[0], cylinders[i], through, now)
            one["drawn"] = there - here
            one["undrawn"] = status if status != OK else before
        look_after(parts, axis, move, plane, one)


@compiled
def slope_after(rise: Wave, long: float, t: float) -> float:
    """Cross-slope (ratio) of an edge `long` (m) whose left corner stands as high over its right one as `rise` has it."""
    up = wave_at(rise, t)
    level = (long - up) * (long + up)
    return -up / math.sqrt(level) if level > 0.0 else math.copysign(math.inf, -up)


@compiled
def correct_tilt(
    q: Floats,
    spans: Floats,
    parts: Floats,
    axes: Floats,
    moves: Floats,
    one: np.void,
    wanted: float,
    plane: Plane,
) -> None:
    """The move of the tilt that gives the edge the cross-slope wanted (ratio), or the nearest; `one` see `Advice`."""
    axis = axis_of(axes, TILT)
    ex = parts[0, 0] - parts[2, 0]
    ey = parts[0, 1] - parts[2, 1]
    ez = parts[0, 2] - parts[2, 2]
    long = math.sqrt(ex * ex + ey * ey + ez * ez)
    _, _, rise = turning((ex, ey, ez), axis)
    # The cross-slope falls as the left corner's rise over the right one grows, and only then: ask for that rise.
    off = rise[0] + wanted * long / math.sqrt(1.0 + wanted * wanted), rise[1], rise[2]
    now = q[3 + TILT]
    count = write_moves(off, min(spans[TILT, 0] - now, 0.0), max(spans[TILT, 1] - now, 0.0), moves)
    move = 0.0
    slope = slope_after(rise, long, 0.0)
    for k in range(1, count):
        value = slope_after(rise, long, moves[k])
        if better(value - wanted, moves[k], slope - wanted, move):
            slope = value
            move = moves[k]
    one["told"] = 1
    one["move"] = move
    one["angle"] = now + move
    one["slope"] = slope
    one["off_by"] = slope - wanted
    one["reaches"] = int(abs(slope - wanted) <= REACHED)
    one["reach"] = math.nan
    one["drawn"] = math.nan
    one["undrawn"] = OK
    look_after(parts, axis, move, plane, one)
