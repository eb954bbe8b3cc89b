"""From a request's angles and cylinders to a solved pose, with every fault under its pointer."""

import math
from collections.abc import Callable, Iterator
from functools import partial

from kinematics import arm, drives
from kinematics.arm import Pose
from kinematics.assembly import JOINTS, Assembly
from kinematics.errors import Fault, Refused
from kinematics.units import LengthUnit, to_metres

from .payloads import PoseRecord
from .requests import PoseIn, StreamPose

StandIn = Callable[[Assembly, float], drives.FourBarPose]
_STAND_INS: dict[str, StandIn] = {
    "idler": drives.four_bar_from_idler,
    "power_link": drives.four_bar_from_power_link,
}


def solve(machine: Assembly, given: PoseIn) -> Pose:
    """The pose a request describes. Raises `Refused`; `where` is a dotted path inside the request's pose."""
    faults: list[Fault] = []
    joints: dict[str, float] = {}
    places: dict[str, str] = {}
    for name, angle, place in _angles(machine, given, faults):
        if name in places:
            faults.append(
                Fault("joint-given-twice", place, f"{name} a second time", "each joint once",
                      "keep the angle or the cylinder")
            )  # fmt: skip
        places.setdefault(name, place)
        if angle is not None:
            joints[name] = angle
    pitch, roll = math.radians(given.attitude_deg.pitch), math.radians(given.attitude_deg.roll)
    missing = [name for name in machine.ranges if name not in places]
    faults += [
        Fault("missing-joint", f"angles_deg.{name}", "no angle", "an angle or a cylinder length",
              "give each of " + ", ".join(machine.ranges))
        for name in missing
    ]  # fmt: skip
    # What is missing or faulty stands at mid-range here only to find the faults of the rest.
    tried = {name: 0.5 * (span.low + span.high) for name, span in machine.ranges.items()} | joints
    try:
        solved = arm.pose(machine, pitch=pitch, roll=roll, **tried)
    except Refused as refused:
        found = [_placed(fault, places) for fault in refused.faults]
        raise Refused([*faults, *(f for f in found if f.where or not faults)]) from None
    if faults:
        raise Refused(faults)
    return solved


def _placed(fault: Fault, places: dict[str, str]) -> Fault:
    if fault.where in {"pitch", "roll"}:
        return fault.at("attitude_deg")
    where = places.get(fault.where, "")
    return Fault(fault.code, where, fault.found, fault.expected, fault.advice, fault.numbers)


def _angles(machine: Assembly, given: PoseIn, faults: list[Fault]) -> Iterator[tuple[str, float | None, str]]:
    """(joint, angle rad, place) of everything given; None for a fault of conversion, which goes to `faults`."""
    for name, degrees in given.angles_deg.items():
        place = f"angles_deg.{name}"
        if name in _STAND_INS:
            turned = partial(_bucket_from, _STAND_INS[name], machine, math.radians(degrees))
            yield "bucket", _converted(turned, place, faults), place
        else:
            yield name, math.radians(degrees), place
    for cylinder, millimetres in given.cylinders_mm.items():
        place = f"cylinders_mm.{cylinder}"
        drawn = partial(_joint_from, machine, cylinder, millimetres)
        yield cylinder, _converted(drawn, place, faults), place


def _bucket_from(stand_in: StandIn, machine: Assembly, angle: float) -> float:
    return stand_in(machine, angle).bucket


def _joint_from(machine: Assembly, cylinder: str, millimetres: float) -> float:
    return drives.joint_angle(machine, cylinder, to_metres(millimetres, LengthUnit.MM))


def _converted(angle: Callable[[], float], place: str, faults: list[Fault]) -> float | None:
    try:
        return angle()
    except Refused as refused:
        faults.extend(Fault(f.code, place, f.found, f.expected, f.advice, f.numbers) for f in refused.faults)
        return None


def joints_deg(found: Pose) -> dict[str, float]:
    """The joint angles (deg) of a pose, only joints that exist."""
    angles = dict(zip(JOINTS, found.q[2:].tolist(), strict=True))
    return {name: math.degrees(angles[name]) for name in found.assembly.ranges}


def swing_of(given: PoseIn) -> float | None:
    """The swing angle (rad) where it was given."""
    return None if given.swing_deg is None else math.radians(given.swing_deg)


def as_record(found: Pose, given: PoseIn) -> PoseRecord:
    """What an event keeps of a pose: the angles it was solved with, and what was given."""
    return PoseRecord(
        joints_deg=joints_deg(found),
        pitch_deg=given.attitude_deg.pitch,
        roll_deg=given.attitude_deg.roll,
        swing_deg=given.swing_deg,
        given={"readings": given.readings}
        if isinstance(given, StreamPose)
        else {"angles_deg": dict(given.angles_deg), "cylinders_mm": dict(given.cylinders_mm)},
    )
