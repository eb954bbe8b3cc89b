"""The same formulas over many poses: blocks small enough for the cache, loops plain enough for vector registers.

Rows are results. A row's machine stands in `machine_of` (or is the only one); its pose is the row counted round
`poses`, so that one set of poses serves every machine and one machine every pose.
"""

import numpy as np
from numpy.typing import NDArray

from .chain import OUTPUTS, Turns, frames, outcomes, standing, steps
from .compiled import compiled
from .linkage import OK
from .trig import sincos

# 9 angles, 18 turns, 32 outputs: 45 KB of scratch. Measured: 66 ns a pose at 96, 70 at 64, 128 and 256.
BLOCK = 96
COUNT = len(OUTPUTS)

Column = NDArray[np.float64]


Columns = tuple[Column, Column, Column, Column, Column, Column, Column, Column, Column]


@compiled
def scale(target: Column, source: Column, factor: float) -> None:
    """target = factor * source. Slices, not offsets: the compiler gives up on an index that it cannot see the sign of."""
    for i in range(target.shape[0]):
        target[i] = source[i] * factor


@compiled
def fill(scratch: Column, column: Column, factor: float, start: int, count: int) -> None:
    """`count` scaled values of a column, or its one value again and again; the last is repeated up to the block's end."""
    single = column.shape[0] == 1
    if not single:
        scale(scratch[:count], column[start : start + count], factor)
    if single or count < BLOCK:
        last = column[0] * factor if single else scratch[count - 1]
        rest = scratch[0 if single else count :]
        for i in range(rest.shape[0]):
            rest[i] = last


@compiled
def load(q: Column, columns: Columns, scales: Column, start: int, count: int) -> None:
    """A block of poses from nine columns into `q` (9 x BLOCK, flat)."""
    fill(q[0 * BLOCK : 1 * BLOCK], columns[0], scales[0], start, count)
    fill(q[1 * BLOCK : 2 * BLOCK], columns[1], scales[1], start, count)
    fill(q[2 * BLOCK : 3 * BLOCK], columns[2], scales[2], start, count)
    fill(q[3 * BLOCK : 4 * BLOCK], columns[3], scales[3], start, count)
    fill(q[4 * BLOCK : 5 * BLOCK], columns[4], scales[4], start, count)
    fill(q[5 * BLOCK : 6 * BLOCK], columns[5], scales[5], start, count)
    fill(q[6 * BLOCK : 7 * BLOCK], columns[6], scales[6], start, count)
    fill(q[7 * BLOCK : 8 * BLOCK], columns[7], scales[7], start, count)
    fill(q[8 * BLOCK : 9 * BLOCK], columns[8], scales[8], start, count)


@compiled
def turn_block(q: Column, turn: Column) -> None:
    """`chain.turns` of a block: q (9 x BLOCK, flat) to turn (18 x BLOCK), a loop an angle."""
    for i in range(BLOCK):
        turn[i] = q[i]
        turn[2 * BLOCK + i] = q[BLOCK + i]
        turn[4 * BLOCK + i] = q[2 * BLOCK + i]
        fore = q[3 * BLOCK + i] + q[4 * BLOCK + i]
        up = fore + q[5 * BLOCK + i]
        turn[6 * BLOCK + i] = q[3 * BLOCK + i]
        turn[8 * BLOCK + i] = fore
        turn[10 * BLOCK + i] = up
        turn[12 * BLOCK + i] = up + q[6 * BLOCK + i]
        turn[14 * BLOCK + i] = q[7 * BLOCK + i]
        turn[16 * BLOCK + i] = q[8 * BLOCK + i]
    for j in range(9):
        sine = turn[2 * j * BLOCK : (2 * j + 1) * BLOCK]
        cosine = turn[(2 * j + 1) * BLOCK : (2 * j + 2) * BLOCK]
        for i in range(BLOCK):
            sine[i], cosine[i] = sincos(sine[i])


@compiled
def turns_at(turn: Column, i: int) -> Turns:
    """`chain.turns` of pose i of a block."""
    return (
        turn[i], turn[BLOCK + i], turn[2 * BLOCK + i], turn[3 * BLOCK + i], turn[4 * BLOCK + i], turn[5 * BLOCK + i],
        turn[6 * BLOCK + i], turn[7 * BLOCK + i], turn[8 * BLOCK + i], turn[9 * BLOCK + i], turn[10 * BLOCK + i],
        turn[11 * BLOCK + i], turn[12 * BLOCK + i], turn[13 * BLOCK + i], turn[14 * BLOCK + i],
        turn[15 * BLOCK + i], turn[16 * BLOCK + i], turn[17 * BLOCK + i],
    )  # fmt: skip


