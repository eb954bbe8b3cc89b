"""The least circle around the swing axis that holds an arm, whatever its joints: by branch and bound.

Boxes of joint angles are halved as long as some posture in them might need less room by more than `WITHIN_M` than the
best known. What a box might need at least: each point's reach in its middle, less the way to the box's border at the
speed it has in the middle, less what the speed may change on that way.
"""

import math
from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from .arm import pose
from .assembly import Assembly
from .compiled import compiled
from .linkage import idler_from_bucket

Floats = NDArray[np.float64]
WITHIN_M = 1e-3
"""How much less room than told another posture may need at most."""
_JOINTS = ("boom", "fore_boom", "stick", "bucket")
_FRAMES: Mapping[str, int] = {
    "boom_foot_pin": 0, "boom_cylinder_foot": 0, "fore_boom_pin": 1, "boom_cylinder_eye": 1, "fore_boom_cylinder_foot": 1,
    "stick_pin": 2, "fore_boom_cylinder_eye": 2, "stick_cylinder_foot": 2, "bucket_pin": 3, "idler_pivot": 3,
    "stick_cylinder_eye": 3, "bucket_cylinder_foot": 3, "link_pin": 4,
}  # fmt: skip
_BOXES = 4096  # at once


@compiled
def write_idlers(
    buckets: Floats, pivot_x: float, pivot_z: float, idler_length: float, power_link: float, bucket_pin_x: float,
    pin_spacing: float, branch: float, side: float, out: Floats,
) -> None:  # fmt: skip
    """`linkage.idler_from_bucket` of many bucket angles (rad)."""
    for i in range(buckets.size):
        out[i], _, _ = idler_from_bucket(
            buckets[i], pivot_x, pivot_z, idler_length, power_link, bucket_pin_x, pin_spacing, branch, side
        )


def least_swing_radius(
    assembly: Assembly, held: dict[str, float], moving: tuple[str, ...]
) -> tuple[float, dict[str, float], tuple[float, float]]:
    """(radius m, joints rad, (reach, height) m of what stands farthest out) of the posture that needs the least room;
    none needs less by more than `WITHIN_M`.

    The machine level. `held`: joints that stand (rad); `moving`: those that go from stop to stop. All pins that the
    profile gives and all points of the bucket are held; links and cylinders are wider than their pins.
    """
    spans = {name: assembly.ranges[name] for name in moving}
    ends = [(spans[n].low, spans[n].high) if n in spans else (held.get(n, 0.0),) * 2 for n in _JOINTS]
    low, high = np.array([end[0] for end in ends]), np.array([end[1] for end in ends])
    arm = _Arm(
        assembly,
        held,
        dict(zip(moving, (0.5 * (span.low + span.high) for span in spans.values()), strict=True)),
    )
    stops = np.stack(np.meshgrid(*zip(low, high, strict=True), indexing="ij"), axis=-1).reshape(
        -1, len(_JOINTS)
    )
    needed = arm.needed(stops)
    best, radius = stops[int(np.argmin(needed))], float(needed.min())
    middles, halves = 0.5 * (low + high)[None], 0.5 * (high - low)[None]
    while len(middles):
        now, later = slice(None, _BOXES), slice(_BOXES, None)
        needed, least = arm.bounds(middles[now], halves[now])
        at = int(np.argmin(needed))
        if needed[at] < radius:
            best, radius = middles[now][at], float(needed[at])
        open_ = least < radius - WITHIN_M
        centre, half = middles[now][open_], halves[now][open_]
        widest = np.argmax(half * arm.longest, axis=1)
        step = np.zeros_like(half)
        rows = np.arange(len(half))
        step[rows, widest] = half[rows, widest] = 0.5 * half[rows, widest]
        middles = np.concatenate([centre - step, centre + step, middles[later]])
        halves = np.concatenate([half, half, halves[later]])
    joints = {name: float(best[_JOINTS.index(name)]) for name in moving}
    x, y, z = max(_places(assembly, held, joints)[1], key=lambda point: math.hypot(point[0], point[1]))
    return math.hypot(x, y), joints, (x, z)


def _places(
    assembly: Assembly, held: Mapping[str, float], joints: Mapping[str, float]
) -> tuple[dict[str, tuple[float, float, float]], list[tuple[float, float, float]]]:
    """(pins by name, all pins and points of the bucket) of a posture, m in the body."""
    placed = pose(assembly, pitch=0.0, roll=0.0, **held, **joints)
    pins = placed.pins()
    bucket = [body for name, (_, body) in placed.places().items() if name != "receiver"]
    line = [(x, y, z) for x, y, z in placed.edge_line().tolist()]
    return pins, [*pins.values(), *bucket, *line]


