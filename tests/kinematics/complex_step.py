"""Exact derivatives of places, in double precision: a numpy chain that takes complex angles and dimensions.

h f'(x) is the imaginary part of f(x + ih), with no difference taken (W. Squire and G. Trapp, SIAM Review 40, 1998).
Written from the point outwards, without matrices; it shares no line with `kinematics` nor with `fifty_digits`.
"""

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from .fifty_digits import AXES, JOINTS

STEP = 1e-30
Complex = NDArray[np.complex128]
Triple = tuple[Complex, Complex, Complex]


def raised(at: Triple, angle: Complex, x: Complex, z: Complex) -> Triple:
    """A place in a link that stands at (x, z), turned by `angle` from x towards z."""
    c, s = np.cos(angle), np.sin(angle)
    return x + c * at[0] - s * at[2], at[1], z + s * at[0] + c * at[2]


def spun(at: Triple, angle: Complex, point: Triple, axis: Triple) -> Triple:
    """A place turned by the right hand about a line: v cos + (u x v) sin + u (u . v) (1 - cos)."""
    vx, vy, vz = (a - p for a, p in zip(at, point, strict=True))
    ux, uy, uz = axis
    c, s = np.cos(angle), np.sin(angle)
    along = (ux * vx + uy * vy + uz * vz) * (1.0 - c)
    return (
        point[0] + c * vx + s * (uy * vz - uz * vy) + along * ux,
        point[1] + c * vy + s * (uz * vx - ux * vz) + along * uy,
        point[2] + c * vz + s * (ux * vy - uy * vx) + along * uz,
    )


def places(given: dict[str, Complex], name: str) -> Triple:
    """(reach, lateral, height) of one point, worked outwards from the point; analytic in all that goes in."""

    def triple(part: str) -> Triple:
        return given[f"{part}_x"], given[f"{part}_y"], given[f"{part}_z"]

    none = np.zeros_like(given["pitch"])
    at = triple(name)
    if name != "receiver":
        at = raised(at, given["mount_angle"], given["mount_x"], given["mount_z"])
        at = spun(at, given["rotate"], triple("rotate_point"), triple("rotate_axis"))
        at = spun(at, given["tilt"], triple("tilt_point"), triple("tilt_axis"))
        at = raised(at, given["coupler_angle"], given["coupler_x"], given["coupler_z"])
        at = raised(at, given["bucket"], given["stick_length"], none)
    at = raised(at, given["stick"], given["fore_boom_length"], none)
    at = raised(at, given["fore_boom"], given["boom_length"], none)
    at = raised(at, given["boom"], none, none)
    x, y, z = at[0] + given["boom_foot_x"], at[1] + given["boom_foot_y"], at[2]
    c, s = np.cos(given["swing_boom"]), np.sin(given["swing_boom"])
    x, y = given["swing_post_x"] + c * x - s * y, given["swing_post_y"] + s * x + c * y
    nx, ny, nz = (
        np.sin(given["pitch"]),
        np.cos(given["pitch"]) * np.sin(given["roll"]),
        np.cos(given["pitch"]) * np.cos(given["roll"]),
    )
    run = np.sqrt(nx * nx + nz * nz)
    reach = (nz * x - nx * z) / run
    return reach, run * y - ny * (nx * x + nz * z) / run, nx * x + ny * y + nz * z


def rates(given: dict[str, float], q: Sequence[float], name: str) -> dict[str, dict[str, float]]:
    """Partial derivatives of one point's reach, lateral and height: by axis, then by joint or parameter.

    `given`: parameter name to value, m and rad, those that are not NaN; `q`: the angles of `JOINTS`, rad.
    """
    base = dict(zip(JOINTS, q, strict=True)) | {key: x for key, x in given.items() if not math.isnan(x)}
    varied = list(base)
    stepped = {key: x + 1j * STEP * np.array([key == other for other in varied]) for key, x in base.items()}
    return {
        axis: dict(zip(varied, (along.imag / STEP).tolist(), strict=True))
        for axis, along in zip(AXES, places(stepped, name), strict=True)
    }
