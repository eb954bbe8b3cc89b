"""How far a cylinder stretches with the joint it moves, at many angles: the loops behind forces and speeds."""

import math

import numpy as np
from numpy.typing import NDArray

from .compiled import compiled
from .linkage import OK, bucket_from_idler, idler_from_bucket
from .rates import triangle_rates


@compiled
def write_stretches(
    angles: NDArray[np.float64], foot_x: float, foot_z: float, eye_x: float, eye_z: float, out: NDArray[np.float64]
) -> None:  # fmt: skip
    """d cylinder length / d joint angle (m/rad) into `out` at joint angles (rad), both of shape (n,); pins as
    `linkage.cylinder_from_joint`. Foot 3 m ahead, eye 4 m out, link upright: 2.4 m a radian raised."""
    for i in range(angles.size):
        by_angle, _, _, _, _ = triangle_rates(angles[i], foot_x, foot_z, eye_x, eye_z)
        out[i] = by_angle


@compiled
def write_bucket_stretches(
    buckets: NDArray[np.float64], pivot_x: float, pivot_z: float, idler_length: float, power_link: float,
    bucket_pin_x: float, pin_spacing: float, branch: float, idler_side: float, foot_x: float, foot_z: float,
    out: NDArray[np.float64],
) -> None:  # fmt: skip
    """d bucket cylinder length / d bucket angle (m/rad), through idler and power link; NaN where they do not close.
    `foot` is seen from the idler's pivot, the rod's eye is the idler's outer pin."""
    for i in range(buckets.size):
        idler, status, _ = idler_from_bucket(
            buckets[i], pivot_x, pivot_z, idler_length, power_link, bucket_pin_x, pin_spacing, branch, idler_side
        )  # fmt: skip
        out[i] = math.nan
        if status == OK:
            _, _, _, ratio, _, _ = bucket_from_idler(
                idler, pivot_x, pivot_z, idler_length, power_link, bucket_pin_x, pin_spacing, branch
            )
            by_idler, _, _, _, _ = triangle_rates(idler, foot_x, foot_z, idler_length, 0.0)
            out[i] = by_idler / ratio
