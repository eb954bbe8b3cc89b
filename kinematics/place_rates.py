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
def edge_rates(
    m: np.void, flat: Floats, fixed: Steps, t: Turns, found: Frames, one: int, other: int, force: Vector, out: Floats
) -> None:  # fmt: skip
    """d (force . level place of a point of the bucket) / d each of `COLUMNS` into `out`; force (0, 0, 1) for its height.

    `other`, where it is not `one`: a point with the opposite force on it, as the cross-slope has. `flat`: the record once
    more as numbers. At 8 m reach on level ground d height / d boom is 8 m/rad.
    """
    out[:] = 0.0
    both = 0.0 if one == other else 1.0
    i, j = FIRST[one], FIRST[other]
    x, y, z = flat[i] - both * flat[j], flat[i + 1] - both * flat[j + 1], flat[i + 2] - both * flat[j + 2]
    a, b, c = force
    dyad = a * x, a * y, a * z, b * x, b * y, b * z, c * x, c * y, c * z
    alone = 1.0 - both
    pull = pull_bucket(m, fixed, t, found, dyad, (alone * a, alone * b, alone * c))
    add_pull(pull, out)
    add_pull_below(pull, out)
    ahead, aside, up = seen(level_after(found[0], found[2]), a, b, c)
    add_point((ahead, aside, up), one, out)
    add_point((-both * ahead, -both * aside, -both * up), other, out)


@compiled
def receiver_rates(m: np.void, flat: Floats, t: Turns, found: Frames, out: Floats) -> None:
    """The same of the receiver's height."""
    out[:] = 0.0
    at = FIRST[RECEIVER]
    dyad = 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, flat[at], flat[at + 1], flat[at + 2]
    add_pull(pull_stick(m, t, found, dyad, (0.0, 0.0, 1.0)), out)
    add_point(seen(level_after(found[0], found[1]), 0.0, 0.0, 1.0), RECEIVER, out)
