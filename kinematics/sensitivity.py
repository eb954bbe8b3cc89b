"""One pose: d output / d every joint and every named parameter, exact.

At constant joint angles, or at constant readings of what stands in for them: an idler sensor, a cylinder's length.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from .arm import Pose
from .block import Columns as Nine
from .chain import OUTPUTS
from .drive_rates import DRIVE_OUTPUTS, Rates, behind, drive_output
from .errors import Fault, Refused
from .gradient import JOINT_COLUMNS
from .gradient_block import GRADIENT_COLUMNS, differentiate_rows
from .linkage import OK
from .parameters import NAMES

DIFFERENTIABLE = (*OUTPUTS[:-1], *DRIVE_OUTPUTS)
"""Places (m), shapes, cylinder lengths (m) and linkage angles (rad) that `sensitivity` takes as its output."""


@dataclass(frozen=True, slots=True)
class Sensitivity:
    """Derivatives of one output in one pose.

    `value` of the output (m, rad, ratio); `joints`: by pitch, roll and each joint, or by what is sensed in its place
    ("idler", "boom_cylinder"), per rad or per m; `parameters`: by name, per m or rad, zero where it has no part in it.
    `kinked`: joints and parameters without one, since the output bends there: the heel clearance of a bucket whose both
    ends clear alike has none by what moves one end alone.
    """

    output: str
    value: float
    joints: dict[str, float]
    parameters: dict[str, float]
    kinked: tuple[str, ...] = ()


def sensitivity(pose: Pose, output: str, sensed: Mapping[str, str] | None = None) -> Sensitivity:
    """Derivatives of `output`, one of `DIFFERENTIABLE`, in this pose.

    `sensed`: joint to what is read in its place: "cylinder", or for the bucket "idler" or "power_link"; the dimensions
    of its linkage then count too. At 8 m reach on level ground d centre_height / d boom is 8 m/rad: 0.1 deg is 14 mm.
    Raises `Refused`: "unknown-output", "no-such-point", "no-cylinder", "no-linkage", "not-sensed-so", and
    "no-derivative" where there is none: a mast that stands plumb, a linkage at dead centre.
    """
    if output in DRIVE_OUTPUTS:
        value, rates = drive_output(pose, output)
    elif output in OUTPUTS[:-1]:
        value, rates = _of_pose(pose, output)
    else:
        raise Refused(
            [Fault("unknown-output", "output", repr(output), "one of " + ", ".join(DIFFERENTIABLE))]
        )
    rates = behind(pose, rates, sensed or {})
    joints, parameters = rates
    parameters = {name: parameters.get(name, 0.0) for name in _present(pose)}
    kinked = tuple(name for name, rate in (*joints.items(), *parameters.items()) if not math.isfinite(rate))
    if set(joints) <= set(kinked) or (kinked and output != "heel_clearance"):
        raise Refused([
            Fault("no-derivative", "output", f"{output} at a kink or dead centre", "a pose where it changes smoothly",
                  "move a joint a little")
        ])  # fmt: skip
    return Sensitivity(
        output, value,
        {name: rate for name, rate in joints.items() if name not in kinked},
        {name: rate for name, rate in parameters.items() if name not in kinked}, kinked,
    )  # fmt: skip


def coupler_play(pose: Pose, point: str) -> float:
    """Half the range of height (m) that the coupler's play gives a point: 0.5 play |d height / d coupler angle|.

    The bucket rocks about the inner pin that the coupler holds: a play of 0.01 rad moves an edge 1 m level from it 5 mm
    either way. 0.0 where no play was measured. To first order. Raises `Refused` "no-such-point".
    """
    pose.height(point)
    play = pose.assembly.attachment.coupler_play
    if play is None:
        return 0.0
    return 0.5 * play * abs(sensitivity(pose, f"{point}_height").parameters["coupler_angle"])


def _of_pose(pose: Pose, output: str) -> tuple[float, Rates]:
    kind = OUTPUTS.index(output)
    value = pose.output(output)
    assembly = pose.assembly
    out = np.empty((len(GRADIENT_COLUMNS), 1))
    status = np.full(1, OK, dtype=np.uint8)
    frozen = pose.q.view()
    frozen.flags.writeable = False
    columns: Nine = tuple(frozen[i : i + 1] for i in range(len(JOINT_COLUMNS)))  # type: ignore[assignment]
    differentiate_rows(
        assembly.parameters, assembly.parameters.view(np.float64).reshape(1, -1), assembly.limits.reshape(1, -1),
        np.zeros(1, dtype=np.int64), columns, np.ones(len(JOINT_COLUMNS)), 1, kind,
        np.arange(len(GRADIENT_COLUMNS)), np.ones(len(GRADIENT_COLUMNS)), out, status, 0, 1,
    )  # fmt: skip
    rates = dict(zip(GRADIENT_COLUMNS, out[:, 0].tolist(), strict=True))
    joints = ("pitch", "roll", *assembly.ranges)
    present = _present(pose)
    return value, (
        {name: rates[name] for name in JOINT_COLUMNS if name in joints},
        {name: rates[name] for name in GRADIENT_COLUMNS if name in present},
    )


def _present(pose: Pose) -> tuple[str, ...]:
    """The parameters that the profile gives."""
    missing = np.isnan(pose.assembly.parameters.view(np.float64)).tolist()
    lacks = pose.assembly.lacks
    return tuple(
        name for name, absent in zip(NAMES, missing, strict=True) if not absent and name not in lacks
    )
