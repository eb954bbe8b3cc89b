"""What every event's payload is, and the pose that many carry."""

from typing import Any

from pydantic import BaseModel, ConfigDict, Field

Json = dict[str, Any]


class Payload(BaseModel):
    """Frozen, strict, and closed: a field nobody knows is refused."""

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)
    note: str = ""
    hangs_on: tuple[int, ...] = ()
    waits: bool = False
    """Recorded by somebody else than the seat: takes effect where it is acknowledged, not here (`seat.py`)."""


class PoseRecord(BaseModel):
    """The joint angles a recorded number was computed from, and what else the pose came with."""

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)
    joints_deg: dict[str, float]
    pitch_deg: float
    roll_deg: float
    swing_deg: float | None = None
    given: Json = Field(default_factory=dict)
