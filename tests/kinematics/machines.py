"""Random machines and attachments, seeded, and a few fixed ones. Nothing here calls the formulas under test."""

import functools
import math
from collections.abc import Callable
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from kinematics.assembly import Assembly, assemble
from kinematics.machine import (
    Attachment,
    Axis,
    BucketLinkage,
    Cylinder,
    Held,
    Machine,
    Offset,
    Point,
    Range,
    Receiver,
)
from tests.reference import mini_excavator as mini

Rng = np.random.Generator
Part = TypeVar("Part")
# Past these a random linkage would stand too near dead centre for its referee to find the same root.
BEST_ANGLES = math.radians(20.0), math.radians(160.0)


def unit(x: float, y: float, z: float) -> Point:
    """The direction of (x, y, z), of length 1 to the last bit or two."""
    length = math.hypot(x, y, z)
    return x / length, y / length, z / length


def span(rng: Rng, low: float, high: float, least: float) -> Range:
    """A random range inside low to high, at least `least` wide."""
    start = rng.uniform(low, high - least)
    return Range(start, rng.uniform(start + least, high))


def cylinder_over(rng: Rng, joint: Range, eye: tuple[float, float] | None = None) -> Cylinder:
    """A random cylinder whose stroke turns a joint over exactly `joint` (narrower than 150 deg)."""
    extending = int(rng.choice([-1, 1]))
    if eye is None:
        far, direction = rng.uniform(0.15, 1.2), rng.uniform(-math.pi, math.pi)
        eye = far * math.cos(direction), far * math.sin(direction)
    width = joint.high - joint.low
    least = rng.uniform(math.radians(10), math.pi - math.radians(10) - width)
    folded = joint.low if extending > 0 else joint.high  # where the cylinder is shortest
    foot_direction = folded + math.atan2(eye[1], eye[0]) - extending * least
    far = rng.uniform(0.2, 1.5)
    foot = far * math.cos(foot_direction), far * math.sin(foot_direction)

    def length(angle: float) -> float:
        c, s = math.cos(angle), math.sin(angle)
        return math.dist(foot, (c * eye[0] - s * eye[1], s * eye[0] + c * eye[1]))

    ends = sorted((length(joint.low), length(joint.high)))
    return Cylinder(*foot, *eye, Range(*ends), extending)


def _held(rng: Rng, joint: Range, *, driven: bool) -> Held:
    return cylinder_over(rng, joint) if driven else joint


def good_idlers(
    bar: tuple[float, float, float, float], bucket_pin_x: float, spacing: float, branch: int
) -> Range:
    """The widest run of idler angles, whole degrees, where links and toggle stand well off a line.

    `bar`: pivot x, z, idler and power link length. Circle meeting by base point and height, not by angles.
    Returns an empty run as Range(0, 0).
    """
    pivot_x, pivot_z, idler, power = bar
    angles = np.radians(np.arange(-180.0, 181.0))
    h = np.array([pivot_x, pivot_z]) + idler * np.stack([np.cos(angles), np.sin(angles)], axis=1)
    way = np.array([bucket_pin_x, 0.0]) - h
    d = np.hypot(way[:, 0], way[:, 1])
    base = (power**2 - spacing**2 + d**2) / (2.0 * d)
    height = np.sqrt(np.maximum(power**2 - base**2, 0.0))
    ahead = way / d[:, None]
    left = np.stack([-ahead[:, 1], ahead[:, 0]], axis=1)
    k = h + base[:, None] * ahead + branch * height[:, None] * left

    def between(a: NDArray[np.float64], b: NDArray[np.float64]) -> NDArray[np.float64]:
        cross = np.abs(a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0])
        angles: NDArray[np.float64] = np.arctan2(cross, np.sum(a * b, axis=1))
        return angles

    transmission = between(h - k, np.array([bucket_pin_x, 0.0]) - k)
    toggle = between(h - np.array([pivot_x, pivot_z]), k - h)
    low, high = BEST_ANGLES
    good = (
        (power > np.abs(base))
        & (transmission > low)
        & (transmission < high)
        & (toggle > low)
        & (toggle < high)
    )
    best, start = (0, 0), None
    for i, ok in enumerate([*good.tolist(), False]):
        if ok and start is None:
            start = i
        elif not ok and start is not None:
            if i - 1 - start > best[1] - best[0]:
                best = start, i - 1
            start = None
    return Range(float(angles[best[0]]), float(angles[best[1]]))


