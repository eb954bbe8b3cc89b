"""What a profile file may say: one model for machines, one for attachments, nothing else accepted.

Numbers stand in the file's own units here; `geometry` turns them into metres and radians.
"""

from typing import Annotated, Any, ClassVar, Literal

from pydantic import ConfigDict, Discriminator, Field, Tag

from .schema_calibration import CalibrationTable, MachineCalibrationTable, RestoredTable
from .schema_hydraulics import Hydraulic
from .schema_sensors import AttachmentSensors, MachineSensors
from .schema_uncertainty import AttachmentKnown, MachineKnown
from .table import Distance, Number, Slug, Span, Table, Triple, Units

SCHEMA_VERSION = 1
KINDS = ("machine", "attachment")


class ByXZ(Table):
    """A point in a link's plane: x from its inner pin towards its outer pin, z square to it, up."""

    x: Number = Field(title="x", description="Along the line of pins.", examples=[1950])
    z: Number = Field(title="z", description="Square to the line of pins, up.", examples=[480])


class ByTape(Table):
    """A point in a link's plane by two tape distances from the link's two pins."""

    to_inner: Distance = Field(title="To inner pin", description="Tape from the inner pin.", examples=[1010])
    to_outer: Distance = Field(title="To outer pin", description="Tape from the outer pin.", examples=[2730])
    side: Literal["above", "below"] = Field(
        title="Side",
        description="Side of the line of pins: above is where z is positive.",
        examples=["above"],
    )


def _planar_form(value: object) -> str:
    keys = value.keys() if isinstance(value, dict) else vars(value) if isinstance(value, ByTape) else ()
    return "ByTape" if {"to_inner", "to_outer", "side"} & set(keys) else "ByXZ"


Planar = Annotated[
    Annotated[ByXZ, Tag("ByXZ")] | Annotated[ByTape, Tag("ByTape")], Discriminator(_planar_form)
]


class ByPoints(Table):
    """A cutting edge by its vertices, left corner first, each [x, y, z] in the bucket's frame, y left."""

    points: list[Triple] = Field(
        title="Points",
        description="Left corner first, right corner last.",
        min_length=3,
        max_length=200,
        examples=[[[0, 300, -900], [60, 0, -950], [0, -300, -900]]],
    )
    centre: int = Field(title="Centre", description="Which point is the centre, from 0.", examples=[1])


def _edge_form(value: object) -> str:
    if isinstance(value, ByPoints) or (isinstance(value, dict) and {"points", "centre"} & value.keys()):
        return "ByPoints"
    return _planar_form(value)


Edge = Annotated[
    Annotated[ByXZ, Tag("ByXZ")] | Annotated[ByTape, Tag("ByTape")] | Annotated[ByPoints, Tag("ByPoints")],
    Discriminator(_edge_form),
]


class Ahead(Table):
    """A vertical pin's or the boom foot pin's place in plan."""

    forward: Number = Field(title="Forward", description="Ahead of the axis it is seen from.", examples=[250])
    left: Number = Field(title="Left", description="Left of that axis; negative: right.", examples=[-60])


class Space(Table):
    """Three numbers in a frame: x and z in its plane, y to the left."""

    x: Number = Field(title="x", description="Along the line of pins.", examples=[300])
    y: Number = Field(title="y", description="To the left.", examples=[0])
    z: Number = Field(title="z", description="Square to the line of pins, up.", examples=[-120])


Extending = Literal["raises", "lowers"]
_EXTENDING = "What a longer cylinder does to the link ahead of it: raises it (as a boom) or lowers it."


class Cylinder(Table):
    """A cylinder across a joint: two pins, and its pin-to-pin length at both ends of its stroke."""

    foot: Planar = Field(title="Foot pin", description="Pin on the link before, in that link's frame.")
    eye: Planar = Field(title="Rod eye", description="Pin on this link, in this link's frame.")
    shortest: Number = Field(title="Shortest", description="Pin to pin, closed.", examples=[1350])
    longest: Number = Field(title="Longest", description="Pin to pin, run out.", examples=[2400])
    extending: Extending = Field(title="Extending", description=_EXTENDING, examples=["raises"])


class BodyCylinder(Cylinder):
    """The boom cylinder: its foot is on the body, seen from the boom foot pin."""

    foot: ByXZ = Field(title="Foot pin", description="From the boom foot pin: x forward, z up, body level.")


class BucketCylinder(Table):
    """The cylinder that turns the idler: its rod eye is the idler's outer pin."""

    foot: Planar = Field(title="Foot pin", description="Pin on the stick, in the stick's frame.")
    shortest: Number = Field(title="Shortest", description="Pin to pin, closed.", examples=[1410])
    longest: Number = Field(title="Longest", description="Pin to pin, run out.", examples=[2415])
    extending: Extending = Field(
        title="Extending",
        description="What a longer cylinder does to the idler: raises turns it from x towards z.",
        examples=["lowers"],
    )


