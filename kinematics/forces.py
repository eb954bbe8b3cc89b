"""Tool forces: what the bucket's point presses with, by virtual work from cylinders and pressures, and what limits it.

As ISO 6015 (SAE J1179) has it: one cylinder works with its working pressure, the force is square to the way from its
joint's pin to the point, and no other circuit may be asked for more than its holding pressure. A force at the point
asks every cylinder for as much thrust as makes the work of both alike: thrust = force x (point's way along it) /
(cylinder's way), per radian of the joint. Not counted, as there: the masses of arm and load, friction, the pressure
in return lines; and not whether the machine tips or slides, or its steel holds.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .arm import Pose
from .arm_plane import Floats, Hold, hold, point_faults
from .assembly import ROUNDING_RAD, Assembly
from .chain import hitch_from_bucket
from .errors import Fault, Refused, refuse
from .forces_block import write_bucket_stretches, write_stretches
from .hydraulics import RAMS, Hydraulics
from .maps import place
from .reach import CLOSES_M, past_range

MODES = ("bucket", "stick")
"""Which cylinder works: the bucket's curls it in, the stick's draws the stick in."""
FORE_BOOMS = 5
Complexes = NDArray[np.complex128]


@dataclass(frozen=True, slots=True)
class Load:
    """What one cylinder (all of its joint together) has to do: `thrust` (N), positive where it pushes; the `pressure`
    (Pa) that takes, and what its circuit is `allowed` (Pa): working pressure where it works, else holding pressure."""

    thrust: float
    pressure: float
    allowed: float


@dataclass(frozen=True, slots=True)
class ToolForce:
    """The greatest `force` (N) of the point on the ground with one cylinder working, in one posture.

    `ahead`, `up`: its direction in the arm's plane with the machine level, of length 1. `limited_by`: the joint whose
    cylinder allows no more; the working one itself, or one that cannot hold. `loads` by joint, at this force;
    `unknown`: joints that have to hold and of whose cylinders nobody knows bore and pressure: they were taken to hold.
    """

    mode: str
    force: float
    ahead: float
    up: float
    limited_by: str
    loads: Mapping[str, Load]
    unknown: tuple[str, ...]


@dataclass(frozen=True, slots=True, eq=False)
class ForceMap:
    """The greatest force over an area, for each mode: of all postures that put the point on a place, the best.

    `reaches` (n,), `heights` (m,) in m; `force` (m, n) in N, NaN where the point does not get; `limited_by` (m, n):
    index of the limiting joint in `hydraulics.RAMS`, -1 where there is no force; `bucket` (m, n): bucket joint angle
    (rad) of the best posture. Postures are tried at in-plane bucket angles `step` (rad) apart.
    """

    mode: str
    reaches: Floats
    heights: Floats
    force: Floats
    limited_by: NDArray[np.int64]
    bucket: Floats
    fore_boom: Floats
    step: float


def tool_force(pose: Pose, hydraulics: Hydraulics, mode: str, *, point: str = "centre") -> ToolForce:
    """The greatest force of `point` (of `parameters.BUCKET_POINTS`) in a pose, `mode` of `MODES`.

    A bucket cylinder that pushes with 100 kN on a lever of 0.5 m through links that turn the bucket half as fast as the
    idler, the point 1.5 m out: 66.7 kN.
    Raises `Refused`: "no-such-point"; "no-such-mode"; "no-bore" where nobody knows the working cylinder; "dead-centre"
    where the bucket linkage stands there.
    """
    refuse([*point_faults(pose.assembly, point), *_mode_faults(pose.assembly, hydraulics, mode)])
    joints = {name: np.array([pose.joint(name)]) for name in RAMS}
    tip = _tip(pose.assembly, point, pose.joint("tilt"), pose.joint("rotate"))
    work = _Work(pose.assembly, hydraulics, joints, np.array([tip]), mode)
    force, which = work.greatest()
    if math.isnan(force[0]):
        raise Refused([
            Fault("dead-centre", "bucket", "idler and power link in one line", "a bucket angle away from dead centre",
                  "turn the bucket")
        ])  # fmt: skip
    loads = {}
    for name in work.names:
        if name in hydraulics.rams:
            thrust = float(force[0] * work.thrust[name][0])
            area = hydraulics.rams[name].area(pushing=thrust > 0.0)
            loads[name] = Load(thrust, abs(thrust) / area, work.allowed(name))
    unknown = tuple(name for name in work.names if name not in hydraulics.rams)
    direction = complex(work.direction[0])
    return ToolForce(
        mode, float(force[0]), direction.real, direction.imag, RAMS[int(which[0])], loads, unknown
    )


@dataclass(frozen=True, slots=True)
class RatedForce:
    """What one cylinder alone gives at best: `force` (N) with its working pressure, the point `lever` (m) from its
    joint's pin, `bucket` and, of the stick's, `stick` at these angles (rad). Whether the others hold is not asked.
    """

    mode: str
    force: float
    lever: float
    bucket: float
    stick: float | None


def rated_force(
    assembly: Assembly, hydraulics: Hydraulics, mode: str, *, point: str = "centre"
) -> RatedForce:
    """The figure of data sheets: the working cylinder in the position of its greatest moment, tilt and rotation at 0.

    Of the bucket: the bucket turned to where its cylinder's moment is greatest. Of the stick: the bucket there, the
    stick turned to where its own is (SAE J1179, 3.3; of the stick from memory). Found to 1e-9 rad.
    Raises `Refused`: as `tool_force`.
    """
    wanted = ("bucket",) if mode == "bucket" else ("bucket", mode)
    faults = [fault for each in wanted for fault in _mode_faults(assembly, hydraulics, each)]
    refuse([*point_faults(assembly, point), *faults])
    tip = _tip(assembly, point, 0.0, 0.0)
    bucket = _strongest(assembly, hydraulics, "bucket")
    if mode == "bucket":
        lever = abs(tip)
        return RatedForce(
            mode, _moment(assembly, hydraulics, mode, np.array([bucket]))[0] / lever, lever, bucket, None
        )
    stick = _strongest(assembly, hydraulics, mode)
    lever = abs(assembly.machine.stick_length + tip * np.exp(1j * bucket))
    force = _moment(assembly, hydraulics, mode, np.array([stick]))[0] / lever
    return RatedForce(mode, float(force), float(lever), bucket, stick)


def _moment(assembly: Assembly, hydraulics: Hydraulics, name: str, angles: Floats) -> Floats:
    """Moment (N m) with which a cylinder lowers its link or curls the bucket in, at joint angles (rad)."""
    ram, ways = hydraulics.rams[name], stretches(assembly, name, angles)
    areas = np.where(ways < 0.0, ram.area(pushing=True), ram.area(pushing=False))
    moment: Floats = ram.working_pressure * areas * np.abs(ways)
    return moment


def _strongest(assembly: Assembly, hydraulics: Hydraulics, name: str) -> float:
    """The joint angle (rad) of a cylinder's greatest moment."""
    span = assembly.ranges[name]
    low, high = span.low, span.high
    while True:
        angles = np.linspace(low, high, 181)
        best = float(angles[int(np.nanargmax(_moment(assembly, hydraulics, name, angles)))])
        cell = (high - low) / 180.0
        if cell <= ROUNDING_RAD:
            return best
        low, high = max(span.low, best - cell), min(span.high, best + cell)


