"""What the routes of the laboratory share: who is asked about, what is held, hydraulics, every fault at its place."""

import math
from collections.abc import Mapping
from typing import Annotated, Any, Literal

from pydantic import Field

from kinematics.assembly import Assembly
from kinematics.errors import Fault, Refused
from kinematics.hydraulics import BAR, L_PER_MIN, Hydraulics, Ram
from kinematics.parameters import EDGE_POINTS, TOOTH_POINTS
from service.book.requests import AttachmentId, MachineId
from service.strict import Strict

from .inverse import UnitsChoice

NOT_COUNTED = "Geometry of pins and stops alone: it knows no tracks, no ground, no hoses and not what links are made of. "
LabPoint = Literal["left", "centre", "right", "tooth_left", "tooth_centre", "tooth_right"]
HeldInPlane = Literal["fore_boom", "tilt", "rotate"]
RamName = Literal["boom", "fore_boom", "stick", "bucket"]


class RamIn(Strict):
    """The cylinders of one joint, alike and side by side, and their circuit."""

    bore_mm: float = Field(description="Inner diameter of one cylinder.", examples=[115.0])
    rod_mm: float = Field(description="Diameter of its rod.", examples=[80.0])
    count: int = Field(1, description="How many stand side by side.", examples=[1])
    working_bar: float = Field(
        description="Nominal pressure that the pump gives this circuit.", examples=[343.0]
    )
    holding_bar: float = Field(
        description="The most that the circuit stands with its valve closed.", examples=[370.0]
    )
    flow_l_min: float | None = Field(
        None, description="The most that all of them get together; only speeds need it.", examples=[180.0]
    )


HydraulicsField = Annotated[
    dict[RamName, RamIn],
    Field(
        description="Cylinders by the joint they move, each in place of the one in the machine's profile.",
        examples=[{"stick": {"bore_mm": 115, "rod_mm": 80, "working_bar": 343, "holding_bar": 370}}],
    ),
]


class MachineIn(Strict):
    """A machine with an attachment, standing level, its swing boom straight ahead."""

    machine: MachineId
    attachment: AttachmentId
    units: UnitsChoice
    edge_point: LabPoint | None = Field(
        None,
        description="The point of the bucket; left out, the middle tooth or, without teeth, the edge's centre.",
    )
    angles_deg: dict[HeldInPlane, float] = Field(
        default_factory=dict,
        description="Of joints that are held: a fore boom that is left out moves between its stops, tilt and rotation "
        "that are left out stand at 0.",
        examples=[{"tilt": 0.0}],
    )

    def point(self, assembly: Assembly) -> str:
        """The point asked for, or the one that is usual for this bucket."""
        usual = EDGE_POINTS[1] if assembly.attachment.teeth is None else TOOTH_POINTS[1]
        return self.edge_point or usual

    def held(self) -> dict[str, Any]:
        """Held joints (rad)."""
        return {name: math.radians(angle) for name, angle in self.angles_deg.items()}


def hydraulics_of(own: Hydraulics | None, given: Mapping[RamName, RamIn]) -> Hydraulics:
    """The profile's hydraulics with those of a request in their place. Raises `Refused` at their places in the body."""
    rams = dict(own.rams) if own is not None else {}
    faults: list[Fault] = []
    for name, ram in given.items():
        flow = None if ram.flow_l_min is None else ram.flow_l_min * L_PER_MIN
        made = Ram(
            1e-3 * ram.bore_mm,
            1e-3 * ram.rod_mm,
            ram.count,
            ram.working_bar * BAR,
            ram.holding_bar * BAR,
            flow,
        )
        faults += [
            Fault(
                f.code, f"hydraulics.{name}.{_KEYS.get(key, key)}", f.found, f.expected, f.advice, f.numbers
            )
            for f in made.faults(name)
            for key in [f.where.rpartition(".")[2]]
        ]
        rams[name] = made
    if faults:
        raise Refused(faults)
    return Hydraulics(rams)


_KEYS = {
    "bore": "bore_mm", "rod": "rod_mm", "working_pressure": "working_bar", "holding_pressure": "holding_bar",
    "flow": "flow_l_min",
}  # fmt: skip
_PLACES = {"point": "edge_point", **{name: f"angles_deg.{name}" for name in ("fore_boom", "tilt", "rotate")}}


def placed(refused: Refused, **more: str) -> Refused:
    """The refusal of a formula with each fault at its place in the body; what has none there is told of the whole."""
    places = _PLACES | more
    return Refused(
        Fault(f.code, places.get(f.where, ""), f.found if f.where in places else f"{f.where}: {f.found}", f.expected,
              f.advice, f.numbers)
        for f in refused.faults
    )  # fmt: skip


def stop_words(assembly: Assembly, joint: str, end: str, cylinder_m: float | None) -> str:
    """What a joint at a stop stands by: "stick cylinder at its shortest, 1965.0 mm"; `end` "low" or "high"."""
    if cylinder_m is None:
        span = assembly.ranges[joint]
        angle = math.degrees(span.low if end == "low" else span.high)
        return f"{joint.replace('_', ' ')} at its {end}est angle, {angle:.2f} deg"
    stroke = assembly.cylinders[joint].stroke
    word = "shortest" if cylinder_m - stroke.low < stroke.high - cylinder_m else "longest"
    return f"{joint.replace('_', ' ')} cylinder at its {word}, {1e3 * cylinder_m:.1f} mm"
