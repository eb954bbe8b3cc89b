"""What a profile file may say of its sensors.

Angles and lengths stand in the file's own units, times in milliseconds: data sheets and loop times have them so, and
a file's `units` has none for time.
"""

from typing import Annotated, Literal, TypeVar

from pydantic import Discriminator, Field, Tag
from pydantic.functional_validators import AfterValidator, BeforeValidator
from pydantic_core import PydanticCustomError

from .table import Number, Span, Table, Uncertain


def _whole(value: object) -> object:
    """A literal takes true and 1.0 for 1."""
    if isinstance(value, bool | float):
        raise PydanticCustomError("literal_error", "1 or -1", {"expected": "1 or -1"})
    return value


Sign = Annotated[Literal[1, -1], BeforeValidator(_whole)]


class CaseMounting(Table):
    """How the case of a sensor of gravity sits on its link: three turns, one after another, each about its own axes."""

    nose_up: Number = Field(
        title="Nose up",
        description="In the arm's plane, of a body sensor ahead: what it says more than the angle of what it sits on.",
        examples=[1.4],
    )
    left_up: Number = Field(
        0.0,
        title="Left side up",
        description="About its own x; 180 deg, on its back, only where it gives pitch and roll. Left out: 0.",
        examples=[0],
    )
    to_left: Number = Field(
        0.0, title="To the left", description="Its nose out of the arm's plane. Left out: 0.", examples=[0]
    )


def _mounting_form(value: object) -> str:
    return "CaseMounting" if isinstance(value, dict | CaseMounting) else "Number"


Mounted = Annotated[
    Annotated[CaseMounting, Tag("CaseMounting")] | Annotated[Number, Tag("Number")],
    Discriminator(_mounting_form),
]


class BothZeros(Table):
    """How well a pitch-roll's two zeros are known, each by itself."""

    pitch: Uncertain = Field(title="Pitch", description="Of nose_up.", examples=[0.02])
    roll: Uncertain = Field(title="Roll", description="Of left_up.", examples=[0.05])


def _zero_form(value: object) -> str:
    return "BothZeros" if isinstance(value, dict | BothZeros) else "Uncertain"


ZeroKnown = Annotated[
    Annotated[BothZeros, Tag("BothZeros")] | Annotated[Uncertain, Tag("Uncertain")],
    Discriminator(_zero_form),
]


class SensorTable(Table):
    """One sensor. What it says counts as `sign` times its reading."""

    measures: Literal["gravity-angle", "inclination", "pitch-roll", "angle", "length"] = Field(
        title="Measures",
        description="gravity-angle: by two axes, all the way round. inclination: by one axis. pitch-roll: both of a "
        "dual-axis unit. angle: an encoder's. length: a cylinder's, pin to pin, by a draw-wire.",
        examples=["gravity-angle"],
    )
    sign: Sign = Field(
        title="Sign",
        description="1 where its reading grows as the link is raised, the body goes nose up (axis left: left side up), "
        "the joint's angle grows or the cylinder runs out; else -1.",
        examples=[1],
    )
    mounting: Mounted = Field(
        title="Mounting",
        description="Of a sensor of gravity a table; of an encoder or draw-wire one number, what it says over the true "
        "value.",
        examples=[{"nose_up": 1.4}],
    )
    range: Span = Field(title="Range", description="Lowest and highest reading, of both where it gives two.")
    noise: Number = Field(
        title="Noise",
        description="Standard deviation of one reading, temperature and linearity included.",
        examples=[0.05],
    )
    latency_ms: Number = Field(
        title="Latency", description="How old a reading is when it arrives, in ms.", examples=[30]
    )
    age_limit_ms: Number = Field(
        title="Age limit",
        description="How old a reading may be, latency included, in ms.",
        examples=[500],
    )
    axis: Literal["ahead", "left"] | None = Field(
        None,
        title="Axis",
        description="Which axis of its case one number of gravity is told by: on the body ahead for pitch, left for "
        "roll. Needed on body and tilt; elsewhere it is ahead.",
        examples=["left"],
    )
    side_sign: Sign | None = Field(
        None,
        title="Side sign",
        description="Of a dual-axis unit's roll: 1 where it grows with the left side up, else -1.",
        examples=[1],
    )
    branch: Literal["rising", "falling"] | None = Field(
        None,
        title="Branch",
        description="Of an inclination whose link passes the vertical: on which side it always is, rising where what it "
        "says grows as the link is raised.",
        examples=["rising"],
    )
    zero_uncertainty: ZeroKnown | None = Field(
        None,
        title="Zero uncertainty",
        description="Standard uncertainty of its mounting's zero, of both where it gives two, or a table of both.",
        examples=[0.05],
    )
    skew_uncertainty: Uncertain | None = Field(
        None,
        title="Skew uncertainty",
        description="Of a sensor of gravity: standard uncertainty of how its case is turned out of the arm's plane.",
        examples=[0.5],
    )
    per_kelvin: Uncertain | None = Field(
        None,
        title="Per kelvin",
        description="Standard uncertainty of its drift with temperature, in the unit of its reading for each kelvin.",
        examples=[0.002],
    )
    check: bool = Field(
        default=False,
        title="Check",
        description="true: it gives nothing, and is held against what another gives. Left out: false.",
        examples=[True],
    )


_PLACE = "What it sits on, or the joint whose angle or cylinder it reads."


class MachineSensor(SensorTable):
    """A sensor on the machine."""

    place: Literal["body", "swing_boom", "boom", "fore_boom", "stick", "idler", "power_link", "bucket"] = (
        Field(title="Place", description=_PLACE, examples=["boom"])
    )


class AttachmentSensor(SensorTable):
    """A sensor on the attachment."""

    place: Literal["coupler", "bucket", "tilt", "rotate"] = Field(
        title="Place",
        description=f"{_PLACE} tilt: below the tilt axis, above a rotator.",
        examples=["tilt"],
    )


_Name = Annotated[str, Field(pattern=r"^[a-z0-9_-]{1,40}$")]
_Sensor = TypeVar("_Sensor", bound=SensorTable)
_CLOSED = Field(json_schema_extra={"additionalProperties": False})


def _none_if_empty(sensors: dict[str, _Sensor] | None) -> dict[str, _Sensor] | None:
    """A heading alone says no more than none, and must give the same hash."""
    return sensors or None


MachineSensors = Annotated[
    Annotated[dict[_Name, MachineSensor], _CLOSED] | None, AfterValidator(_none_if_empty)
]
AttachmentSensors = Annotated[
    Annotated[dict[_Name, AttachmentSensor], _CLOSED] | None, AfterValidator(_none_if_empty)
]