def force_map(
    assembly: Assembly,
    hydraulics: Hydraulics,
    mode: str,
    *,
    reaches: Floats,
    heights: Floats,
    point: str = "centre",
    step: float = math.radians(1.0),
    fore_boom: float | None = None,
    tilt: float | None = None,
    rotate: float | None = None,
) -> ForceMap:
    """The greatest force over a grid of places, the machine level, its swing boom straight ahead; joints as to `pose`.

    Every place is tried with the bucket at in-plane angles `step` (rad) apart and both sides of the elbow; a place that
    only narrower windows reach has no force. A fore boom that is not given is tried at `FORE_BOOMS` angles from stop to
    stop. End stops count without slack.
    Raises `Refused`: as `tool_force`, and as `pose` for the joints given.
    """
    faults = [*point_faults(assembly, point), *_mode_faults(assembly, hydraulics, mode)]
    shape = (len(heights), len(reaches))
    found = ForceMap(
        mode, reaches, heights, np.full(shape, np.nan), np.full(shape, -1, dtype=np.int64), np.full(shape, np.nan),
        np.full(shape, np.nan), step,
    )  # fmt: skip
    fores: list[float | None] = [fore_boom]
    if fore_boom is None and "fore_boom" in assembly.ranges:
        span = assembly.ranges["fore_boom"]
        fores = np.linspace(span.low, span.high, FORE_BOOMS).tolist()
    for fore in fores:
        held = hold(
            assembly, pitch=0.0, roll=0.0, swing_boom=0.0 if "swing_boom" in assembly.ranges else None,
            fore_boom=fore, tilt=tilt, rotate=rotate, also=faults,
        )  # fmt: skip
        at = held.on_hitch(point)
        for row in range(len(heights)):
            _better(found, row, held, complex(at[0], at[2]), hydraulics)
    return found