def bucket_linkage(rng: Rng, stick_length: float, spacing: float, *, driven: bool) -> BucketLinkage:
    """A random four-bar, on either branch, that closes over at least 40 deg of its idler."""
    branch = int(rng.choice([-1, 1]))
    while True:
        bar = (
            stick_length - rng.uniform(0.1, 0.6), rng.uniform(-0.15, 0.15),
            rng.uniform(0.15, 0.6), rng.uniform(0.15, 0.7),
        )  # fmt: skip
        run = good_idlers(bar, stick_length, spacing, branch)
        if run.high - run.low < math.radians(40):
            continue
        idler = Range(run.low, min(run.high, run.low + math.radians(140)))
        drive: Held = cylinder_over(rng, idler, eye=(bar[2], 0.0)) if driven else idler
        return BucketLinkage(*bar, branch, drive)


def random_pair(rng: Rng, *, linkage: bool = False, driven: bool = False) -> tuple[Machine, Attachment]:
    """A machine and an attachment for it, each optional part present in about half of all.

    `linkage`: the bucket turned by a four-bar, else by a plain range. `driven`: cylinders on every joint.
    """
    attachment = random_attachment(rng)
    stick_length = rng.uniform(1.0, 4.0)
    bucket = (
        bucket_linkage(rng, stick_length, attachment.pin_spacing, driven=driven)
        if linkage
        else span(rng, -2.6, 2.6, 0.8)
    )
    two_piece, swings = rng.random() < 0.5, rng.random() < 0.5
    return Machine(
        boom_foot_x=rng.uniform(-0.3, 0.6),
        boom_foot_y=rng.uniform(-0.4, 0.4),
        boom_length=rng.uniform(1.5, 6.0),
        stick_length=stick_length,
        boom=_held(rng, span(rng, -0.8, 1.3, 0.5), driven=driven),
        stick=_held(rng, span(rng, -2.7, -0.3, 0.5), driven=driven),
        bucket=bucket,
        fore_boom_length=rng.uniform(0.8, 3.0) if two_piece else None,
        fore_boom=_held(rng, span(rng, -1.4, 0.4, 0.3), driven=driven) if two_piece else None,
        swing_post_x=rng.uniform(0.2, 0.9) if swings else 0.0,
        swing_post_y=rng.uniform(-0.2, 0.2) if swings else 0.0,
        swing_boom=span(rng, -1.2, 1.2, 0.4) if swings else None,
        receiver=Receiver(_point(rng, 0.6), unit(*rng.normal(size=3))) if rng.random() < 0.8 else None,
    ), attachment


def random_attachment(rng: Rng) -> Attachment:
    """An attachment without symmetry; axes lean up to some 30 deg from forward (tilt) and upright (rotation)."""
    width = rng.uniform(0.3, 2.2)
    inner = int(rng.integers(1, 5))
    ys = np.sort(rng.uniform(-0.5, 0.5, size=inner + 2))[::-1] * width
    ys[0], ys[-1] = 0.5 * width, -0.55 * width
    floor = _point(rng, 0.8)
    edge = tuple(
        (floor[0] + rng.uniform(-0.05, 0.05), float(y), floor[2] + rng.uniform(-0.05, 0.05)) for y in ys
    )
    heel = floor[0] + rng.uniform(0.2, 0.8), floor[2] + rng.uniform(-0.6, 0.6)
    stands = rng.uniform(0.05, 0.2)

    def ahead(p: Point) -> Point:
        return p[0] - stands, p[1], p[2] + 0.01

    return Attachment(
        pin_spacing=rng.uniform(0.15, 0.55),
        edge=edge,
        centre=int(rng.integers(1, inner + 1)),
        heel=((heel[0], 0.4 * width, heel[1]), (heel[0] + 0.03, -0.45 * width, heel[1] - 0.02)),
        teeth=_maybe(rng, lambda: (ahead(edge[0]), ahead(edge[1]), ahead(edge[-1]))),
        coupler=_maybe(rng, lambda: _offset(rng)),
        tilt=_maybe(rng, lambda: Axis(_point(rng, 0.4), _leaning(rng, 0), span(rng, -0.9, 0.9, 0.4))),
        rotate=_maybe(rng, lambda: Axis(_point(rng, 0.4), _leaning(rng, 2), span(rng, -3.1, 3.1, 1.0))),
        mount=_maybe(rng, lambda: _offset(rng)),
    )


def _maybe(rng: Rng, make: Callable[[], Part]) -> Part | None:
    return make() if rng.random() < 0.6 else None


def _point(rng: Rng, size: float) -> Point:
    x, y, z = rng.uniform(-size, size, size=3).tolist()
    return x, y, z


def _leaning(rng: Rng, mainly: int) -> Point:
    direction = rng.uniform(-0.35, 0.35, size=3)
    direction[mainly] = 1.0
    return unit(*direction)


def _offset(rng: Rng) -> Offset:
    return Offset(rng.uniform(-0.2, 0.4), rng.uniform(-0.4, 0.2), rng.uniform(-0.6, 0.6))


