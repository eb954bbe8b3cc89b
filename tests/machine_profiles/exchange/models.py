"""Exported models of shipped pairs and of random machines, and what a pose of them says to a referee."""

import contextlib
import math
from functools import cache

from kinematics.arm import Pose
from kinematics.assembly import Assembly, assemble
from kinematics.errors import Refused
from kinematics.machine import Attachment, Machine
from machine_profiles import shipped
from machine_profiles.exchange import Provenance, provenance_of

MADE = Provenance("seeded", "Random machine", "0" * 64, "seeded", "Random bucket", "1" * 64, "0.0")


@cache
def pairs() -> dict[str, tuple[Assembly, Provenance]]:
    """Every shipped machine with every shipped attachment that closes on it."""
    found = {}
    for (_, machine), carrier in shipped().items():
        for (_, attachment), tool in shipped().items():
            if isinstance(carrier.geometry, Machine) and isinstance(tool.geometry, Attachment):
                with contextlib.suppress(Refused):
                    fitted = assemble(carrier.geometry, tool.geometry)
                    found[f"{machine} with {attachment}"] = fitted, provenance_of(carrier, tool, "0.1.0")
    return found


def joints_of(found: Pose) -> dict[str, float]:
    """Every joint of the exported models by name (rad), those that close the bucket linkage too."""
    joints = {name: found.joint(name) for name in found.assembly.ranges}
    bar = found.four_bar()
    if bar is not None:
        joints |= {"idler": bar.idler, "power_link": math.remainder(bar.power_link - bar.idler, math.tau)}
    return joints
