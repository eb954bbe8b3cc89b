"""A machine measured anew: one dimension changed in the dataclasses, and all proven and laid out again."""

from dataclasses import replace

from kinematics.assembly import Assembly, assemble
from kinematics.machine import BucketLinkage, Cylinder, Machine
from kinematics.parameters import CYLINDER_PINS

FOUR_BAR = (
    "idler_pivot_x",
    "idler_pivot_z",
    "idler_length",
    "power_link_length",
    "stick_length",
    "pin_spacing",
)


def dimensions(assembly: Assembly) -> list[str]:
    """Names of all that its linkages and cylinders were measured by; the bucket's rod pin is the idler's own."""
    pins = [f"{joint}_cylinder_{pin}" for joint in assembly.cylinders for pin in CYLINDER_PINS[joint]]
    return pins + (list(FOUR_BAR) if assembly.links is not None else [])


def rebuilt(assembly: Assembly, name: str, more: float) -> Assembly:
    """The assembly with one dimension longer by `more` (m), its reach and its stops found anew."""
    attachment = assembly.attachment
    if name == "pin_spacing":
        return assemble(assembly.machine, replace(attachment, pin_spacing=attachment.pin_spacing + more))
    return assemble(_machine(assembly.machine, name, more), attachment)


def _machine(machine: Machine, name: str, more: float) -> Machine:
    for joint in CYLINDER_PINS:
        if name.startswith(f"{joint}_cylinder_"):
            part = machine.bucket if joint == "bucket" else getattr(machine, joint)
            pin = name.removeprefix(f"{joint}_cylinder_")
            if isinstance(part, BucketLinkage):
                assert isinstance(part.drive, Cylinder)
                return replace(machine, bucket=replace(part, drive=_longer(part.drive, pin, more)))
            assert isinstance(part, Cylinder)
            return replace(machine, **{joint: _longer(part, pin, more)})  # type: ignore[arg-type]
    if name in FOUR_BAR and name != "stick_length":
        bar = machine.bucket
        assert isinstance(bar, BucketLinkage)
        field = {
            "idler_pivot_x": "pivot_x",
            "idler_pivot_z": "pivot_z",
            "power_link_length": "power_link",
        }.get(name, name)
        drive = bar.drive
        if name == "idler_length" and isinstance(drive, Cylinder):
            drive = _longer(drive, "eye_x", more)  # the rod pin is the idler's outer pin
        return replace(machine, bucket=replace(bar, drive=drive, **{field: getattr(bar, field) + more}))
    return replace(machine, **{name: getattr(machine, name) + more})


def _longer(cylinder: Cylinder, pin: str, more: float) -> Cylinder:
    return replace(cylinder, **{pin: getattr(cylinder, pin) + more})