def random_angles(rng: Rng, assembly: Assembly) -> dict[str, float]:
    """Arguments of `pose`: a lean of up to 23 deg either way and every joint somewhere in its range."""
    lean = {"pitch": rng.uniform(-0.4, 0.4), "roll": rng.uniform(-0.4, 0.4)}
    return lean | {name: rng.uniform(reach.low, reach.high) for name, reach in assembly.ranges.items()}


@functools.cache
def seeded(seed: int, *, linkage: bool = False, driven: bool = False) -> Assembly:
    """The random machine of this seed, with its attachment."""
    return assemble(*random_pair(np.random.default_rng(seed), linkage=linkage, driven=driven))


LUG_DIRECTION = math.atan2(mini.LINK_LUG_K[1], mini.LINK_LUG_K[0])


def mini_machine(branch: int = 1) -> Machine:
    """The published mini excavator; its stick and bucket cylinder feet seen from the joints they turn."""
    foot_e = mini.STICK_CYLINDER_FOOT_E[0] - mini.STICK_PIN_A[0], mini.STICK_CYLINDER_FOOT_E[1]
    foot_g = mini.BUCKET_CYLINDER_FOOT_G[0] - mini.IDLER_PIVOT_J[0], mini.BUCKET_CYLINDER_FOOT_G[1]
    strokes = {
        name: Range(*(length for joint, length, _ in mini.PAIRS if joint == name))
        for name in ("boom", "stick", "bucket")
    }
    drive = Cylinder(*foot_g, mini.IDLER_HJ, 0.0, strokes["bucket"], -1)
    return Machine(
        boom_foot_x=0.0,
        boom_foot_y=0.0,
        boom_length=mini.STICK_PIN_A[0],
        stick_length=mini.BUCKET_PIN_L[0],
        boom=Cylinder(*mini.BOOM_CYLINDER_FOOT_C, *mini.BOOM_CYLINDER_EYE_D, strokes["boom"], 1),
        stick=Cylinder(*foot_e, *mini.STICK_CYLINDER_EYE_F, strokes["stick"], -1),
        bucket=BucketLinkage(*mini.IDLER_PIVOT_J, mini.IDLER_HJ, mini.POWER_LINK_HK, branch, drive),
    )


def mini_bucket() -> Attachment:
    """Its bucket: pins and tip published, the width of 0.6 m and the heel invented."""
    c, s = math.cos(LUG_DIRECTION), math.sin(LUG_DIRECTION)

    def at(x: float, y: float, z: float) -> Point:  # published x runs to the tip, ours to the link pin
        return c * x + s * z, y, c * z - s * x

    tip, up = mini.TIP_M
    return Attachment(
        pin_spacing=math.hypot(*mini.LINK_LUG_K),
        edge=(at(tip, 0.3, up), at(tip, 0.0, up), at(tip, -0.3, up)),
        centre=1,
        heel=(at(0.3, 0.3, -0.3), at(0.3, -0.3, -0.3)),
    )


def plain_machine(**changes: object) -> Machine:
    """An invented machine with plain ranges. Boom 0.6, stick -1.6, bucket 1.0 set the pin line level."""
    parts: dict[str, object] = {
        "boom_foot_x": 0.2,
        "boom_foot_y": 0.0,
        "boom_length": 5.0,
        "stick_length": 2.5,
        "boom": Range(-0.8, 1.1),
        "stick": Range(-2.6, -0.4),
        "bucket": Range(-1.5, 2.0),
    }
    return Machine(**(parts | changes))  # type: ignore[arg-type]


LEVEL = {"pitch": 0.0, "roll": 0.0}
DIGGING = {"boom": 0.6, "stick": -1.6, "bucket": 1.0}


def plain_bucket(**changes: object) -> Attachment:
    """An invented square bucket, 1.4 m wide, floor flat where the pin line is level, the heel away from the seat."""
    parts: dict[str, object] = {
        "pin_spacing": 0.4,
        "edge": ((-0.2, 0.7, -1.2), (-0.2, 0.0, -1.2), (-0.2, -0.7, -1.2)),
        "centre": 1,
        "heel": ((0.6, 0.65, -1.2), (0.6, -0.65, -1.2)),
    }
    return Attachment(**(parts | changes))  # type: ignore[arg-type]


def tiltrotator_bucket() -> Attachment:
    """The same bucket below a tilt axis along the floor and an upright rotation axis through its middle."""
    return plain_bucket(
        tilt=Axis((0.2, 0.0, -0.3), (1.0, 0.0, 0.0), Range(-0.7, 0.7)),
        rotate=Axis((0.2, 0.0, -0.6), (0.0, 0.0, 1.0), Range(-math.pi, math.pi)),
    )