class Boom(Table):
    """Main boom, or the whole boom where it is one piece."""

    one_of: ClassVar[tuple[str, ...]] = ("cylinder", "range")
    foot: Ahead = Field(
        title="Boom foot pin",
        description="From the swing axis, or from the post of a swing boom standing straight ahead.",
    )
    foot_above_ground: Distance | None = Field(
        None,
        title="Boom foot above ground",
        description="Boom foot pin over the ground the machine stands on, tracks level; for depths below ground.",
        examples=[1700],
    )
    length: Number = Field(
        title="Length", description="Boom foot pin to the next pin ahead.", examples=[4600]
    )
    cylinder: BodyCylinder | None = Field(None, title="Cylinder", description="Boom cylinder.")
    range: Span | None = Field(None, title="Range", description="Joint angle, where no cylinder is measured.")


class Link(Table):
    """A fore boom or a stick."""

    one_of: ClassVar[tuple[str, ...]] = ("cylinder", "range")
    length: Number = Field(title="Length", description="Inner pin to outer pin.", examples=[2500])
    cylinder: Cylinder | None = Field(None, title="Cylinder", description="Its cylinder.")
    range: Span | None = Field(None, title="Range", description="Joint angle, where no cylinder is measured.")


class Linkage(Table):
    """Idler and power link between stick and bucket."""

    idler_pivot: Planar = Field(title="Idler pivot", description="Pin on the stick, in the stick's frame.")
    idler: Number = Field(title="Idler", description="Idler pivot to idler's outer pin.", examples=[570])
    power_link: Number = Field(
        title="Power link", description="Idler's outer pin to link pin.", examples=[500]
    )
    branch: Literal["open", "crossed"] = Field(
        title="Branch",
        description="open: going from the idler's outer pin to the bucket pin, the link pin lies to the left, seen "
        "from the side on which the machine faces right; crossed: to the right.",
        examples=["open"],
    )
    idler_range: Span | None = Field(
        None,
        title="Idler range",
        description="Idler's angle in the stick's frame, without a bucket cylinder.",
    )


class BucketDrive(Table):
    """What turns the bucket: a linkage, or the measured range of the bucket joint itself."""

    one_of: ClassVar[tuple[str, ...]] = ("linkage", "range")
    linkage: Linkage | None = Field(None, title="Linkage", description="Idler and power link.")
    cylinder: BucketCylinder | None = Field(None, title="Cylinder", description="Bucket cylinder.")
    range: Span | None = Field(
        None, title="Range", description="Angle of the line bucket pin to link pin, in the stick's frame."
    )


class Receiver(Table):
    """Laser receiver on the stick."""

    place: Space = Field(title="Place", description="Its detecting mark, in the stick's frame.")
    mast_angle: Number = Field(
        title="Mast angle",
        description="Direction of the mast's upper end, from x towards z; 180 deg is up when the stick hangs.",
        examples=[180],
    )


class SwingBoom(Table):
    """A vertical axis ahead of the body that swings the whole arm sideways."""

    post: Ahead = Field(title="Post", description="That axis seen from the swing axis.")
    range: Span = Field(title="Range", description="Its angle, anticlockwise from above, 0 straight ahead.")


class Document(Table):
    """What every profile begins with."""

    model_config = ConfigDict(populate_by_name=True)
    version: Literal[1] = Field(
        alias="schema", title="Schema", description="Version of this format.", examples=[1]
    )
    id: Slug = Field(
        title="Id",
        description="Short name: a to z, 0 to 9 and hyphens, 2 to 40 of them.",
        examples=["crawler-14t"],
    )
    name: str = Field(
        title="Name",
        description="Name for people.",
        min_length=1,
        max_length=80,
        examples=["Crawler, 14 t class"],
    )
    source: str = Field(
        title="Source",
        description="Who measured it, when and how.",
        min_length=1,
        max_length=2000,
        examples=["Taped in the yard by two people, bucket pin play 2 mm."],
    )
    units: Units = Field(title="Units", description="Units of every number in this file.")
    restored: RestoredTable | None = Field(
        None,
        title="Restored",
        description="Where an older revision was made current again; not written by hand.",
    )


class MachineDocument(Document):
    """A machine from its swing axis to the bucket pin."""

    kind: Literal["machine"] = Field(title="Kind", description="machine", examples=["machine"])
    boom: Boom = Field(title="Boom", description="Boom.")
    fore_boom: Link | None = Field(None, title="Fore boom", description="Second piece of a two-piece boom.")
    stick: Link = Field(title="Stick", description="Stick.")
    bucket: BucketDrive = Field(title="Bucket", description="What turns the bucket.")
    receiver: Receiver | None = Field(None, title="Receiver", description="Laser receiver on the stick.")
    swing_boom: SwingBoom | None = Field(None, title="Swing boom", description="Swing boom.")
    uncertainty: MachineKnown = Field(None, title="Uncertainty", description="How well it is known.")
    hydraulics: Hydraulic = Field(
        None, title="Hydraulics", description="Bores, pressures and flows, for forces and speeds."
    )
    sensors: MachineSensors = Field(None, title="Sensors", description="Sensors on the machine, by name.")
    calibration: MachineCalibrationTable | None = Field(
        None, title="Calibration", description="What was found by touches; not written by hand."
    )


