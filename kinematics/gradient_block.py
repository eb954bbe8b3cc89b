"""Derivatives of one output over many poses: `gradient` and `outputs` in blocks, as `block` does for values."""

import numpy as np
from numpy.typing import NDArray

from .block import BLOCK, Column, Columns, judge_block, load, run_of, scale, solve_block, turn_block, turns_at
from .block import COUNT as VALUES
from .chain import (
    CROSS_SLOPE,
    HEEL_CLEARANCE,
    MAST_ANGLE,
    POINTS,
    Frames,
    Steps,
    frames,
    level_after,
    steps,
)
from .compiled import compiled
from .gradient import ARM_COLUMNS, JOINT_COLUMNS, PULL_COLUMNS, Dyad, pull_bucket, pull_stick
from .linkage import OK
from .maps import Vector, direction
from .outputs import over_heel_rates
from .pushes import CENTRE, HEEL_LEFT, HEEL_RIGHT, LEFT, MAST, RECEIVER, RIGHT, act, gather, heel_gap

_PLACES = tuple(f"{point}_{axis}" for point in POINTS for axis in "xyz")
GRADIENT_COLUMNS = (*PULL_COLUMNS, *_PLACES, "mast_x", "mast_y", "mast_z")
"""The joints, then every parameter that a pose hangs on, in the order the kernel knows them."""

_PULL, _ARM = len(PULL_COLUMNS), len(JOINT_COLUMNS) + len(ARM_COLUMNS)
_WIDTH = len(GRADIENT_COLUMNS)
# Both ends of a heel clear alike to this (m), and derivatives are one to this: rounding of a few metres.
ALIKE = 1e-9
# Rows of scratch behind the gradient: rotation from bucket or stick to level, then the edge in plan.
_TURN, _EDGE, _ROWS = _WIDTH, _WIDTH + 9, _WIDTH + 11


@compiled
def pull_shares(m: np.void, fixed: Steps, right_end: int, told: Column, out: Column) -> None:
    """What one heel end's clearance owes to y of heel and edge besides: they choose the edge's point ahead of it."""
    rates = over_heel_rates(m, m["heel_right_y"]) if right_end else over_heel_rates(m, m["heel_left_y"])
    to_left = (fixed[6] if right_end else fixed[4]) > 0.0
    heel = HEEL_RIGHT if right_end else HEEL_LEFT
    for i in range(BLOCK):
        drop = told[5 * BLOCK + i] - (told[2 * BLOCK + i] if to_left else told[8 * BLOCK + i])
        out[(_PULL + 3 * heel + 1) * BLOCK + i] += drop * rates[0]
        out[(_PULL + 3 * LEFT + 1) * BLOCK + i] += drop * rates[1]
        out[(_PULL + 3 * CENTRE + 1) * BLOCK + i] += drop * rates[2]
        out[(_PULL + 3 * RIGHT + 1) * BLOCK + i] += drop * rates[3]


@compiled
def join_ends(fixed: Steps, told: Column, left: Column, out: Column) -> None:
    """The heel clearance is its lower end's: of `left` and, in `out`, the right one's derivatives those that count.

    Where both ends clear alike only what moves both alike has a derivative; of the rest it is NaN.
    """
    for i in range(BLOCK):
        gap = heel_gap(fixed, told, i)
        for k in range(_WIDTH):
            a = left[k * BLOCK + i]
            b = out[k * BLOCK + i]
            shared = a if abs(a - b) <= ALIKE * (1.0 + abs(a)) else np.nan
            out[k * BLOCK + i] = a if gap < -ALIKE else b if gap > ALIKE else shared


@compiled
def pull_points(rotation: Column, pushes: Column, acting: NDArray[np.bool_], out: Column) -> None:
    """d/d the coordinates of every point: its force as its own frame sees it, nothing where no force acts."""
    for point in range(acting.shape[0]):
        base = (_PULL + 3 * point) * BLOCK
        if not acting[point]:
            out[base : base + 3 * BLOCK] = 0.0
            continue
        push = pushes[3 * point * BLOCK : 3 * (point + 1) * BLOCK]
        for axis in range(3):
            row = out[base + axis * BLOCK : base + (axis + 1) * BLOCK]
            ahead = rotation[axis * BLOCK : (axis + 1) * BLOCK]
            aside = rotation[(3 + axis) * BLOCK : (4 + axis) * BLOCK]
            up = rotation[(6 + axis) * BLOCK : (7 + axis) * BLOCK]
            for i in range(BLOCK):
                row[i] = ahead[i] * push[i] + aside[i] * push[BLOCK + i] + up[i] * push[2 * BLOCK + i]


