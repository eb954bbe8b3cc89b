"""The same formulas in one plain loop over the caller's columns: what blocks are measured against."""

import numpy as np
from numpy.typing import NDArray

from kinematics.block import Columns
from kinematics.chain import frames, outcomes, standing, steps, turns
from kinematics.compiled import compiled


@compiled
def solve_unblocked(
    records: np.ndarray[tuple[int], np.dtype[np.void]], limits: NDArray[np.float64], columns: Columns,
    out: NDArray[np.float64], status: NDArray[np.uint8],
) -> None:  # fmt: skip
    """All outputs (rows of `out`) and the status of every pose of one machine."""
    m = records[0]
    fixed = steps(m)
    pitch, roll, swing_boom, boom, fore_boom, stick, bucket, tilt, rotate = columns
    for i in range(out.shape[1]):
        angles = (
            pitch[i], roll[i], swing_boom[i], boom[i], fore_boom[i], stick[i], bucket[i], tilt[i], rotate[i],
        )  # fmt: skip
        told = outcomes(m, fixed, frames(m, fixed, turns(*angles)))
        (
            out[0, i], out[1, i], out[2, i], out[3, i], out[4, i], out[5, i], out[6, i], out[7, i],
            out[8, i], out[9, i], out[10, i], out[11, i], out[12, i], out[13, i], out[14, i], out[15, i],
            out[16, i], out[17, i], out[18, i], out[19, i], out[20, i], out[21, i], out[22, i], out[23, i],
            out[24, i], out[25, i], out[26, i], out[27, i], out[28, i], out[29, i], out[30, i], out[31, i],
        ) = told  # fmt: skip
        status[i] = np.uint8(standing(limits, *angles, told[0] - told[6], told[1] - told[7]))
