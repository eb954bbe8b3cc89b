"""The worked check of a tilt or rotation axis: what the file states against what its geometry gives."""

import math
from collections.abc import Iterator
from dataclasses import dataclass

from kinematics.errors import Fault
from kinematics.machine import Attachment
from kinematics.posture import corner_step

from .measures import Measures
from .schema import AttachmentDocument

# A tape against a moving corner reads to about this; a wrong direction is off by far more.
ALLOWED_M = 0.005
ALLOWED_RATIO = 0.02


@dataclass(frozen=True, slots=True)
class WorkedCheck:
    """One check: angle (rad), the corner's step as stated and as computed, and for the opposite sense (m)."""

    path: str
    angle: float
    stated: float
    computed: float
    opposite: float

    @property
    def allowed(self) -> float:
        """How far the two may differ (m)."""
        return max(ALLOWED_M, ALLOWED_RATIO * abs(self.computed))


def worked_checks(document: AttachmentDocument, attachment: Attachment) -> list[WorkedCheck]:
    """The checks of a document against its own geometry; empty for a plain bucket."""
    m = Measures(document.units)
    found: list[WorkedCheck] = []
    if document.tilt is not None:
        tilt = document.tilt.check
        angle = m.radians("tilt.check.angle", tilt.angle)
        stated = m.metres("tilt.check.left_corner_up", tilt.left_corner_up)
        steps = [corner_step(attachment, tilt=way, rotate=0.0)[2] for way in (angle, -angle)]
        found.append(WorkedCheck("tilt.check", angle, stated, *steps))
    if document.rotate is not None:
        turn = document.rotate.check
        angle = m.radians("rotate.check.angle", turn.angle)
        stated = m.metres("rotate.check.left_corner_forward", turn.left_corner_forward)
        steps = [corner_step(attachment, tilt=0.0, rotate=way)[0] for way in (angle, -angle)]
        found.append(WorkedCheck("rotate.check", angle, stated, *steps))
    return found


def check_faults(document: AttachmentDocument, attachment: Attachment) -> Iterator[Fault]:
    """Every check whose stated step is not the geometry's, or that could not prove a sign."""
    for check in worked_checks(document, attachment):
        if not abs(check.computed - check.opposite) > 2.0 * check.allowed:
            yield _fault(
                "check-proves-nothing", check, "a step that differs clearly from that of the opposite angle",
                "choose a larger angle, for a rotation between 10 and 60 deg",
            )  # fmt: skip
        elif not abs(check.stated - check.computed) <= check.allowed:
            turned = abs(check.stated - check.opposite) <= check.allowed
            yield _fault(
                "wrong-sense" if turned else "check-off", check,
                f"{check.computed * 1e3:.1f} mm, which the geometry gives, within {check.allowed * 1e3:.1f} mm",
                "turn the axis direction round (all three signs), or the sign of the check"
                if turned
                else "measure the axis, the corner and the step again",
            )  # fmt: skip


def _fault(code: str, check: WorkedCheck, expected: str, advice: str) -> Fault:
    numbers = {
        "angle_deg": math.degrees(check.angle),
        "stated_mm": check.stated * 1e3,
        "computed_mm": check.computed * 1e3,
        "opposite_mm": check.opposite * 1e3,
    }
    found = f"{check.stated * 1e3:.1f} mm at {numbers['angle_deg']:g} deg"
    return Fault(code, check.path, found, expected, advice, numbers)
