"""What a client may ask to be recorded or computed: the request bodies of the job routes.

Lengths are in the job's units, which each body with a length names again; angles in degrees. A number that was
never meant in these units is refused rather than believed.
"""

from collections.abc import Callable
from typing import Annotated, Any, ClassVar, Literal

from pydantic import AfterValidator, BeforeValidator, ConfigDict, Field, model_serializer
from pydantic_core import PydanticCustomError

from service.strict import Strict, example

from .payloads import Estimates, Rules

Units = Literal["m", "mm", "ft", "ftUS", "ftin"]
UNITS_TEXT = (
    "Length units: m, mm, ft (international, decimal), ftUS (survey, decimal), "
    "ftin (feet, inches and sixteenths, as text)."
)
UnitsField = Annotated[Units, Field(description=UNITS_TEXT + " Must be the job's own.")]


def _length(value: object) -> object:
    """A finite number or text; what the text must be depends on the job's units, which are looked at later."""
    number = isinstance(value, int | float) and not isinstance(value, bool) and abs(value) < 1e12
    if not (isinstance(value, str) or number):
        raise PydanticCustomError("length", "a length of this trade: a finite number, or text for ftin")
    return value


Length = Annotated[
    float | str,
    BeforeValidator(_length),
    Field(
        description="A number in the units named beside it; for ftin text such as 4' 3 1/2\".",
        examples=[1.42],
    ),
]
Name = Annotated[
    str,
    Field(
        min_length=1,
        max_length=60,
        description="Your own name for it, 1 to 60 characters on one line.",
        pattern=r"^[^\s\x00-\x1f\x7f](?:[^\x00-\x1f\x7f]*[^\s\x00-\x1f\x7f])?$",
    ),
]
Slug = Annotated[
    str,
    Field(
        pattern=r"^[a-z0-9](?:[a-z0-9-]{0,38}[a-z0-9])?$", description="Lower-case letters, digits, hyphens."
    ),
]
MachineId = Annotated[Slug, Field(description="Id of a machine on record.")]
AttachmentId = Annotated[Slug, Field(description="Id of an attachment on record.")]
EdgePoint = Annotated[
    Literal["left", "centre", "right", "tooth_left", "tooth_centre", "tooth_right"],
    Field(description="Which point of the bucket rests there; left and right are the bucket's own."),
]
Joint = Literal["swing_boom", "boom", "fore_boom", "stick", "bucket", "tilt", "rotate", "idler", "power_link"]
CylinderName = Literal["boom", "fore_boom", "stick", "bucket"]


_POSE = {
    "angles_deg": {"boom": 14.0, "stick": -70.0, "bucket": 17.4},
    "attitude_deg": {"pitch": 0.6, "roll": -0.4},
}


class Attitude(Strict):
    """How the body leans."""

    pitch: float = Field(
        description="Degrees, positive nose up: inclination of the body's x axis.", examples=[0.4]
    )
    roll: float = Field(
        description="Degrees, positive left side up: a turn about the body's own x axis; a level laid across shows "
        "another angle, see /guide/measuring#body-pitch-and-roll.",
        examples=[-0.2],
    )


class PoseIn(Strict):
    """Joint angles, cylinder lengths, or a mixture: each joint that the machine has exactly once."""

    angles_deg: dict[Joint, float] = Field(
        default_factory=dict,
        description="By joint, positive raises a link that points forward (curling in is negative); `idler` or "
        "`power_link` may stand for the bucket.",
        examples=[{"boom": 32.0, "stick": -95.0, "bucket": 58.0}],
    )
    cylinders_mm: dict[CylinderName, float] = Field(
        default_factory=dict, description="Pin to pin, by the joint it moves.", examples=[{"boom": 2105.0}]
    )
    attitude_deg: Annotated[Attitude, Field(description="How the body leans; 0 and 0 only if it was read.")]
    swing_deg: float | None = Field(
        None, ge=-360, le=360,
        description="Body on its undercarriage, anticlockwise from above; only where it is sensed.",
    )  # fmt: skip


