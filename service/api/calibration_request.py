"""What a calibration is asked for: touches of fixed points, staff readings, checks of links, and what is unknown."""

from typing import Annotated, Any, Literal

from pydantic import ConfigDict, Field

from machine_profiles.schema_calibration import MOST_NAMES
from service.book.requests import AttachmentId, Attitude, CylinderName, Joint, Length, MachineId, Name
from service.strict import Strict, example

from .fitting import Posture
from .inverse import UnitsChoice

MOST_POSES, MOST_GROUPS, MOST_UNKNOWNS = 100, 40, MOST_NAMES
TOUCH_M, ROD_M, STATION_M, LINE_DEG = 0.002, 0.002, 0.003, 0.1
"""Standard uncertainties where none is given: of a tip set down on a nail by eye, of a rod read through a level to half a
division, of a prism pole's foot on an edge, of a builder's level on a link (common practice, no source)."""

PointField = Annotated[
    Literal["left", "centre", "right", "tooth_left", "tooth_centre", "tooth_right", "receiver"],
    Field(
        description="Which point of the bucket; left and right are the bucket's own. receiver: of a laser's level plane."
    ),
]
StandardField = Annotated[
    Length | None,
    Field(
        description="Standard uncertainty of each, in `units`. Left out: a touch and a rod reading 2 mm, a total "
        "station 3 mm (common practice, no source).",
        examples=[0.002],
    ),
]


class StoodIn(Strict):
    """How the machine stood: what its sensors said (`readings`), or joint angles and lean, from which is reckoned what
    the profile's sensors would have said."""

    readings: Posture | None = Field(
        None,
        description="By sensor, as GET /v1/jobs/{job}/fitting/posture tells it: sign and mounting not taken off.",
        examples=[{"body": {"deg": [-0.9, -0.6]}, "boom": {"deg": 13.8}}],
    )
    angles_deg: dict[Joint, float] = Field(
        default_factory=dict, description="By joint, as for POST /v1/poses."
    )
    cylinders_mm: dict[CylinderName, float] = Field(
        default_factory=dict, description="Pin to pin, by the joint it moves."
    )
    attitude_deg: Attitude | None = Field(None, description="How the body leans; with angles or cylinders.")


class TouchesIn(Strict):
    """One fixed point, touched in several postures from one stand: always the same point of the bucket."""

    name: Name
    edge_point: PointField
    poses: list[StoodIn] = Field(min_length=1, max_length=MOST_POSES, description="A posture a touch.")
    standard: StandardField = None


class StaffSeenIn(StoodIn):
    """One reading, and how the machine stood meanwhile."""

    edge_point: PointField
    rod: Length | None = Field(
        None, description="By level: staff on that point, read at the hair; grows downwards.", examples=[1.42]
    )
    elevation: Length | None = Field(
        None, description="By total station: that point's elevation, in any one datum.", examples=[98.2]
    )


class StaffIn(Strict):
    """Heights of edge points under one set-up of a level or total station, from one stand of the machine."""

    name: Name
    by: Literal["level", "total-station"] = Field(description="What was read: a rod, or elevations.")
    seen: list[StaffSeenIn] = Field(min_length=1, max_length=MOST_POSES, description="A reading each.")
    standard: StandardField = None


class LinkCheckIn(StoodIn):
    """A level or plumb line held on one link, or a level on the body."""

    name: Name
    link: Literal["body", "boom", "fore_boom", "stick", "bucket"] = Field(
        description="The line from its inner pin to its outer pin; of the body its floor or ring."
    )
    axis: Literal["pitch", "roll"] | None = Field(
        None, description="Of the body alone: a level along it, or across it."
    )
    by: Literal["level", "plumb-line"] = Field(description="Which line it was.")
    inclination_deg: Annotated[float, Field(ge=-90, le=90)] | None = Field(
        None,
        description="Of a level: 0 level, positive with the outer end higher; of the body nose up, or left side up.",
    )
    ahead: bool | None = Field(
        None, description="Of a level on a link: whether its outer end points away from the machine."
    )
    below: bool | None = Field(
        None, description="Of a plumb line: whether the outer pin hangs below the inner one."
    )
    to_edge: bool = Field(
        default=False, description="Of a bucket: the line from bucket pin to the cutting edge's centre."
    )
    uncertainty_deg: Annotated[float, Field(gt=0, le=5)] = Field(
        LINE_DEG, description="Standard uncertainty (common practice, no source, where it is left out)."
    )


def _said(boom: float, stick: float, idler: float) -> dict[str, dict[str, Any]]:
    by_name: dict[str, Any] = {"body": [-0.9, -0.6], "boom": boom, "stick": stick, "idler": idler}
    return {name: {"deg": value} for name, value in by_name.items()}


_EXAMPLE = {
    "machine": "crawler-14t", "attachment": "digging-1500", "units": "m", "unknowns": ["boom.zero"],
    "touches": [{"name": "nail in the slab", "edge_point": "tooth_centre", "poses": [
        {"readings": _said(27.54, 76.79, 13.56)}, {"readings": _said(10.06, 56.65, -9.43)},
        {"readings": _said(14.61, 28.8, 59.93)},
    ]}],
    "link_checks": [{"name": "level on the boom", "link": "boom", "by": "level", "inclination_deg": 10.6, "ahead": True,
                     "readings": _said(14.1, 75.8, -7.21)}],
}  # fmt: skip


class CalibrationIn(Strict):
    """A machine, what is not known well, and what was seen of it."""

    model_config = ConfigDict(json_schema_extra=example(_EXAMPLE))
    machine: MachineId
    attachment: AttachmentId
    units: UnitsChoice
    unknowns: list[Annotated[str, Field(max_length=80)]] = Field(
        min_length=1,
        max_length=MOST_UNKNOWNS,
        description="Zeros and skews of sensors (`boom.zero`, `body.zero.pitch`, `boom.skew`) and dimensions "
        "(`boom_length`, `centre_z`) by name; GET /v1/calibrations/unknowns?machine=&attachment= lists them.",
        examples=[["boom.zero", "stick.zero", "boom_length"]],
    )
    touches: list[TouchesIn] = Field(
        default_factory=list,
        max_length=MOST_GROUPS,
        description="Fixed points, each touched in several postures.",
    )
    staff_readings: list[StaffIn] = Field(
        default_factory=list, max_length=MOST_GROUPS, description="Set-ups of a level or total station."
    )
    link_checks: list[LinkCheckIn] = Field(
        default_factory=list, max_length=MOST_POSES, description="Lines held on single links."
    )


_HASH = Field(min_length=64, max_length=64, pattern="^[0-9a-f]{64}$", examples=["0" * 64])


class ApplyIn(CalibrationIn):
    """The same, to be recorded: what it was found from, and which suspects were looked at and may stay left out."""

    model_config = ConfigDict(
        json_schema_extra=example(
            _EXAMPLE | {"machine_revision": "0" * 64, "attachment_revision": "0" * 64, "left_out": []}
        )
    )

    machine_revision: Annotated[str, _HASH] = Field(
        description="The machine's current revision, as the answer of POST /v1/calibrations told it."
    )
    attachment_revision: Annotated[str, _HASH] = Field(description="The attachment's.")
    doubts_seen: bool = Field(
        default=False,
        description="Of the verdict doubtful: the residuals were looked at, and what was found is to count all the same.",
    )
    left_out: list[Annotated[str, Field(max_length=200)]] = Field(
        default_factory=list,
        max_length=MOST_POSES,
        description="Names of all suspects of that answer: each was looked at and is not to count. Must be them exactly.",
    )
