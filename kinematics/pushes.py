"""Forces of each output on the points it hangs on, for a block of poses, and what they add up to: `outputs` in blocks."""

import numpy as np
from numpy.typing import NDArray

from .block import BLOCK, Column
from .chain import CROSS_SLOPE, FLOOR_ANGLE, HEEL_CLEARANCE, POINTS, Steps
from .compiled import compiled
from .outputs import cross_slope_forces, floor_forces, mast_forces
from .parameters import NAMES

LEFT, CENTRE, RIGHT, HEEL_LEFT, HEEL_RIGHT, RECEIVER, MAST = 0, 1, 2, 6, 7, 8, 9
"""Points by their place in `chain.POINTS`; behind them the mast, which is a direction."""
# Where each point's x stands in the record; y and z are its neighbours.
_FIRST = np.array([NAMES.index(f"{name}_x") for name in (*POINTS, "mast")])


@compiled
def constant(push: Column, axis: int, value: float) -> None:
    """One point's forces (3 x BLOCK): `value` along one axis, nothing along the others."""
    for i in range(3 * BLOCK):
        push[i] = 0.0
    for i in range(BLOCK):
        push[axis * BLOCK + i] = value


@compiled
def opposite(target: Column, push: Column, factor: float) -> None:
    """The same forces times a factor, on another point."""
    for i in range(3 * BLOCK):
        target[i] = factor * push[i]


@compiled
def slope_pushes(told: Column, push: Column) -> None:
    """Forces of the cross-slope on the right corner, from outputs of a block."""
    for i in range(BLOCK):
        x, y, z = cross_slope_forces(
            told[i] - told[6 * BLOCK + i], told[BLOCK + i] - told[7 * BLOCK + i],
            told[2 * BLOCK + i] - told[8 * BLOCK + i],
        )  # fmt: skip
        push[i] = x
        push[BLOCK + i] = y
        push[2 * BLOCK + i] = z


@compiled
def floor_pushes(told: Column, corner: Column, heel: Column) -> None:
    """Forces of the floor angle: on the left corner, and on either end of the heel."""
    for i in range(BLOCK):
        x, y, hx, hy, hz = floor_forces(
            told[i] - told[6 * BLOCK + i], told[BLOCK + i] - told[7 * BLOCK + i],
            0.5 * (told[18 * BLOCK + i] + told[21 * BLOCK + i]) - told[3 * BLOCK + i],
            0.5 * (told[19 * BLOCK + i] + told[22 * BLOCK + i]) - told[4 * BLOCK + i],
            0.5 * (told[20 * BLOCK + i] + told[23 * BLOCK + i]) - told[5 * BLOCK + i],
        )  # fmt: skip
        corner[i] = x
        corner[BLOCK + i] = y
        corner[2 * BLOCK + i] = 0.0
        heel[i] = 0.5 * hx
        heel[BLOCK + i] = 0.5 * hy
        heel[2 * BLOCK + i] = 0.5 * hz


@compiled
def heel_pushes(fixed: Steps, right_end: int, pushes: Column) -> None:
    """Forces of one heel end's clearance: up on it, down on the edge's point ahead of it."""
    for i in range(3 * (HEEL_RIGHT + 1) * BLOCK):
        pushes[i] = 0.0
    left = fixed[6] if right_end else fixed[4]
    right = fixed[7] if right_end else fixed[5]
    for i in range(BLOCK):
        pushes[(3 * LEFT + 2) * BLOCK + i] = -left
        pushes[(3 * RIGHT + 2) * BLOCK + i] = -right
        pushes[(3 * CENTRE + 2) * BLOCK + i] = left + right - 1.0
        pushes[(3 * HEEL_LEFT + 2) * BLOCK + i] = 0.0 if right_end else 1.0
        pushes[(3 * HEEL_RIGHT + 2) * BLOCK + i] = 1.0 if right_end else 0.0


@compiled
def heel_gap(fixed: Steps, told: Column, i: int) -> float:
    """How much more (m) the heel's left end clears the edge than its right one, in pose i of a block."""
    left, centre, right = told[2 * BLOCK + i], told[5 * BLOCK + i], told[8 * BLOCK + i]
    by_left = told[20 * BLOCK + i] - fixed[4] * (left - centre) - fixed[5] * (right - centre)
    by_right = told[23 * BLOCK + i] - fixed[6] * (left - centre) - fixed[7] * (right - centre)
    return float(by_left - by_right)