def _better(found: ForceMap, row: int, held: Hold, tip: complex, hydraulics: Hydraulics) -> None:
    """Into a row of the map, the best posture of each place that is better than what stands there."""
    angles = np.arange(-math.pi, math.pi, found.step)
    joints, column = _postures(held, tip, angles, found.reaches, float(found.heights[row]))
    if not len(column):
        return
    force, which = _Work(held.assembly, hydraulics, joints, np.full(column.shape, tip), found.mode).greatest()
    order = np.lexsort((np.nan_to_num(force, nan=-1.0), column))
    last = order[np.flatnonzero(np.diff(column[order], append=-1))]
    good = last[force[last] > np.nan_to_num(found.force[row, column[last]], nan=-1.0)]
    at = column[good]
    found.force[row, at], found.limited_by[row, at] = force[good], which[good]
    found.bucket[row, at], found.fore_boom[row, at] = joints["bucket"][good], joints["fore_boom"][good]


class _Work:
    """Thrusts for a force of 1 N at many postures: joints (rad) by name of `RAMS`, shape (n,), `tips` (m)."""

    def __init__(
        self, assembly: Assembly, hydraulics: Hydraulics, joints: Mapping[str, Floats], tips: Complexes, mode: str
    ) -> None:  # fmt: skip
        self.hydraulics, self.mode = hydraulics, mode
        machine = assembly.machine
        links = {"boom": machine.boom_length, "fore_boom": machine.fore_boom_length or 0.0,
                 "stick": machine.stick_length}  # fmt: skip
        # From each joint's pin to the point, outermost first.
        along = sum(joints.values(), np.zeros(tips.shape))
        way = tips * np.exp(1j * along)
        moves: dict[str, Complexes] = {}
        for name in reversed(RAMS):
            moves[name] = 1j * way
            along = along - joints[name]
            inner = {"bucket": "stick", "stick": "fore_boom", "fore_boom": "boom"}.get(name)
            if inner is not None:
                way = way + links[inner] * np.exp(1j * along)
        self.direction: Complexes = -moves[mode] / np.abs(moves[mode])
        self.names = tuple(name for name in RAMS if name in assembly.cylinders)
        self.thrust: dict[str, Floats] = {}
        for name in self.names:
            along_force = (self.direction.conjugate() * moves[name]).real
            with np.errstate(divide="ignore", invalid="ignore"):
                self.thrust[name] = along_force / stretches(assembly, name, joints[name])

    def allowed(self, name: str) -> float:
        """The pressure (Pa) that a circuit may be asked for."""
        ram = self.hydraulics.rams[name]
        return ram.working_pressure if name == self.mode else ram.holding_pressure

    def greatest(self) -> tuple[Floats, NDArray[np.int64]]:
        """(force N, index in `RAMS` of what limits it) of each posture; NaN with the bucket linkage at dead centre."""
        known = [name for name in self.names if name in self.hydraulics.rams]
        most = []
        for name in known:
            ram, thrust = self.hydraulics.rams[name], self.thrust[name]
            area = np.where(thrust > 0.0, ram.area(pushing=True), ram.area(pushing=False))
            with np.errstate(divide="ignore"):
                most.append(self.allowed(name) * area / np.abs(thrust))
        all_of = np.stack(most)
        which = np.argmin(all_of, axis=0)
        force: Floats = np.take_along_axis(all_of, which[None], axis=0)[0]
        places = np.array([RAMS.index(name) for name in known])
        return force, places[which]


