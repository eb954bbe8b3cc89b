"""A shipped machine with a shipped attachment on its pins."""

from kinematics.assembly import Assembly, assemble
from kinematics.machine import Attachment, Machine
from machine_profiles import shipped


def pair(machine: str, attachment: str) -> Assembly:
    carrier = shipped()["machine", machine].geometry
    tool = shipped()["attachment", attachment].geometry
    assert isinstance(carrier, Machine)
    assert isinstance(tool, Attachment)
    return assemble(carrier, tool)