class _Arm:
    """Every pin and point in its link's plane, and how far out they stand at many postures."""

    def __init__(self, assembly: Assembly, held: Mapping[str, float], middle: Mapping[str, float]) -> None:
        pins, places = _places(assembly, held, middle)
        machine = assembly.machine
        angles = np.array([middle.get(name, held.get(name, 0.0)) for name in _JOINTS])
        self._lengths = np.array([machine.boom_length, machine.fore_boom_length or 0.0, machine.stick_length])
        foot = pins["boom_foot_pin"]
        self._base = foot[0]
        origins, turned = self._frames(angles[None])
        found: list[tuple[int, complex, float]] = []
        frames = [_FRAMES.get(name, -1) for name in pins] + [4] * (len(places) - len(pins))
        for frame, (x, y, z) in zip(frames, places, strict=True):
            if frame >= 0:
                own = (complex(x - foot[0], z - foot[2]) - origins[frame][0]) / turned[frame][0]
                found.append((frame, own, y))
        self._points = found
        self._idler = pins["idler_pin"][1] if "idler_pin" in pins else None
        self._assembly = assembly
        sizes = [max((abs(own) for frame, own, _ in found if frame >= k), default=0.0) for k in range(5)]
        # How far out anything beyond each joint's pin may stand from it.
        out = np.concatenate([self._lengths, [0.0]])
        self.longest = np.array([out[k:].sum() + sizes[k + 1] for k in range(4)])

    def _frames(self, angles: Floats) -> tuple[list[NDArray[np.complex128]], list[NDArray[np.complex128]]]:
        """Origin (m) and direction of each link's frame, first the body's, at postures (n, 4)."""
        origins = [np.zeros(len(angles), dtype=complex)] * 2
        turned = [np.ones(len(angles), dtype=complex)]
        for k in range(4):
            turned.append(turned[-1] * np.exp(1j * angles[:, k]))
            if k < 3:
                origins.append(origins[-1] + self._lengths[k] * turned[-1])
        return origins, turned

    def needed(self, angles: Floats) -> Floats:
        """The radius (m) at postures (n, 4)."""
        return self.bounds(angles, np.zeros_like(angles))[0]

    def bounds(self, angles: Floats, halves: Floats) -> tuple[Floats, Floats]:
        """(radius m in the middle, no more than the least radius) of boxes, both (n,); `angles` and `halves` (n, 4)."""
        origins, turned = self._frames(angles)
        middle, least = np.zeros(len(angles)), np.zeros(len(angles))
        for frame, own, aside in self._points:
            at = origins[frame] + own * turned[frame]
            off = np.zeros(len(angles))
            for k in range(frame):
                # Its speed with joint k is its height over the joint's pin; that changes with the way of k and beyond.
                far = self._lengths[k : max(frame - 1, k)].sum() + abs(own)
                off += halves[:, k] * (
                    np.abs((at - origins[k + 1]).imag) + far * halves[:, :frame].sum(axis=1)
                )
            self._take(middle, least, at.real, off, aside)
        if self._idler is not None:
            self._take_idler(middle, least, origins, turned, angles, halves)
        return middle, least

    def _take(self, middle: Floats, least: Floats, ahead: Floats, off: Floats, aside: float) -> None:
        out = np.abs(self._base + ahead)
        np.maximum(middle, np.hypot(out, aside), out=middle)
        np.maximum(least, np.hypot(np.maximum(out - off, 0.0), aside), out=least)

    def _take_idler(
        self, middle: Floats, least: Floats, origins: list[NDArray[np.complex128]], turned: list[NDArray[np.complex128]],
        angles: Floats, halves: Floats,
    ) -> None:  # fmt: skip
        """The idler's outer pin: the idler turns one way with the bucket, so that its ends are those of the box."""
        links, side, span = self._assembly.links, self._assembly.idler_side, self._assembly.ranges["bucket"]
        assert links is not None and self._idler is not None  # noqa: S101, PT018
        ends = np.clip(
            angles[:, 3, None] + halves[:, 3, None] * np.array([-1.0, 0.0, 1.0]), span.low, span.high
        )
        told = np.empty(ends.size)
        write_idlers(ends.ravel(), *links, side, told)
        told = told.reshape(ends.shape)
        told = told[:, 1, None] + np.angle(np.exp(1j * (told - told[:, 1, None])))
        own = complex(links[0], links[1]) + links[2] * np.exp(1j * told[:, 1])
        at = origins[3] + own * turned[3]
        off = links[2] * np.abs(told - told[:, 1, None]).max(axis=1)
        for k in range(3):
            far = self._lengths[k:2].sum() + np.abs(own)
            off += halves[:, k] * (np.abs((at - origins[k + 1]).imag) + far * halves[:, :3].sum(axis=1))
        self._take(middle, least, at.real, off, self._idler)
