"""How one output of one pose moves with every joint and dimension: `gradient` for what is read again and again."""

import numpy as np
from numpy.typing import NDArray

from .chain import POINTS, Frames, Steps, Turns, level_after
from .compiled import compiled
from .gradient import JOINT_COLUMNS, PULL_COLUMNS, Pull, pull_bucket, pull_stick
from .maps import Vector, seen
from .parameters import NAMES

COLUMNS = (*JOINT_COLUMNS, *NAMES)
"""By what: pitch, roll, the joints (rad), then every named parameter (m, rad)."""
RECEIVER = POINTS.index("receiver")
JOINTS = len(JOINT_COLUMNS)
FIRST = np.array([NAMES.index(f"{point}_x") for point in POINTS])
"""Where in `NAMES` each point's x stands; y and z are its neighbours."""
_AT = np.array([COLUMNS.index(name) for name in PULL_COLUMNS])
Floats = NDArray[np.float64]


@compiled
def add_pull(pull: Pull, out: Floats) -> None:
    """What `gradient` gives, at its columns."""
    (
        out[_AT[0]], out[_AT[1]], out[_AT[2]], out[_AT[3]], out[_AT[4]], out[_AT[5]], out[_AT[6]], out[_AT[7]],
        out[_AT[8]], out[_AT[9]], out[_AT[10]], out[_AT[11]], out[_AT[12]], out[_AT[13]], out[_AT[14]], out[_AT[15]],
    ) = pull[:16]  # fmt: skip


@compiled
def add_pull_below(pull: Pull, out: Floats) -> None:
    """What it gives of coupler, tilt, rotation and mount."""
    (
        out[_AT[16]], out[_AT[17]], out[_AT[18]], out[_AT[19]], out[_AT[20]], out[_AT[21]], out[_AT[22]], out[_AT[23]],
        out[_AT[24]], out[_AT[25]], out[_AT[26]], out[_AT[27]], out[_AT[28]], out[_AT[29]], out[_AT[30]], out[_AT[31]],
        out[_AT[32]], out[_AT[33]],
    ) = pull[16:]  # fmt: skip


@compiled
def add_point(rotation: Vector, point: int, out: Floats) -> None:
    """A force as the point's own frame sees it: d / d its coordinates."""
    at = JOINTS + FIRST[point]
    out[at] += rotation[0]
    out[at + 1] += rotation[1]
    out[at + 2] += rotation[2]


@compiled
def point_rates(
    m: np.void, flat: Floats, fixed: Steps, t: Turns, found: Frames, point: int, force: Vector, out: Floats
) -> None:  # fmt: skip
    """d (force . level place of a point) / d each of `COLUMNS` into `out`; force (0, 0, 1) for its height.

    `flat`: the record once more as numbers. At 8 m reach on level ground d height / d boom is 8 m/rad.
    """
    out[:] = 0.0
    at = FIRST[point]
    x, y, z = flat[at], flat[at + 1], flat[at + 2]
    a, b, c = force
    dyad = a * x, a * y, a * z, b * x, b * y, b * z, c * x, c * y, c * z
    if point == RECEIVER:
        pull = pull_stick(m, t, found, dyad, force)
        add_pull(pull, out)
        held = level_after(found[0], found[1])
    else:
        pull = pull_bucket(m, fixed, t, found, dyad, force)
        add_pull(pull, out)
        add_pull_below(pull, out)
        held = level_after(found[0], found[2])
    add_point(seen(held, a, b, c), point, out)


@compiled
def pair_rates(
    m: np.void, flat: Floats, fixed: Steps, t: Turns, found: Frames, one: int, other: int, force: Vector, out: Floats
) -> None:  # fmt: skip
    """The same of a force on one point of the bucket and its opposite on another: of the cross-slope."""
    out[:] = 0.0
    i, j = FIRST[one], FIRST[other]
    x, y, z = flat[i] - flat[j], flat[i + 1] - flat[j + 1], flat[i + 2] - flat[j + 2]
    a, b, c = force
    dyad = a * x, a * y, a * z, b * x, b * y, b * z, c * x, c * y, c * z
    pull = pull_bucket(m, fixed, t, found, dyad, (0.0, 0.0, 0.0))
    add_pull(pull, out)
    add_pull_below(pull, out)
    held = level_after(found[0], found[2])
    add_point(seen(held, a, b, c), one, out)
    add_point(seen(held, -a, -b, -c), other, out)
