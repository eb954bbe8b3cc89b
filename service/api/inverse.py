"""What placements, passes and corrections share: a line to come to, what stands still, every fault at its place."""

import math
from collections.abc import Mapping
from typing import Annotated, Literal

from pydantic import Field
from typing_extensions import TypedDict

from kinematics.arm_plane import HELD, angle_fault, hold, point_faults
from kinematics.assembly import Assembly
from kinematics.errors import Fault, Refused
from kinematics.reach import Line
from kinematics.units import ratio_from_percent
from service.book.lengths import metres_within
from service.book.requests import UNITS_TEXT, AttachmentId, Attitude, Length, MachineId, Units
from service.strict import Strict

# No arm reaches as far; what does is a wrong unit or a slipped point.
FARTHEST_M = 50.0

HeldJoint = Literal["swing_boom", "fore_boom", "tilt", "rotate"]
EdgePointField = Annotated[
    Literal["left", "centre", "right", "tooth_left", "tooth_centre", "tooth_right"],
    Field(description="Which point of the bucket comes to the line; left and right are the bucket's own."),
]
UnitsChoice = Annotated[Units, Field(description=UNITS_TEXT + " For every length of this body.")]


class Standing(TypedDict):
    """What stands still (rad); None for a joint that is not given."""

    pitch: float
    roll: float
    swing_boom: float | None
    fore_boom: float | None
    tilt: float | None
    rotate: float | None


class LineIn(Strict):
    """A level line, or one that slopes along the reach: then both `slope_percent` and `reach`."""

    height: Length = Field(
        description="Over the body origin, in `units`; below it negative.", examples=[-2.4]
    )
    slope_percent: float | None = Field(
        None, ge=-100, le=100, description="Positive rises away from the machine; left out, the line is level.",
        examples=[1.0],
    )  # fmt: skip
    reach: Length | None = Field(
        None, description="Of a sloping line: level distance from the swing axis at which it has this height.",
        examples=[5.0],
    )  # fmt: skip


LineField = Annotated[
    LineIn, Field(description="Height over the body origin (swing axis at boom foot height).")
]


class ArmIn(Strict):
    """A machine and all that stands still while boom, stick and bucket move."""

    machine: MachineId
    attachment: AttachmentId
    units: UnitsChoice
    attitude_deg: Annotated[Attitude, Field(description="How the body leans; 0 and 0 only if it was read.")]
    angles_deg: dict[HeldJoint, float] = Field(
        default_factory=dict, description="Of each joint that is there besides boom, stick and bucket.",
        examples=[{"tilt": 0.0}],
    )  # fmt: skip
    edge_point: EdgePointField
    line: LineField

    def standing(self) -> Standing:
        """Lean and held joints for `place_edge` and `longest_pass`."""
        lean = self.attitude_deg
        return {
            "pitch": math.radians(lean.pitch), "roll": math.radians(lean.roll), "swing_boom": self._held("swing_boom"),
            "fore_boom": self._held("fore_boom"), "tilt": self._held("tilt"), "rotate": self._held("rotate"),
        }  # fmt: skip

    def _held(self, joint: HeldJoint) -> float | None:
        angle = self.angles_deg.get(joint)
        return None if angle is None else math.radians(angle)


def metres(value: float | str, units: Units, where: str) -> float:
    """A length of a body in metres, no further than any arm reaches. Errors as `metres_within`."""
    return metres_within(value, units, where, FARTHEST_M)


def line_of(asked: LineIn, units: Units) -> Line:
    """The line in metres. Raises `Refused` with every fault."""
    faults: list[Fault] = []
    lengths = (
        {"height": asked.height} if asked.reach is None else {"height": asked.height, "reach": asked.reach}
    )
    found: dict[str, float] = {}
    for name, value in lengths.items():
        try:
            found[name] = metres(value, units, f"line.{name}")
        except Refused as refused:
            faults += refused.faults
    if asked.slope_percent is not None and asked.reach is None:
        faults.append(
            Fault("missing-field", "line.reach", "a slope without it", "the reach at which the line has this height",
                  "give it, or leave the slope out for a level line")
        )  # fmt: skip
    if asked.slope_percent is None and asked.reach is not None:
        faults.append(
            Fault("missing-field", "line.slope_percent", "a reach without it", "the slope of the line",
                  "give it, or leave the reach out for a level line")
        )  # fmt: skip
    if faults:
        raise Refused(faults)
    return Line(found["height"], ratio_from_percent(asked.slope_percent or 0.0), found.get("reach", 0.0))


def check_point(assembly: Assembly, point: str) -> None:
    """Raise `Refused` at `edge_point` where the bucket does not have it."""
    faults = point_faults(assembly, point)
    if faults:
        raise placed(Refused(faults))


def check_standing(assembly: Assembly, asked: ArmIn, **floors: float) -> None:
    """Raise `Refused` with the faults of lean, held joints, point and `floors` (rad) at their places in the body."""
    faults = [*point_faults(assembly, asked.edge_point)]
    for where, angle in floors.items():
        faults += angle_fault(where, angle, math.pi)
    try:
        hold(assembly, **asked.standing(), also=faults)
    except Refused as refused:
        still = ", ".join(name for name in HELD if name in assembly.ranges)
        raise placed(Refused(_of_held(fault, still) for fault in refused.faults)) from None


def _of_held(fault: Fault, still: str) -> Fault:
    """A joint that is missing among those that stand still; boom, stick and bucket are not to be given."""
    if fault.code != "missing-joint":
        return fault
    return Fault(
        fault.code, fault.where, fault.found, f"an angle for each joint that stands still: {still}",
        "read it on the machine; boom, stick and bucket are what is solved for", fault.numbers,
    )  # fmt: skip


_PLACES: Mapping[str, str] = {
    "pitch": "attitude_deg.pitch", "roll": "attitude_deg.roll", **{name: f"angles_deg.{name}" for name in HELD},
    "point": "edge_point", "floor_angle": "floor_angle_deg", "floor": "floor_deg", "floor.low": "floor_deg.low",
    "floor.high": "floor_deg.high", "preferred": "preferred_floor_deg", "line": "line.height", "height": "line.height",
}  # fmt: skip
_SOLVED_FOR = frozenset({"boom", "stick", "bucket"})


def placed(refused: Refused) -> Refused:
    """The refusal of a formula with each fault at its place in the body; a joint solved for has none, and is named."""
    return Refused(
        Fault(f.code, "", f"{f.where} at {f.found}", f"{f.where} from {f.expected}", f.advice, f.numbers)
        if f.where in _SOLVED_FOR
        else Fault(f.code, _PLACES.get(f.where, f.where), f.found, f.expected, f.advice, f.numbers)
        for f in refused.faults
    )
