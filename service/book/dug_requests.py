"""What a client may ask to be recorded of what was dug."""

from typing import Literal

from pydantic import ConfigDict, Field

from service.strict import example

from .requests import AskedAtField, Length, Name, ReadPoseField, Recording, UnitsField


class CheckIn(Recording):
    """The edge rests on what was dug: the readout against a target, kept."""

    model_config = ConfigDict(
        json_schema_extra=example({
            "target": "bottom of footing", "line": "edge", "units": "m",
            "pose": {"angles_deg": {"boom": 14.0, "stick": -70.0, "bucket": 17.4},
                     "attitude_deg": {"pitch": 0.6, "roll": -0.4}},
        })
    )  # fmt: skip
    target: Name = Field(description="A target of the depth sheet.")
    line: Literal["edge", "teeth"] = Field(
        "edge", description="Cutting edge, or tooth tips where there are any."
    )
    station: Length | None = Field(
        None, description="Station of the edge centre off a tape, in place of a touched zero point."
    )
    pose: ReadPoseField = None
    asked_at: AskedAtField = None
    units: UnitsField

    @property
    def edge_point(self) -> str:
        """The middle of the line, which must have rested."""
        return "centre" if self.line == "edge" else "tooth_centre"