@compiled
def solve_block(record: np.ndarray[tuple[int], np.dtype[np.void]], turn: Column, out: Column) -> None:
    """`BLOCK` poses of one machine, scratch to scratch: turn (18 x BLOCK, flat) to out (COUNT x BLOCK, flat).

    With offsets that the compiler can see it needs no more than two checks for overlap, and vectorises.
    """
    m = record[0]
    fixed = steps(m)
    for i in range(BLOCK):
        (
            out[0 * BLOCK + i], out[1 * BLOCK + i], out[2 * BLOCK + i], out[3 * BLOCK + i],
            out[4 * BLOCK + i], out[5 * BLOCK + i], out[6 * BLOCK + i], out[7 * BLOCK + i],
            out[8 * BLOCK + i], out[9 * BLOCK + i], out[10 * BLOCK + i], out[11 * BLOCK + i],
            out[12 * BLOCK + i], out[13 * BLOCK + i], out[14 * BLOCK + i], out[15 * BLOCK + i],
            out[16 * BLOCK + i], out[17 * BLOCK + i], out[18 * BLOCK + i], out[19 * BLOCK + i],
            out[20 * BLOCK + i], out[21 * BLOCK + i], out[22 * BLOCK + i], out[23 * BLOCK + i],
            out[24 * BLOCK + i], out[25 * BLOCK + i], out[26 * BLOCK + i], out[27 * BLOCK + i],
            out[28 * BLOCK + i], out[29 * BLOCK + i], out[30 * BLOCK + i], out[31 * BLOCK + i],
        ) = outcomes(m, fixed, frames(m, fixed, turns_at(turn, i)))  # fmt: skip


@compiled
def judge_block(
    limits: Column, q: Column, left_x: Column, left_y: Column, right_x: Column, right_y: Column,
    standings: Column, status: NDArray[np.uint8],
) -> int:  # fmt: skip
    """`chain.standing` of a block from its angles and the level-frame corners of its edge; how many are not OK.

    `standings` is scratch; of it `status` takes as many as it has rows.
    """
    for i in range(BLOCK):
        standings[i] = standing(
            limits, q[i], q[BLOCK + i], q[2 * BLOCK + i], q[3 * BLOCK + i], q[4 * BLOCK + i], q[5 * BLOCK + i],
            q[6 * BLOCK + i], q[7 * BLOCK + i], q[8 * BLOCK + i], left_x[i] - right_x[i], left_y[i] - right_y[i],
        )  # fmt: skip
    fails = 0
    for i in range(status.shape[0]):
        status[i] = np.uint8(standings[i])
        fails += standings[i] != OK
    return fails


@compiled
def run_of(machine_of: NDArray[np.int64], row: int, most: int) -> int:
    """How many rows from `row`, at most `most`, have one and the same machine."""
    if machine_of.shape[0] == 1:
        return most
    count = 1
    while count < most and machine_of[row + count] == machine_of[row]:
        count += 1
    return count


@compiled
def solve_rows(
    records: np.ndarray[tuple[int], np.dtype[np.void]],
    limits: Column,
    machine_of: NDArray[np.int64],
    columns: Columns,
    scales: Column,
    poses: int,
    wanted: NDArray[np.int64],
    factors: Column,
    out: NDArray[np.float64],
    status: NDArray[np.uint8],
    first: int,
    last: int,
) -> None:
    """Rows `first` to `last` (not included) of `out` (wanted x rows) and `status` (rows).

    `records` (machines), `limits` (machines x 14), `columns` nine of `poses` values or of one, times `scales` in rad;
    `wanted` indices of `OUTPUTS`, each times its factor. A row whose status is not OK is NaN throughout.
    """
    q = np.empty(9 * BLOCK)
    turn = np.empty(18 * BLOCK)
    told = np.empty(COUNT * BLOCK)
    standings = np.empty(BLOCK)
    row = first
    while row < last:
        pose = row % poses
        machine = machine_of[row] if machine_of.shape[0] > 1 else machine_of[0]
        count = run_of(machine_of, row, min(BLOCK, last - row, poses - pose))
        load(q, columns, scales, pose, count)
        turn_block(q, turn)
        solve_block(records[machine : machine + 1], turn, told)
        end = row + count
        fails = judge_block(
            limits[machine],
            q,
            told,
            told[BLOCK:],
            told[6 * BLOCK :],
            told[7 * BLOCK :],
            standings,
            status[row:end],
        )
        for k in range(wanted.shape[0]):
            scale(out[k, row:end], told[wanted[k] * BLOCK :], factors[k])
        if fails:
            for i in range(count):
                if status[row + i] != OK:
                    for k in range(wanted.shape[0]):
                        out[k, row + i] = np.nan
        row += count