def stretches(assembly: Assembly, name: str, angles: Floats) -> Floats:
    """d cylinder length / d joint angle (m/rad) of a joint of `assembly.cylinders` at joint angles (rad), shape (n,);
    negative where a longer cylinder lowers the link or curls the bucket in."""
    cylinder = assembly.cylinders[name]
    out = np.empty(angles.shape)
    given = np.ascontiguousarray(angles, dtype=np.float64)
    if name == "bucket" and assembly.links is not None:
        write_bucket_stretches(
            given, *assembly.links, assembly.idler_side, cylinder.foot_x, cylinder.foot_z, out
        )
    else:
        write_stretches(given, cylinder.foot_x, cylinder.foot_z, cylinder.eye_x, cylinder.eye_z, out)
    return out


def _postures(
    held: Hold, at: complex, angles: Floats, reaches: Floats, height: float
) -> tuple[dict[str, Floats], NDArray[np.int64]]:
    """Joints (rad) of every posture within the ranges that puts the point on a row of places, and its place's index."""
    a = angles[:, None]
    x, z = held.pin((at.real, 0.0, at.imag), a, reaches, np.asarray(height))
    found: list[Floats] = []
    columns = []
    for side in (1.0, -1.0):
        boom, stick, margin = held.arm_to(x, z, side)
        bucket = held.assembly.ranges["bucket"]
        middle = 0.5 * (bucket.low + bucket.high)
        last = a - boom - held.fore - stick
        last = last - 2.0 * math.pi * np.round((last - middle) / (2.0 * math.pi))
        joints = np.stack([boom, stick, last])
        ok = (margin >= -CLOSES_M) & (past_range(held.assembly, joints) <= ROUNDING_RAD)
        found.append(joints[:, ok])
        columns.append(np.nonzero(ok)[1])
    all_of = np.concatenate(found, axis=1)
    fore = np.full(all_of.shape[1], held.fore)
    return {"boom": all_of[0], "fore_boom": fore, "stick": all_of[1], "bucket": all_of[2]}, np.concatenate(
        columns
    )


def _tip(assembly: Assembly, point: str, tilt: float, rotate: float) -> complex:
    """A point of the bucket (m) in the hitch's plane."""
    m = assembly.parameters[0]
    x, _, z = place(hitch_from_bucket(m, tilt, rotate), m[f"{point}_x"], m[f"{point}_y"], m[f"{point}_z"])
    return complex(x, z)


def _mode_faults(assembly: Assembly, hydraulics: Hydraulics, mode: str) -> list[Fault]:
    if mode not in MODES:
        return [Fault("no-such-mode", "mode", repr(mode), "one of " + ", ".join(MODES))]
    missing = []
    if mode not in assembly.cylinders:
        missing.append(
            Fault("no-cylinder", mode, "a joint without a measured cylinder", "the pins of the cylinder that works",
                  "measure its cylinder")
        )  # fmt: skip
    if mode not in hydraulics.rams:
        missing.append(
            Fault("no-bore", mode, "a cylinder of which nobody knows bore and pressure",
                  f"bore, rod and pressures of the {mode} cylinder", "add them to the machine's profile or the question")
        )  # fmt: skip
    return missing