PoseField = Annotated[PoseIn, Field(description="How machine and attachment stand.")]
ReadPoseField = Annotated[
    PoseIn | None,
    Field(
        description="How machine and attachment stand; left out, as the sensors have read it through the last second, "
        "while nothing moved (/guide/live)."
    ),
]


class AskedAt(Strict):
    """A moment by the clock of the live door, as the exchange of clocks told it (/guide/live#readouts-out)."""

    of: str = Field(min_length=1, max_length=40, description="Which clock: `of` of the service's answer.")
    at_s: float = Field(
        description="That clock's seconds; of an uncertain moment the earliest it can have been."
    )


# Not of what is recorded, nor of what makes two requests the same: one asked again is the same request.
AskedAtField = Annotated[
    AskedAt | None,
    Field(
        exclude=True,
        description="With `pose` left out: when whoever rested the edge asked for this. Refused where "
        "it was not seen to rest from then on, as of a request long on its way; left out, on arrival.",
    ),
]


class StreamPose(PoseIn):
    """A pose out of the stream of readings, with what it was made from; no client sends one.

    `above_m`: the beam's height over the receiver's centre along its mast (m), where the receiver tells it.
    """

    readings: dict[str, Any]
    above_m: float = 0.0


class Recording(Strict):
    """What every recorded body may carry. `later`: fields that are younger than the body's idempotency keys may be."""

    later: ClassVar[frozenset[str]] = frozenset()
    note: str = Field("", max_length=500, description="Free text for the record.")
    observed_at: str | None = Field(
        None, description="ISO 8601 UTC time of the reading; left out, it was observed on arrival.",
        examples=["2026-05-04T07:31:12Z"],
    )  # fmt: skip

    @model_serializer(mode="wrap")
    def _written(self, write: Callable[[Any], dict[str, Any]]) -> dict[str, Any]:
        """Without what came `later` and was not given, so that a key from before then stands for the same request."""
        return {n: value for n, value in write(self).items() if n not in self.later - self.model_fields_set}


class JobIn(Recording):
    """A job: one pit, its units and its vertical datum."""

    model_config = ConfigDict(
        json_schema_extra=example({"id": "pump-house", "name": "Village pump house", "units": "m"})
    )
    later = frozenset({"estimates"})
    id: Slug
    name: Name
    units: Annotated[Units, Field(description=UNITS_TEXT)]
    datum: str = Field(
        "", max_length=120, description="What zero or the benchmark elevation means, in words."
    )
    rules: Rules = Field(default_factory=Rules, description="What makes a strike believable; defaults shown.")
    estimates: Estimates = Field(
        default_factory=Estimates, description="What the surroundings add to uncertainty; defaults shown."
    )


class RulesIn(Recording):
    """New rules; they judge what comes after them."""

    model_config = ConfigDict(json_schema_extra=example({"rules": {"surprise_mm": 30.0}}))
    rules: Annotated[Rules, Field(description="The whole set; what is left out has its default.")]


class EstimatesIn(Recording):
    """New estimates of the surroundings; every readout from then on is as uncertain as they say."""

    model_config = ConfigDict(json_schema_extra=example({"estimates": {"laser_level_arcsec": 20.0}}))
    estimates: Annotated[Estimates, Field(description="The whole set; what is left out has its default.")]


class BenchmarkIn(Recording):
    """A point of known elevation."""

    model_config = ConfigDict(json_schema_extra=example({"name": "slab", "elevation": 100.0, "units": "m"}))
    later = frozenset({"uncertainty"})
    name: Name
    elevation: Length
    uncertainty: Length | None = Field(
        None, description="Standard uncertainty of the elevation; left out, as the job's `estimates` say."
    )
    units: UnitsField


class SetupIn(Recording):
    """A machine put on the job, with its attachment: begins a setup and voids height and plane."""

    model_config = ConfigDict(
        json_schema_extra=example({"machine": "crawler-14t", "attachment": "digging-1500"})
    )
    machine: MachineId
    attachment: AttachmentId


