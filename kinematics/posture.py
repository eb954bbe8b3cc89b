"""The digging posture that defines the signs of tilt and rotation: floor flat, machine level."""

import math

from .chain import hitch_from_bucket
from .errors import Fault, Refused
from .machine import Attachment, Machine, Range
from .maps import lifted, place
from .parameters import record


def corner_step(attachment: Attachment, *, tilt: float, rotate: float) -> tuple[float, float, float]:
    """(forward, left, up) in m: the left edge corner's way from zero tilt and rotation to these angles (rad).

    The hitch stays where it holds the floor flat at zero: edge centre and middle of the heel level, heel away from
    the machine. A 1.8 m bucket tilted 10 deg about an axis at its edge's height lifts its left corner 0.156 m.
    Raises `Refused`: "not-finite", "no-such-joint" for an angle other than 0 of an axis that it does not have.
    """
    faults = []
    for name, angle in (("tilt", tilt), ("rotate", rotate)):
        if not math.isfinite(angle):
            faults.append(Fault("not-finite", name, str(angle), "a finite angle"))
        elif angle != 0.0 and getattr(attachment, name) is None:
            faults.append(
                Fault("no-such-joint", name, f"an angle for {name}", "0 for an axis this attachment lacks")
            )
    if faults:
        raise Refused(faults)
    still = Range(-1.0, 1.0)
    # The carrier plays no part below the hitch: any machine completes the record.
    m = record(Machine(0.0, 0.0, 1.0, 1.0, still, still, still), attachment)[0]
    flat = hitch_from_bucket(m, 0.0, 0.0)
    moved = hitch_from_bucket(m, tilt, rotate)
    edge = place(flat, *attachment.edge[attachment.centre])
    ends = [place(flat, *end) for end in attachment.heel]
    floor = math.atan2(sum(end[2] for end in ends) / 2 - edge[2], sum(end[0] for end in ends) / 2 - edge[0])
    before, after = (place(m, *attachment.edge[0]) for m in (flat, moved))
    return place(
        lifted(-floor, 0.0, 0.0, 0.0), after[0] - before[0], after[1] - before[1], after[2] - before[2]
    )
