"""One reading as a log or bus gives it."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Annotated, Any

from pydantic import Field

SensorName = Annotated[str, Field(pattern=r"^[a-z0-9_-]{1,40}$")]


@dataclass(frozen=True, slots=True)
class Reading:
    """One reading: `t_s` when it was got, and its words, all but the time; `late_s`: how old it was then, as its frame
    told, 0 where it told nothing."""

    t_s: float
    said: Mapping[str, Any]
    late_s: float = 0.0

    def at(self, clock_s: float) -> dict[str, Any]:
        """The reading as the door takes it, got at `clock_s` of the sender's clock."""
        return {**self.said, "at_s": round(clock_s, 6)}

    def dated(self, latencies_s: Mapping[str, float]) -> float:
        """`t_s`, earlier by what the frame told beyond the latency that the service takes off by the machine's file.

        Got at 5.00 s, 30 ms old, 10 ms in the file: 4.98. One told younger than the file says stays at the file's.
        """
        known = latencies_s.get(self.said.get("sensor", ""), 0.0)
        return self.t_s - max(0.0, self.late_s - known)