class AttachmentChangeIn(Recording):
    """Another attachment on the same machine: the height stays, the edge is the new one's."""

    model_config = ConfigDict(json_schema_extra=example({"attachment": "tilting-1800"}))
    attachment: AttachmentId


class MoveIn(Recording):
    """The tracks moved: the height is void until the next strike or touch."""

    model_config = ConfigDict(json_schema_extra=example({"note": "two metres back"}))


class SwingIn(Recording):
    """The body swung: stations of sloping targets lapse where swing is not sensed."""

    model_config = ConfigDict(json_schema_extra=example({"note": "to the spoil heap"}))


class LaserIn(Recording):
    """The laser was set up, reset or knocked: voids the plane."""

    model_config = ConfigDict(json_schema_extra=example({"revolutions_per_s": 10.0, "fall_percent": 0.0}))
    revolutions_per_s: float = Field(gt=0, le=100, description="Turns of the laser head a second.")
    fall_percent: float = Field(
        ge=-50,
        le=50,
        description="0 for a level plane; positive where it rises along the distance you will tape.",
    )


class ReceiverIn(Recording):
    """The receiver was clamped elsewhere: voids the plane."""

    model_config = ConfigDict(json_schema_extra=example({"place_mm": [700.0, 180.0, 260.0]}))
    place_mm: list[Annotated[float, Field(ge=-20_000, le=20_000)]] | None = Field(
        None, min_length=3, max_length=3,
        description="Its new place x, y, z in the stick's frame, millimetres; left out, it is back where the "
        "profile says.",
    )  # fmt: skip


class TouchIn(Recording):
    """The chosen edge point rests on a known point."""

    model_config = ConfigDict(
        json_schema_extra=example({
            "point": "slab", "purpose": "reference", "edge_point": "centre", "pose": _POSE
        })
    )  # fmt: skip

    point: Name = Field(description="A benchmark or turning point.")
    purpose: Literal["reference", "check"] = Field(
        description="reference sets the height; check compares and changes nothing."
    )
    edge_point: EdgePoint
    pose: ReadPoseField = None
    asked_at: AskedAtField = None


class TurningPointIn(Recording):
    """The chosen edge point rests on a firm new point, whose elevation is wanted for later."""

    model_config = ConfigDict(
        json_schema_extra=example({"name": "stone", "edge_point": "centre", "pose": _POSE})
    )

    name: Name
    edge_point: EdgePoint
    pose: ReadPoseField = None
    asked_at: AskedAtField = None


class CrossingIn(Strict):
    """One pass of the receiver through the plane."""

    direction: Literal["up", "down"] = Field(description="Which way the receiver went.")
    pose: Annotated[PoseIn, Field(description="At the moment the receiver met the plane.")]


class StrikeIn(Recording):
    """The receiver crossed the laser plane, once, or once up and once down (the mean cancels lag)."""

    model_config = ConfigDict(
        json_schema_extra=example({
            "crossings": [{"direction": "up", "pose": _POSE | {
                "angles_deg": {"boom": 25.7, "stick": -118.3, "bucket": 52.6}
            }}],
            "vertical_speed_mm_s": 18.0, "tilt_spread_deg": 0.02, "steady_s": 1.5, "units": "m",
        })
    )  # fmt: skip
    crossings: list[CrossingIn] = Field(min_length=1, max_length=2, description="One, or one each way.")
    vertical_speed_mm_s: float = Field(
        ge=0, le=100_000, description="The fastest the receiver went through the plane."
    )
    tilt_spread_deg: float = Field(
        ge=0, le=360, description="Spread of the body's tilt while it was watched."
    )
    steady_s: float = Field(ge=0, le=86_400, description="How long it was watched.")
    along_fall: Length | None = Field(
        None,
        description="Only for a plane with a fall: distance along it from the receiver's place at `from_strike`, "
        "positive where the plane rises for a positive fall.",
    )
    from_strike: int | None = Field(
        None,
        ge=1,
        description="With `along_fall`: the strike it was taped from. Must be the job's `plane.from_strike`, which a "
        "carried strike on a falling plane moves on.",
    )
    units: UnitsField


