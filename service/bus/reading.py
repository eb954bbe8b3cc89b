"""One reading as a log or bus gives it."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Annotated, Any

from pydantic import Field

SensorName = Annotated[str, Field(pattern=r"^[a-z0-9_-]{1,40}$")]


@dataclass(frozen=True, slots=True)
class Reading:
    """One reading: `t_s` when the sender got it, and its words, all but the time."""

    t_s: float
    said: Mapping[str, Any]

    def at(self, clock_s: float) -> dict[str, Any]:
        """The reading as the door takes it, got at `clock_s` of the sender's clock."""
        return {**self.said, "at_s": round(clock_s, 6)}
