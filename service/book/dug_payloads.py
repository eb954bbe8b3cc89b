"""What a check of what was dug carries. Written once, never migrated."""

from typing import Literal

from pydantic import BaseModel, ConfigDict

from .payload_base import Payload, PoseRecord


class _Closed(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)


class CheckedPoint(_Closed):
    """One of the three points of the line: where it was, and against the target. Standards are standard uncertainties."""

    reach_m: float
    lateral_m: float
    station_m: float | None
    elevation_m: float
    elevation_standard_m: float
    target_elevation_m: float
    above_target_m: float
    cut_fill_standard_m: float
    below_floor_limit: bool


class Warned(_Closed):
    """What the readout warned of when the check was taken."""

    code: str
    found: str
    expected: str
    advice: str


class CheckTaken(Payload):
    """What was dug, as the machine told it: recorded with what it was computed from, so that nothing is read anew."""

    target: str
    line: Literal["edge", "teeth"]
    left: CheckedPoint
    centre: CheckedPoint
    right: CheckedPoint
    tolerance_m: float
    cross_slope_percent: float
    cross_slope_standard_percent: float
    target_cross_slope_percent: float | None
    entered_station_m: float | None
    pose: PoseRecord
    setup: int
    machine: str
    machine_hash: str
    attachment: str
    attachment_hash: str
    assumed: int
    warnings: tuple[Warned, ...]

    @property
    def points(self) -> tuple[CheckedPoint, CheckedPoint, CheckedPoint]:
        """Left, centre, right."""
        return self.left, self.centre, self.right