class Pins(Table):
    """The two pins that hang the attachment on stick and power link."""

    spacing: Number = Field(title="Spacing", description="Bucket pin to link pin.", examples=[420])


class Step(Table):
    """A rigid step in the plane from one pair of pins to the next."""

    x: Number = Field(title="x", description="Place of the next origin.", examples=[329])
    z: Number = Field(title="z", description="Place of the next origin.", examples=[-243])
    angle: Number = Field(
        title="Angle", description="Angle of the next x axis, from x towards z.", examples=[32]
    )


class Coupler(Step):
    """A quick coupler: the step from the machine's two pins to the pins it holds, and its play."""

    play: Number | None = Field(
        None,
        title="Play",
        description="How far the held bucket rocks in the coupler in all, between its two stops.",
        examples=[0.6],
    )


class TiltCheck(Table):
    """The sign of tilt, proven once: floor flat in digging posture, machine level, then tilted."""

    angle: Number = Field(title="Angle", description="Tilt in this check.", examples=[10])
    left_corner_up: Number = Field(
        title="Left corner up", description="How far the left corner rose.", examples=[164]
    )


class RotateCheck(Table):
    """The sign of rotation, proven once: floor flat in digging posture, machine level, then rotated."""

    angle: Number = Field(title="Angle", description="Rotation in this check.", examples=[30])
    left_corner_forward: Number = Field(
        title="Left corner forward",
        description="How far the left corner went away from the machine; negative towards it.",
        examples=[-310],
    )


_POINT = "A point on the axis, in the frame of the coupler's pins (the machine's own two pins without one)."
_DIRECTION = "Along the axis, in the same frame; any length, only its direction counts."


class Tilt(Table):
    """Tilt axis: by the right hand about the direction, positive raises the bucket's left corner."""

    point: Space = Field(title="Point", description=_POINT)
    direction: Space = Field(title="Direction", description=_DIRECTION)
    range: Span = Field(title="Range", description="Tilt angle, 0 level.")
    check: TiltCheck = Field(title="Check", description="A worked or measured check of its sign.")


class Rotate(Table):
    """Rotation axis: by the right hand about the direction, positive anticlockwise from above."""

    point: Space = Field(title="Point", description=_POINT)
    direction: Space = Field(title="Direction", description=_DIRECTION)
    range: Span = Field(title="Range", description="Rotation, 0 as mounted for normal digging.")
    check: RotateCheck = Field(title="Check", description="A worked or measured check of its sign.")


class Bucket(Table):
    """Cutting edge and heel, in the bucket's own frame: x from bucket pin to link pin."""

    width: Number | None = Field(
        None, title="Width", description="Corner to corner, where the edge is straight.", examples=[1500]
    )
    edge: Edge = Field(title="Edge", description="Cutting edge.")
    heel: Planar = Field(title="Heel", description="Where the floor ends behind the edge.")
    heel_width: Number | None = Field(
        None, title="Heel width", description="Where it is not the bucket's width.", examples=[1400]
    )


class Teeth(Table):
    """Tooth tips that stand proud of the edge."""

    tip: Planar = Field(title="Tip", description="Tip of the middle tooth.")
    width: Number = Field(title="Width", description="Left tip to right tip.", examples=[1450])


class AttachmentDocument(Document):
    """All that hangs on the machine's two pins."""

    kind: Literal["attachment"] = Field(title="Kind", description="attachment", examples=["attachment"])
    pins: Pins = Field(title="Pins", description="The pins on stick and power link.")
    coupler: Coupler | None = Field(
        None, title="Coupler", description="From the machine's two pins to the pins the coupler holds."
    )
    tilt: Tilt | None = Field(None, title="Tilt", description="Tilt axis.")
    rotate: Rotate | None = Field(None, title="Rotation", description="Rotation axis, below tilt.")
    mount: Step | None = Field(
        None,
        title="Mount",
        description="From the coupler's pins to the bucket's own, tilt and rotation at 0.",
    )
    bucket: Bucket = Field(title="Bucket", description="Edge and heel.")
    teeth: Teeth | None = Field(None, title="Teeth", description="Tooth tips, on a bucket that has them.")
    uncertainty: AttachmentKnown = Field(None, title="Uncertainty", description="How well it is known.")
    sensors: AttachmentSensors = Field(
        None, title="Sensors", description="Sensors on the attachment, by name."
    )
    calibration: CalibrationTable | None = Field(
        None, title="Calibration", description="What was found by touches; not written by hand."
    )


DOCUMENTS: dict[str, type[MachineDocument] | type[AttachmentDocument]] = {
    "machine": MachineDocument,
    "attachment": AttachmentDocument,
}


def json_schema(kind: str) -> dict[str, Any]:
    """JSON Schema of a profile of this kind ("machine" or "attachment"), as its TOML parses.

    Raises KeyError for another kind. "Exactly one of" is in it; what geometry forbids is not.
    """
    return DOCUMENTS[kind].model_json_schema(by_alias=True)
