"""Shipped pairs as a budget needs them, and sensors and machines of which only what a test names is uncertain."""

import dataclasses
from collections.abc import Mapping

from kinematics.assembly import Assembly, assemble
from kinematics.candidate_sensors import Figures, plain_set, refigured
from kinematics.estimates import Estimates
from kinematics.machine import Attachment, AttachmentUncertainty, Machine, MachineUncertainty, Range
from kinematics.sensor_set import SensorSet
from kinematics.zone import Zone
from machine_profiles import shipped
from machine_profiles.sensor_pair import sensor_set

NEXT_TO_NOTHING = 1e-12
"""A noise (rad) that is allowed, since it is above 0, and counts for nothing."""
NOTHING = Figures(0.0, NEXT_TO_NOTHING, 0.0, 0.0)
SURE = Estimates(contact=0.0, receiver=0.0, laser_level=0.0, laser_distance=0.0, temperature=0.0)
PAIRS = [
    ("crawler-14t", "digging-1500", "own"), ("crawler-14t", "tilting-1800", "own"),
    ("crawler-21t", "tilt-rotator-1600", "gravity"), ("wheeled-16t", "ditching-1800", "encoder"),
    ("published-mini", "published-mini-bucket", "gravity"), ("midi-8t", "midi-bucket-700", "encoder"),
]  # fmt: skip


def arm_of(machine: str, attachment: str) -> Assembly:
    carrier, tool = shipped()["machine", machine].geometry, shipped()["attachment", attachment].geometry
    assert isinstance(carrier, Machine)
    assert isinstance(tool, Attachment)
    return assemble(carrier, tool)


def sensors_of(machine: str, attachment: str, by: str) -> SensorSet:
    arm = arm_of(machine, attachment)
    if by != "own":
        return plain_set(arm, by, Figures())
    found = sensor_set(shipped()["machine", machine], shipped()["attachment", attachment], arm)
    assert found is not None
    return found


def zone_of(arm: Assembly, columns: int = 9, rows: int = 8) -> Zone:
    """A zone that goes past the arm's reach, so that some cells have no posture, floor and body not flat."""
    far = arm.machine.boom_length + arm.machine.stick_length
    fore = arm.ranges.get("fore_boom")
    return Zone(
        Range(0.35 * far, 1.05 * far), Range(-0.6 * far, 0.2 * far), columns, rows, floor_angle=0.15, pitch=0.02,
        roll=-0.03, fore_boom=None if fore is None else 0.5 * (fore.low + fore.high),
    )  # fmt: skip


def touch_of(arm: Assembly) -> tuple[float, float]:
    far = arm.machine.boom_length + arm.machine.stick_length
    return 0.68 * far, -0.2 * far


def sure_but(by: str, of: Mapping[str, float], figures: Mapping[str, Figures]) -> SensorSet:
    """The 14 t crawler with its digging bucket, everything known exactly but what is named."""
    arm = arm_of("crawler-14t", "digging-1500")
    machine = {name: value for name, value in of.items() if name in ("boom_length", "stick_length")}
    known = assemble(
        dataclasses.replace(
            arm.machine,
            uncertainty=MachineUncertainty(0.0, 0.0, machine, pin_slop=0.0, flex=of.get("flex", 0.0)),
        ),
        dataclasses.replace(arm.attachment, uncertainty=AttachmentUncertainty(0.0, 0.0, edge_wear=0.0)),
    )
    plain = plain_set(known, by, NOTHING)
    fits = {
        name: each if plain.sensors[name].by_gravity else dataclasses.replace(each, skew_uncertainty=None)
        for name, each in figures.items()
    }
    return refigured(plain, fits)
