"""Random poses of the random machines, with their parameters and outputs by name."""

import math

import numpy as np

from kinematics.arm import Pose, pose
from kinematics.parameters import NAMES, TOOTH_POINTS

from .fifty_digits import AXES, JOINTS, ON_BUCKET
from .machines import random_angles, seeded

# So that the edges of these machines, 0.3 m and wider, are not on end: a slope divides by the run.
LEAST_RUN_M = 0.1
# Where both sides of the heel clear alike, the lesser changes sides and its rate jumps.
LEAST_APART_M = 1e-3
SHAPES = ("cross_slope", "floor_angle", "heel_clearance", "mast_angle")

# Seed and whether a four-bar turns the bucket; between them every part a machine may have or lack.
CHOSEN = [(seed, seed % 2 == 1) for seed in range(12)]


def posed(seed: int, *, linkage: bool) -> Pose:
    """A random pose of a random machine whose edge has a run, whose heel is not level with itself."""
    assembly = seeded(seed, linkage=linkage)
    rng = np.random.default_rng([50, seed])
    while True:
        found = pose(assembly, **random_angles(rng, assembly))
        left, right = found.level("left"), found.level("right")
        run = math.dist(left[:2], right[:2])
        clear = [found.height("heel_left") - left[2], found.height("heel_right") - right[2]]
        if run > LEAST_RUN_M and abs(clear[0] - clear[1]) > LEAST_APART_M:
            return found


def parameters_of(found: Pose) -> dict[str, float]:
    """All parameters by name, NaN for a part that is missing."""
    values = found.assembly.parameters.view(np.float64).tolist()
    return dict(zip(NAMES, values, strict=True))


def value_of(found: Pose, output: str) -> float:
    if output in SHAPES:
        value: float = getattr(found, output)
        return value
    point, _, axis = output.rpartition("_")
    return found.level(point)[AXES.index(axis)]


def outputs_of(found: Pose) -> list[str]:
    """The names of all outputs that this machine has."""
    points = [*ON_BUCKET]
    if not found.has_teeth:
        points = [name for name in points if name not in TOOTH_POINTS]
    shapes = [*SHAPES]
    if found.assembly.machine.receiver is None:
        shapes.remove("mast_angle")
    else:
        points.append("receiver")
    return [f"{point}_{axis}" for point in points for axis in AXES] + shapes


def points_of(found: Pose) -> list[str]:
    return [output.removesuffix("_reach") for output in outputs_of(found) if output.endswith("_reach")]


def joints_of(found: Pose) -> list[str]:
    return ["pitch", "roll", *(name for name in JOINTS if name in found.assembly.ranges)]