@compiled
def mast_pushes(flat: Column, rotation: Column, push: Column) -> None:
    """Forces of the mast angle on the mast itself, which is a direction; `rotation` (9 x BLOCK) from stick to level."""
    x = flat[_FIRST[MAST]]
    y = flat[_FIRST[MAST] + 1]
    z = flat[_FIRST[MAST] + 2]
    for i in range(BLOCK):
        a, b, c = mast_forces(
            rotation[i] * x + rotation[BLOCK + i] * y + rotation[2 * BLOCK + i] * z,
            rotation[3 * BLOCK + i] * x + rotation[4 * BLOCK + i] * y + rotation[5 * BLOCK + i] * z,
            rotation[6 * BLOCK + i] * x + rotation[7 * BLOCK + i] * y + rotation[8 * BLOCK + i] * z,
        )
        push[i] = a
        push[BLOCK + i] = b
        push[2 * BLOCK + i] = c


@compiled
def act(
    fixed: Steps, kind: int, right_end: int, told: Column, flat: Column, rotation: Column, pushes: Column,
    acting: NDArray[np.bool_],
) -> None:  # fmt: skip
    """Forces of the output `kind` (its index in `chain.OUTPUTS`) on the points it hangs on, `acting`.

    Of the heel clearance those of one end, `right_end` 0 or 1.
    """
    acting[:] = False
    size = 3 * BLOCK
    if kind < CROSS_SLOPE:
        point = kind // 3
        acting[point] = True
        constant(pushes[point * size : (point + 1) * size], kind % 3, 1.0)
    elif kind == CROSS_SLOPE:
        acting[LEFT] = acting[RIGHT] = True
        slope_pushes(told, pushes[RIGHT * size : (RIGHT + 1) * size])
        opposite(pushes[LEFT * size : (LEFT + 1) * size], pushes[RIGHT * size : (RIGHT + 1) * size], -1.0)
    elif kind == FLOOR_ANGLE:
        acting[: RIGHT + 1] = True
        acting[HEEL_LEFT : HEEL_RIGHT + 1] = True
        corner = pushes[LEFT * size : (LEFT + 1) * size]
        heel = pushes[HEEL_LEFT * size : (HEEL_LEFT + 1) * size]
        floor_pushes(told, corner, heel)
        opposite(pushes[RIGHT * size : (RIGHT + 1) * size], corner, -1.0)
        opposite(pushes[HEEL_RIGHT * size : (HEEL_RIGHT + 1) * size], heel, 1.0)
        opposite(pushes[CENTRE * size : (CENTRE + 1) * size], heel, -2.0)
    elif kind == HEEL_CLEARANCE:
        acting[: RIGHT + 1] = True
        acting[HEEL_LEFT : HEEL_RIGHT + 1] = True
        heel_pushes(fixed, right_end, pushes)
    else:
        acting[MAST] = True
        mast_pushes(flat, rotation, pushes[MAST * size :])


@compiled
def gather(flat: Column, pushes: Column, acting: NDArray[np.bool_], load_rows: Column) -> None:
    """Dyad (9 x BLOCK) and force (3 x BLOCK) of all acting points; the mast is a direction and adds no force."""
    load_rows[:] = 0.0
    for point in range(acting.shape[0]):
        if acting[point]:
            push = pushes[3 * point * BLOCK : 3 * (point + 1) * BLOCK]
            for axis in range(3):
                force = push[axis * BLOCK : (axis + 1) * BLOCK]
                for other in range(3):
                    at = flat[_FIRST[point] + other]
                    row = load_rows[(3 * axis + other) * BLOCK : (3 * axis + other + 1) * BLOCK]
                    for i in range(BLOCK):
                        row[i] += force[i] * at
                if point != MAST:
                    row = load_rows[(9 + axis) * BLOCK : (10 + axis) * BLOCK]
                    for i in range(BLOCK):
                        row[i] += force[i]
