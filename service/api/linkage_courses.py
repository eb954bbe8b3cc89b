"""The bucket linkage over its stroke, and how far every joint and cylinder goes."""

import math

from fastapi import APIRouter
from pydantic import ConfigDict, Field

from kinematics.assembly import Assembly
from kinematics.errors import Fault, Refused
from kinematics.linkage_course import FEWEST, LinkageCourse, Margin, Travel, joint_travels, linkage_course
from service.book.requests import AttachmentId, MachineId
from service.strict import Strict, example

from .answers import ADVISORY, Reference, reference_to
from .door import ProfilesDep
from .laboratory import NOT_COUNTED

router = APIRouter(prefix="/v1/linkage-courses", tags=["laboratory"])
_MOST = 361


class CourseIn(Strict):
    """A machine whose linkages are wanted."""

    model_config = ConfigDict(json_schema_extra=example({
        "machine": "crawler-14t", "attachment": "digging-1500", "count": 31,
    }))  # fmt: skip
    machine: MachineId
    attachment: AttachmentId
    count: int = Field(61, description=f"Places along the stroke, {FEWEST} to {_MOST}.", examples=[61])


class MarginOut(Strict):
    """How near two links come to one line over the whole stroke, exactly."""

    angle_deg: float = Field(description="The least angle away from it.")
    length_mm: float = Field(description="How far the pins are there from the distance at which they lie so.")
    idler_deg: float
    bucket_deg: float


class TravelOut(Strict):
    """How far a joint and its cylinder go."""

    joint: str
    low_deg: float
    high_deg: float
    travel_deg: float
    shortest_mm: float | None = Field(
        description="Pin to pin; null without a measured cylinder, as all below."
    )
    longest_mm: float | None
    stroke_mm: float | None
    lever_shortest_mm: float | None = Field(
        description="Of the cylinder about the joint's pin (of the bucket: the idler's pivot), at its shortest."
    )
    lever_longest_mm: float | None
    lever_greatest_mm: float | None
    dead_centre_deg: float | None = Field(
        description="The least angle that foot, pin and eye stay away from one line."
    )


class BucketCourseOut(Strict):
    """Columns along the stroke, shortest first; angles in the stick's frame."""

    cylinder_mm: list[float] | None
    idler_deg: list[float]
    power_link_deg: list[float]
    bucket_deg: list[float]
    transmission_deg: list[float] = Field(description="Between power link and pin line; 90 is best.")
    at_idler_pin_deg: list[float] = Field(description="Between idler and power link.")
    bucket_by_idler: list[float] = Field(description="How fast the bucket turns for the idler.")
    bucket_by_cylinder_deg_per_mm: list[float] | None = Field(
        description="Negative where a longer cylinder curls the bucket in."
    )
    bucket_low_deg: float
    bucket_high_deg: float
    bucket_range_deg: float = Field(description="How far the bucket turns in all.")
    dead_centre: MarginOut = Field(
        description="Power link and pin line in one line: the idler turns nothing."
    )
    toggle: MarginOut = Field(description="Idler and power link in one line: the bucket turns nothing.")


class CourseOut(Strict):
    """Linkages and travels."""

    machine: Reference
    attachment: Reference
    bucket_linkage: BucketCourseOut | None
    no_linkage_because: str | None = Field(description="Why there is no bucket linkage to tell of.")
    travels: list[TravelOut]
    advisory: str


@router.post("", summary="Linkages over their stroke")
def course(asked: CourseIn, profiles: ProfilesDep) -> CourseOut:
    """Transmission angles, velocity ratio and margins from dead centre of the bucket linkage over its stroke; travel
    and levers of every joint and cylinder. See /guide/laboratory.

    curl -s localhost:8311/v1/linkage-courses -H 'content-type: application/json' -d @linkage.json
    """
    machine, attachment, fitted = profiles.pair(asked.machine, asked.attachment)
    if not FEWEST <= asked.count <= _MOST:
        raise Refused([
            Fault("out-of-range", "count", str(asked.count), f"{FEWEST} to {_MOST} places", "", {"count": asked.count})
        ])  # fmt: skip
    found, because = _course(fitted, asked.count)
    return CourseOut(
        machine=reference_to(machine), attachment=reference_to(attachment),
        bucket_linkage=None if found is None else _bucket(found), no_linkage_because=because,
        travels=[_travel(each) for each in joint_travels(fitted)], advisory=NOT_COUNTED + ADVISORY,
    )  # fmt: skip


def _course(fitted: Assembly, count: int) -> tuple[LinkageCourse | None, str | None]:
    if fitted.links is None:
        return None, "the profile gives the bucket joint's range, no idler and power link"
    return linkage_course(fitted, count=count), None


def _degrees(values: list[float]) -> list[float]:
    return [math.degrees(value) for value in values]


def _bucket(found: LinkageCourse) -> BucketCourseOut:
    span = found.bucket_range
    return BucketCourseOut(
        cylinder_mm=None if found.cylinder is None else [1e3 * value for value in found.cylinder.tolist()],
        idler_deg=_degrees(found.idler.tolist()), power_link_deg=_degrees(found.power_link.tolist()),
        bucket_deg=_degrees(found.bucket.tolist()), transmission_deg=_degrees(found.at_link_pin.tolist()),
        at_idler_pin_deg=_degrees(found.at_idler_pin.tolist()), bucket_by_idler=found.by_idler.tolist(),
        bucket_by_cylinder_deg_per_mm=None if found.by_cylinder is None
        else [1e-3 * value for value in _degrees(found.by_cylinder.tolist())],
        bucket_low_deg=math.degrees(span.low), bucket_high_deg=math.degrees(span.high),
        bucket_range_deg=math.degrees(span.high - span.low), dead_centre=_margin(found.dead_centre),
        toggle=_margin(found.toggle),
    )  # fmt: skip


def _margin(found: Margin) -> MarginOut:
    return MarginOut(
        angle_deg=math.degrees(found.angle), length_mm=1e3 * found.length, idler_deg=math.degrees(found.idler),
        bucket_deg=math.degrees(found.bucket),
    )  # fmt: skip


def _travel(found: Travel) -> TravelOut:
    low, high, stroke = math.degrees(found.turns.low), math.degrees(found.turns.high), found.stroke

    def mm(value: float | None) -> float | None:
        return None if value is None else 1e3 * value

    return TravelOut(
        joint=found.joint, low_deg=low, high_deg=high, travel_deg=high - low,
        shortest_mm=None if stroke is None else 1e3 * stroke.low,
        longest_mm=None if stroke is None else 1e3 * stroke.high,
        stroke_mm=None if stroke is None else 1e3 * (stroke.high - stroke.low),
        lever_shortest_mm=mm(found.lever_shortest),
        lever_longest_mm=mm(found.lever_longest), lever_greatest_mm=mm(found.lever_greatest),
        dead_centre_deg=None if found.dead_centre is None else math.degrees(found.dead_centre),
    )  # fmt: skip