class LayerIn(Strict):
    """One layer of a depth; positive goes down, a level above the benchmark is negative."""

    name: Name
    thickness: Annotated[Length, Field(description="Down to its underside; in the units of the body.")]


class TargetIn(Recording):
    """A depth below a benchmark, as the sum of its layers and the overdig."""

    model_config = ConfigDict(
        json_schema_extra=example({
            "name": "bottom of footing", "benchmark": "slab", "units": "m",
            "layers": [{"name": "floor build-up", "thickness": 0.32}, {"name": "wall and footing", "thickness": 1.0}],
            "overdig": 0.1, "tolerance": 0.03,
        })
    )  # fmt: skip
    name: Name
    benchmark: Annotated[Name, Field(description="A benchmark or turning point of the job.")]
    layers: list[LayerIn] = Field(min_length=1, max_length=30, description="From the benchmark down.")
    overdig: Length = Field(description="Extra depth for stone or forms; 0 for none.")
    tolerance: Length = Field(description="Half width of the on-grade band.")
    floor_limit_below: Length | None = Field(
        None, description="Depth below the benchmark never to be passed. No protection for utilities."
    )
    along_percent: float = Field(
        0.0, ge=-100, le=100, description="Grade along the boom, positive rises away from the machine."
    )
    across_percent: float = Field(0.0, ge=-100, le=100, description="Positive with the right side higher.")
    units: UnitsField


class StationIn(Recording):
    """The edge rests at a known station of a sloping target: fixes its zero point and direction here."""

    model_config = ConfigDict(
        json_schema_extra=example({
            "target": "drain", "station": 0.0, "edge_point": "centre", "pose": _POSE, "units": "m"
        })
    )  # fmt: skip
    target: Annotated[Name, Field(description="A sloping target of the depth sheet.")]
    station: Length = Field(description="Distance from the target's zero, rising away from the machine.")
    edge_point: EdgePoint
    pose: ReadPoseField = None
    asked_at: AskedAtField = None
    units: UnitsField


class WithdrawalIn(Recording):
    """Undo: an entry is marked withdrawn, with all that hangs on it. Nothing is deleted."""

    model_config = ConfigDict(json_schema_extra=example({"seq": 7, "reason": "the edge was not on the slab"}))
    seq: int = Field(ge=2, description="The entry to withdraw.")
    reason: str = Field(min_length=1, max_length=500, description="Why, for the record.")


class SeatIn(Recording):
    """You sit at the machine now. Acknowledges nothing by itself."""

    model_config = ConfigDict(json_schema_extra=example({"note": "afternoon shift"}))


def _each_once(seqs: list[int]) -> list[int]:
    if len(set(seqs)) != len(seqs):
        raise PydanticCustomError("repeated", "each entry once")
    return seqs


class AcknowledgementIn(Recording):
    """What waits takes effect: all of it in this order, or nothing."""

    model_config = ConfigDict(json_schema_extra=example({"seqs": [12, 13]}))
    seqs: Annotated[list[Annotated[int, Field(ge=2)]], AfterValidator(_each_once)] = Field(
        min_length=1, max_length=50, json_schema_extra={"uniqueItems": True},
        description="Entries that wait, in the order in which they take effect: a withdrawal before what replaces it.",
    )  # fmt: skip


class ReadoutIn(Strict):
    """A pose to be told elevation, cut or fill for. Nothing is recorded."""

    model_config = ConfigDict(
        json_schema_extra=example({"pose": _POSE, "target": "bottom of footing", "units": "m"})
    )
    pose: PoseField
    target: Name | None = Field(None, description="A target of the depth sheet; left out, elevations alone.")
    line: Literal["edge", "teeth"] = Field(
        "edge", description="Cutting edge, or tooth tips where there are any."
    )
    edge_point: Literal["left", "centre", "right"] = Field(
        "centre", description="Of the line: which point the corrections bring to the target."
    )
    station: Length | None = Field(
        None, description="Station of the edge centre off a tape, in place of a touched zero point."
    )
    units: UnitsField
    observed_at: str | None = Field(None, description="ISO 8601 UTC; past the age limit there is no number.")
