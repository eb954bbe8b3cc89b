"""What a client may ask to be recorded of staff, tape and laser: daily checks, and the certificate made of them."""

from typing import Annotated, Literal

from pydantic import ConfigDict, Field

from service.strict import Strict, example

from .requests import AskedAtField, EdgePoint, Length, Name, ReadPoseField, Recording, UnitsField

_POSE = {
    "angles_deg": {"boom": 14.0, "stick": -70.0, "bucket": 17.4},
    "attitude_deg": {"pitch": 0.6, "roll": -0.4},
}
Swing = Annotated[
    float | None,
    Field(
        ge=-360,
        le=360,
        description="Body on its undercarriage, anticlockwise from above, where no sensor reads it.",
    ),
]
Text = Annotated[
    str,
    Field(
        min_length=1, max_length=120, description="Free text on one line.",
        pattern=r"^[^\s\x00-\x1f\x7f](?:[^\x00-\x1f\x7f]*[^\s\x00-\x1f\x7f])?$",
    ),
]  # fmt: skip


class LevelledIn(Strict):
    """Staff readings with a level, or a laser used as one: backsight on a known point, foresight where the edge
    rests."""

    benchmark: Annotated[Name, Field(description="A benchmark or turning point of the job.")]
    backsight: Annotated[Length, Field(description="Staff reading on it.")]
    foresight: Annotated[Length, Field(description="Staff reading beside the edge, from the same stand.")]


class RodCheckIn(Recording):
    """A staff reading beside a reading of the edge: `level`, `elevation` or `plane_reading`, exactly one."""

    model_config = ConfigDict(
        json_schema_extra=example({
            "edge_point": "centre", "pose": _POSE, "units": "m",
            "level": {"benchmark": "slab", "backsight": 1.212, "foresight": 1.206},
        })
    )  # fmt: skip
    edge_point: EdgePoint
    pose: ReadPoseField = None
    asked_at: AskedAtField = None
    level: LevelledIn | None = Field(None, description="By a level that the tool knows nothing of.")
    elevation: Length | None = Field(
        None, description="By a total station: the elevation in the job's datum."
    )
    plane_reading: Length | None = Field(
        None, description="Staff reading from the job's own laser plane. Not independent of the tool: it proves nothing "
        "of the plane, and does not count for a certificate.",
    )  # fmt: skip
    uncertainty: Length | None = Field(
        None, description="Standard uncertainty of the staff's elevation, its benchmark's not included; left out, 2 mm, "
        "or 5 mm of an `elevation` (common practice, no source).",
    )  # fmt: skip
    target: Name | None = Field(
        None, description="A target of the depth sheet: cut or fill of both is then told."
    )
    swing_deg: Swing = None
    units: UnitsField


class WearCheckIn(Recording):
    """How far a point of the bucket has worn: by a tape from the bucket pin, or by a touch on a known point. One of
    both."""

    model_config = ConfigDict(
        json_schema_extra=example(
            {"edge_point": "centre", "distance": 1.34, "uncertainty": 0.003, "units": "m"}
        )
    )
    edge_point: EdgePoint
    distance: Length | None = Field(
        None, description="Taped from the middle of the bucket pin to this point; tilt and rotator at zero.",
    )  # fmt: skip
    point: Name | None = Field(
        None, description="A known point on which it rests, the height having been set by another part of the bucket.",
    )  # fmt: skip
    pose: ReadPoseField = None
    asked_at: AskedAtField = None
    uncertainty: Length | None = Field(
        None, description="Standard uncertainty of the taped distance; left out, 3 mm (common practice, no source).",
    )  # fmt: skip
    units: UnitsField


class SightIn(Strict):
    """One pair of staff readings of a laser test."""

    series: int = Field(1, ge=1, le=20, description="Which series it belongs to, from 1.")
    along: Annotated[
        Length, Field(description="Where the laser stands, from staff A towards B; negative beyond A.")
    ]
    heading_deg: float = Field(
        ge=-360, le=360, description="Of the mark on the laser, anticlockwise from the way from A to B."
    )
    reading_a: Annotated[Length, Field(description="Staff reading on A.")]
    reading_b: Annotated[Length, Field(description="Staff reading on B.")]


class LaserTestIn(Recording):
    """A field test of the laser with two staffs, after ISO 17123-6. See /guide/daily."""

    model_config = ConfigDict(
        json_schema_extra=example({
            "procedure": "simplified", "laser": "pump house laser", "apart": 40.0, "units": "m",
            "sights": [
                {"along": 20.0, "heading_deg": 0, "reading_a": 1.5, "reading_b": 1.304},
                {"along": 20.0, "heading_deg": 90, "reading_a": 1.501, "reading_b": 1.302},
                {"along": 20.0, "heading_deg": 180, "reading_a": 1.502, "reading_b": 1.302},
                {"along": 20.0, "heading_deg": 270, "reading_a": 1.5, "reading_b": 1.303},
            ],
        })
    )  # fmt: skip
    procedure: Literal["simplified", "full"] = Field(
        description="full: at least four series, each of three stands and four headings; simplified: four headings."
    )
    laser: Text = Field(description="Which laser: its name or serial number.")
    apart: Length = Field(description="Distance between the staffs.")
    sights: list[SightIn] = Field(min_length=1, max_length=400, description="The readings, in any order.")
    claimed_mm: float | None = Field(
        None, gt=0, le=100, description="Standard deviation of one staff reading as the maker has it."
    )
    units: UnitsField


class CertificateIn(Recording):
    """A certificate over staff-checked points. Refused with all that is missing, or recorded whole. See
    /guide/acceptance."""

    model_config = ConfigDict(
        json_schema_extra=example({
            "tolerance": 0.03, "agreed_by": "builder and customer", "builder": "the fitter's workshop",
            "customer": "the village water works", "machine_serial": "0001",
            "serials": {"body": "B-1", "boom": "B-2", "stick": "B-3", "idler": "B-4", "tilt": "B-5"},
            "units": "m",
        })
    )  # fmt: skip
    tolerance: Length = Field(description="Agreed: half the band that readings must keep to.")
    agreed_by: Text = Field(description="Who agreed the tolerance.")
    builder: Text = Field(description="Who measured the machine and mounted the sensors.")
    customer: Text = Field(description="Who takes it over.")
    machine_serial: Text = Field(description="Serial number of the machine.")
    serials: dict[str, Text] = Field(
        max_length=40, description="Serial number of every sensor of the profiles, by its name there."
    )
    near_to_percent: float = Field(
        55.0, gt=0, lt=100, description="Reaches below so much of boom and stick stretched out are near."
    )
    far_from_percent: float = Field(80.0, gt=0, lt=100, description="Reaches from so much on are far.")
    least_lean_deg: float = Field(2.0, ge=1, le=20, description="The least lean of the body that counts.")
    units: UnitsField
