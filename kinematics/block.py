"""The same formulas over many poses: blocks small enough for the cache, loops plain enough for vector registers.

Rows are results. A row's machine stands in `machine_of` (or is the only one); its pose is the row counted round
`poses`, so that one set of poses serves every machine and one machine every pose.
"""

import numpy as np
from numpy.typing import NDArray

from .chain import OUTPUTS, frames, outcomes, standing, steps
from .compiled import compiled, inlined
from .linkage import OK

# 9 angles in, 32 outputs out: 84 KB of scratch, which the second-level cache holds.
BLOCK = 256
COUNT = len(OUTPUTS)

Column = NDArray[np.float64]


Columns = tuple[Column, Column, Column, Column, Column, Column, Column, Column, Column]


@inlined
def scale(target: Column, source: Column, factor: float) -> None:
    """target = factor * source. Slices, not offsets: the compiler gives up on an index that it cannot see the sign of."""
    for i in range(target.shape[0]):
        target[i] = source[i] * factor


@inlined
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
def solve_block(
    record: np.ndarray[tuple[int], np.dtype[np.void]], limits: Column, q: Column, out: Column
) -> None:
    """`BLOCK` poses of one machine, scratch to scratch.

    Flat, row after row: `limits` (7 x 2), `q` (9 x BLOCK), `out` (COUNT + 1 x BLOCK), the status last. With offsets
    that the compiler can see it needs no more than three checks for overlap, and vectorises.
    """
    m = record[0]
    fixed = steps(m)
    for i in range(BLOCK):
        pitch = q[i]
        roll = q[BLOCK + i]
        swing_boom = q[2 * BLOCK + i]
        boom = q[3 * BLOCK + i]
        fore_boom = q[4 * BLOCK + i]
        stick = q[5 * BLOCK + i]
        bucket = q[6 * BLOCK + i]
        tilt = q[7 * BLOCK + i]
        rotate = q[8 * BLOCK + i]
        found = frames(m, fixed, pitch, roll, swing_boom, boom, fore_boom, stick, bucket, tilt, rotate)
        told = outcomes(m, found)
        (
            out[0 * BLOCK + i], out[1 * BLOCK + i], out[2 * BLOCK + i], out[3 * BLOCK + i],
            out[4 * BLOCK + i], out[5 * BLOCK + i], out[6 * BLOCK + i], out[7 * BLOCK + i],
            out[8 * BLOCK + i], out[9 * BLOCK + i], out[10 * BLOCK + i], out[11 * BLOCK + i],
            out[12 * BLOCK + i], out[13 * BLOCK + i], out[14 * BLOCK + i], out[15 * BLOCK + i],
            out[16 * BLOCK + i], out[17 * BLOCK + i], out[18 * BLOCK + i], out[19 * BLOCK + i],
            out[20 * BLOCK + i], out[21 * BLOCK + i], out[22 * BLOCK + i], out[23 * BLOCK + i],
            out[24 * BLOCK + i], out[25 * BLOCK + i], out[26 * BLOCK + i], out[27 * BLOCK + i],
            out[28 * BLOCK + i], out[29 * BLOCK + i], out[30 * BLOCK + i], out[31 * BLOCK + i],
        ) = told  # fmt: skip
        out[COUNT * BLOCK + i] = standing(
            limits, pitch, roll, swing_boom, boom, fore_boom, stick, bucket, tilt, rotate,
            told[0] - told[6], told[1] - told[7],
        )  # fmt: skip


@inlined
def judge(status: NDArray[np.uint8], told: Column) -> int:
    """The block's statuses into their column; how many are not OK."""
    fails = 0
    for i in range(status.shape[0]):
        status[i] = np.uint8(told[i])
        fails += told[i] != OK
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
    told = np.empty((COUNT + 1) * BLOCK)
    row = first
    while row < last:
        pose = row % poses
        machine = machine_of[row] if machine_of.shape[0] > 1 else machine_of[0]
        count = run_of(machine_of, row, min(BLOCK, last - row, poses - pose))
        load(q, columns, scales, pose, count)
        solve_block(records[machine : machine + 1], limits[machine], q, told)
        end = row + count
        fails = judge(status[row:end], told[COUNT * BLOCK :])
        for k in range(wanted.shape[0]):
            scale(out[k, row:end], told[wanted[k] * BLOCK :], factors[k])
        if fails:
            for i in range(count):
                if status[row + i] != OK:
                    for k in range(wanted.shape[0]):
                        out[k, row + i] = np.nan
        row += count
