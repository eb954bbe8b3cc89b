"""Warnings of a readout in the job's own words: its units, and parts of the bucket as people call them."""

from dataclasses import replace

from kinematics.errors import Fault
from kinematics.units import LengthUnit

from .corrections import cylinders_in, part, size


def worded(warning: Fault, units: LengthUnit) -> Fault:
    """The same warning with its lengths in `units`, in mm where these are metres, and its part of the bucket in words.

    "heel_left 206 mm below the target" in a job of feet and inches: "left end of the heel 8 1/8\\" below the target".
    """
    unit, numbers, where = cylinders_in(units), warning.numbers, part(warning.where)
    match warning.code:
        case "past-target":
            found = f"{where} {size(numbers['below_target_m'], unit)} below the target"
            expected = f"no part of the bucket more than {size(numbers['tolerance_m'], unit)} below it"
            return replace(warning, found=found, expected=expected)
        case "below-floor-limit":
            return replace(warning, found=f"{where} below the target's floor limit")
        case "heel-rubs":
            return replace(warning, found=f"heel {size(numbers['heel_clearance_m'], unit)} below the edge")
        case _:
            return warning