@compiled
def edge_in_plan(m: np.void, found: Frames) -> tuple[float, float]:
    """(x, y) of the edge in the level frame, from right to left corner: what `standing` judges."""
    across = direction(
        found[2], m["left_x"] - m["right_x"], m["left_y"] - m["right_y"], m["left_z"] - m["right_z"]
    )
    x, y, _ = direction(found[0], across[0], across[1], across[2])
    return x, y


@compiled
def push_at(pushed: Column, i: int) -> tuple[Dyad, Vector]:
    """Dyad and force of pose i of a block."""
    dyad = (
        pushed[i], pushed[BLOCK + i], pushed[2 * BLOCK + i], pushed[3 * BLOCK + i], pushed[4 * BLOCK + i],
        pushed[5 * BLOCK + i], pushed[6 * BLOCK + i], pushed[7 * BLOCK + i], pushed[8 * BLOCK + i],
    )  # fmt: skip
    return dyad, (pushed[9 * BLOCK + i], pushed[10 * BLOCK + i], pushed[11 * BLOCK + i])


@compiled
def pull_bucket_block(
    record: np.ndarray[tuple[int], np.dtype[np.void]], turn: Column, pushed: Column, out: Column
) -> None:
    """`gradient.pull_bucket` for a block, from `gather`; behind it the rotation from bucket to level, and the edge."""
    m = record[0]
    fixed = steps(m)
    for i in range(BLOCK):
        t = turns_at(turn, i)
        found = frames(m, fixed, t)
        dyad, force = push_at(pushed, i)
        carried = level_after(found[0], found[2])
        (
            out[0 * BLOCK + i], out[1 * BLOCK + i], out[2 * BLOCK + i], out[3 * BLOCK + i], out[4 * BLOCK + i],
            out[5 * BLOCK + i], out[6 * BLOCK + i], out[7 * BLOCK + i], out[8 * BLOCK + i], out[9 * BLOCK + i],
            out[10 * BLOCK + i], out[11 * BLOCK + i], out[12 * BLOCK + i], out[13 * BLOCK + i], out[14 * BLOCK + i],
            out[15 * BLOCK + i], out[16 * BLOCK + i], out[17 * BLOCK + i], out[18 * BLOCK + i], out[19 * BLOCK + i],
            out[20 * BLOCK + i], out[21 * BLOCK + i], out[22 * BLOCK + i], out[23 * BLOCK + i], out[24 * BLOCK + i],
            out[25 * BLOCK + i], out[26 * BLOCK + i], out[27 * BLOCK + i], out[28 * BLOCK + i], out[29 * BLOCK + i],
            out[30 * BLOCK + i], out[31 * BLOCK + i], out[32 * BLOCK + i], out[33 * BLOCK + i],
        ) = pull_bucket(m, fixed, t, found, dyad, force)  # fmt: skip
        (
            out[_TURN * BLOCK + i], out[(_TURN + 1) * BLOCK + i], out[(_TURN + 2) * BLOCK + i],
            out[(_TURN + 3) * BLOCK + i], out[(_TURN + 4) * BLOCK + i], out[(_TURN + 5) * BLOCK + i],
            out[(_TURN + 6) * BLOCK + i], out[(_TURN + 7) * BLOCK + i], out[(_TURN + 8) * BLOCK + i],
        ) = carried[:9]  # fmt: skip
        out[_EDGE * BLOCK + i], out[(_EDGE + 1) * BLOCK + i] = edge_in_plan(m, found)


