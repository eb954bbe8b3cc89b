"""What an error budget is asked for: the body of its request."""

from typing import Annotated, Literal

from pydantic import ConfigDict, Field

from kinematics.zone_budget import MOST_CARRIED
from service.book.payloads import Estimates
from service.book.requests import AttachmentId, Attitude, Length, MachineId
from service.strict import Strict, example

from .inverse import UnitsChoice

MOST_CELLS = 62_500
"""As many as 250 by 250."""
MOST_SIDE = 500
Size = Annotated[float, Field(ge=0)]


class SpanIn(Strict):
    """From and to, both included."""

    low: Length = Field(description="The lower end.", examples=[3.0])
    high: Length = Field(description="The higher end.", examples=[8.0])


class ZoneIn(Strict):
    """A working zone as a grid of places for the edge's centre; `depth` or `height`, one of them."""

    reach: SpanIn = Field(description="Level distances ahead of the swing axis, in `units`.")
    depth: SpanIn | None = Field(
        None,
        description="Below the ground under the tracks, positive down; where the profile has `boom.foot_above_ground`.",
        examples=[{"low": 0.0, "high": 3.0}],
    )  # fmt: skip
    height: SpanIn | None = Field(None, description="Over the body origin, in `units`; below it negative.")
    columns: int = Field(60, ge=2, le=MOST_SIDE, description="Reaches, evenly apart, both ends among them.")
    rows: int = Field(
        40, ge=2, le=MOST_SIDE,
        description=f"Depths or heights likewise; columns times rows at most {MOST_CELLS} (250 by 250).",
    )  # fmt: skip


class ZoneTouchIn(Strict):
    """Where the benchmark is touched; `depth` or `height`, one of them."""

    reach: Length = Field(description="Level distance ahead of the swing axis, in `units`.", examples=[6.0])
    depth: Length | None = Field(None, description="Below the ground under the tracks.", examples=[0.0])
    height: Length | None = Field(None, description="Over the body origin.")


class CellIn(Strict):
    """One place of the zone, as the answer counts its rows and columns."""

    row: int = Field(ge=0, lt=MOST_SIDE, description="From 0, the deepest.", examples=[0])
    column: int = Field(ge=0, lt=MOST_SIDE, description="From 0, the nearest.", examples=[0])


class FiguresIn(Strict):
    """What a data sheet says of a sensor. Standard uncertainties; degrees, of a draw-wire millimetres."""

    zero_uncertainty_deg: Size | None = Field(None, description="Of its zero, as you will be able to set it.")
    zero_uncertainty_mm: Size | None = Field(None, description="Of a draw-wire's zero.")
    noise_deg: Size | None = Field(
        None, description="Standard deviation of one reading; above 0.", examples=[0.05]
    )
    noise_mm: Size | None = Field(None, description="Of a draw-wire; above 0.")
    per_kelvin_deg: Size | None = Field(None, description="Of its drift with temperature, degrees a kelvin.")
    per_kelvin_mm: Size | None = Field(None, description="Of a draw-wire's drift, millimetres a kelvin.")
    skew_uncertainty_deg: Size | None = Field(
        None, description="Of a sensor of gravity: how far its case may be turned out of the arm's plane."
    )


class CorrelationIn(Strict):
    """Two sources that err together, such as two pins taped from one end."""

    one: str = Field(
        max_length=80, description="A source, such as `boom.zero` or `boom_length`.", examples=["boom.zero"]
    )
    other: str = Field(max_length=80, description="Another.", examples=["stick.zero"])
    coefficient: float = Field(ge=-1, le=1, description="1: both err alike; -1: opposite.", examples=[0.5])


class BudgetIn(Strict):
    """A machine, an attachment, sensors and a zone, before anything is bought or dug."""

    model_config = ConfigDict(json_schema_extra=example({
        "machine": "crawler-14t", "attachment": "digging-1500", "units": "m",
        "attitude_deg": {"pitch": 0.0, "roll": 0.0}, "floor_angle_deg": 0.0,
        "zone": {"reach": {"low": 3.0, "high": 8.0}, "depth": {"low": 0.0, "high": 3.0}, "columns": 26, "rows": 16},
        "touch": {"reach": 6.0, "depth": 0.0}, "tolerance": 0.03,
        "sensors": {"boom": {"zero_uncertainty_deg": 0.03, "noise_deg": 0.02}},
        "uncertainties_mm": {"boom_length": 2.0},
    }))  # fmt: skip
    machine: MachineId
    attachment: AttachmentId
    units: UnitsChoice
    attitude_deg: Annotated[Attitude, Field(description="How the body leans at the touch and at the dig.")]
    floor_angle_deg: float = Field(
        description="Held everywhere: 0 flat, positive with the heel above the edge.", examples=[0.0]
    )
    fore_boom_deg: float | None = Field(
        None, description="Of a machine with a fore boom: its angle, held everywhere."
    )
    zone: ZoneIn = Field(description="Where the edge is to dig; tilt, rotation and swing boom stand at 0.")
    touch: ZoneTouchIn = Field(description="Where the benchmark is touched, floor and lean as in the zone.")
    carried: int = Field(
        0, ge=0, le=MOST_CARRIED,
        description="So many moves since the touch, the height carried by the laser each time: set up anew, struck "
        "before and after in the posture of the touch.",
    )  # fmt: skip
    by: Literal["gravity", "encoder"] | None = Field(
        None,
        description="A plain set in place of the profile's sensors, alike for every joint: body by gravity, swing boom "
        "and rotation by encoders always. Needed where the profiles have no sensors.",
    )  # fmt: skip
    figures: FiguresIn | None = Field(
        None, description="With `by`: of every sensor; left out, the usual ones."
    )
    sensors: dict[str, FiguresIn] = Field(
        default_factory=dict,
        description="Other figures for single sensors, by the profile's name (with `by`: by joint, and `body`); what is "
        "left out stays as it is.",
    )  # fmt: skip
    uncertainties_mm: dict[str, Size] = Field(
        default_factory=dict,
        description="Standard uncertainties of lengths by parameter, in place of the profile's; `flex`, `edge_wear` and "
        "`pin_slop` (its full clearance) too.",
        examples=[{"boom_length": 2.0}],
    )
    uncertainties_deg: dict[str, Size] = Field(
        default_factory=dict,
        description="The same of angles and directions.",
        examples=[{"coupler_angle": 0.1}],
    )
    correlations: list[CorrelationIn] = Field(
        default_factory=list,
        max_length=100,
        description="Sources that err together, in place of what a calibration found of a pair; all others err "
        "independently, or as that says.",
    )
    estimates: Estimates = Field(
        default_factory=Estimates, description="What the surroundings add; defaults shown, as for a job."
    )
    cell: CellIn | None = Field(
        None, description="One more place to be told in full, beside the worst and the best."
    )
    tolerance: Length | None = Field(
        None,
        description="Half width of the band to keep to, with 95 %: then the share of the zone within it, and how "
        "good the sensors would have to be, are told.",
    )  # fmt: skip