@compiled
def pull_stick_block(
    record: np.ndarray[tuple[int], np.dtype[np.void]], turn: Column, pushed: Column, out: Column
) -> None:
    """As `pull_bucket_block`, for forces on the stick; nothing that hangs below it has any effect."""
    m = record[0]
    fixed = steps(m)
    out[_ARM * BLOCK : _PULL * BLOCK] = 0.0
    for i in range(BLOCK):
        t = turns_at(turn, i)
        found = frames(m, fixed, t)
        dyad, force = push_at(pushed, i)
        carried = level_after(found[0], found[1])
        (
            out[0 * BLOCK + i], out[1 * BLOCK + i], out[2 * BLOCK + i], out[3 * BLOCK + i], out[4 * BLOCK + i],
            out[5 * BLOCK + i], out[6 * BLOCK + i], out[7 * BLOCK + i], out[8 * BLOCK + i], out[9 * BLOCK + i],
            out[10 * BLOCK + i], out[11 * BLOCK + i], out[12 * BLOCK + i], out[13 * BLOCK + i], out[14 * BLOCK + i],
            out[15 * BLOCK + i],
        ) = pull_stick(m, t, found, dyad, force)  # fmt: skip
        (
            out[_TURN * BLOCK + i], out[(_TURN + 1) * BLOCK + i], out[(_TURN + 2) * BLOCK + i],
            out[(_TURN + 3) * BLOCK + i], out[(_TURN + 4) * BLOCK + i], out[(_TURN + 5) * BLOCK + i],
            out[(_TURN + 6) * BLOCK + i], out[(_TURN + 7) * BLOCK + i], out[(_TURN + 8) * BLOCK + i],
        ) = carried[:9]  # fmt: skip
        out[_EDGE * BLOCK + i], out[(_EDGE + 1) * BLOCK + i] = edge_in_plan(m, found)


@compiled
def differentiate_rows(  # noqa: PLR0912 - one loop, so that it stays in one compiled piece
    records: np.ndarray[tuple[int], np.dtype[np.void]],
    flat: NDArray[np.float64],
    limits: NDArray[np.float64],
    machine_of: NDArray[np.int64],
    columns: Columns,
    scales: Column,
    poses: int,
    kind: int,
    wanted: NDArray[np.int64],
    factors: Column,
    out: NDArray[np.float64],
    status: NDArray[np.uint8],
    first: int,
    last: int,
) -> None:
    """As `block.solve_rows`, for the derivatives of the output `kind` with respect to `wanted` of `GRADIENT_COLUMNS`.

    `flat`: the records once more, machines x parameters. A row whose status is not OK is NaN throughout.
    """
    q = np.empty(9 * BLOCK)
    turn = np.empty(18 * BLOCK)
    told = np.empty(VALUES * BLOCK)
    pulled = np.zeros(_ROWS * BLOCK)
    pushes = np.zeros(3 * (MAST + 1) * BLOCK)
    pushed = np.zeros(12 * BLOCK)
    standings = np.empty(BLOCK)
    nil = np.zeros(BLOCK)
    other = np.empty(_WIDTH * BLOCK)
    acting = np.zeros(MAST + 1, dtype=np.bool_)
    rotation = pulled[_TURN * BLOCK : _EDGE * BLOCK]
    edge_x = pulled[_EDGE * BLOCK : (_EDGE + 1) * BLOCK]
    edge_y = pulled[(_EDGE + 1) * BLOCK :]
    on_stick = kind == MAST_ANGLE or (kind < CROSS_SLOPE and kind // 3 == RECEIVER)
    row = first
    while row < last:
        pose = row % poses
        machine = machine_of[row] if machine_of.shape[0] > 1 else machine_of[0]
        count = run_of(machine_of, row, min(BLOCK, last - row, poses - pose))
        record = records[machine : machine + 1]
        load(q, columns, scales, pose, count)
        turn_block(q, turn)
        if kind >= CROSS_SLOPE and kind != MAST_ANGLE:
            solve_block(record, turn, told)
        if kind == MAST_ANGLE:  # its forces stand in the level frame, which the stick's turn must give first
            pull_stick_block(record, turn, pushed, pulled)
        fixed = steps(record[0])
        for right_end in range(2 if kind == HEEL_CLEARANCE else 1):
            act(fixed, kind, right_end, told, flat[machine], rotation, pushes, acting)
            gather(flat[machine], pushes, acting, pushed)
            if on_stick:
                pull_stick_block(record, turn, pushed, pulled)
            else:
                pull_bucket_block(record, turn, pushed, pulled)
            pull_points(rotation, pushes, acting, pulled)
            if kind == HEEL_CLEARANCE:
                pull_shares(record[0], fixed, right_end, told, pulled)
                if right_end:
                    join_ends(fixed, told, other, pulled)
                else:
                    other[:] = pulled[: _WIDTH * BLOCK]
        end = row + count
        fails = judge_block(limits[machine], q, edge_x, edge_y, nil, nil, standings, status[row:end])
        for k in range(wanted.shape[0]):
            scale(out[k, row:end], pulled[wanted[k] * BLOCK :], factors[k])
        if fails:
            for i in range(count):
                if status[row + i] != OK:
                    for k in range(wanted.shape[0]):
                        out[k, row + i] = np.nan
        row = end
