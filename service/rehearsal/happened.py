"""What happened in a round, as those who looked and asked had it."""

from dataclasses import dataclass, field

from .viewer import Viewer

AWAY_S = 3.0
"""So long the broker is stopped."""


@dataclass(slots=True)
class Happened:
    """Moments are of `time.monotonic`. `acknowledged`: number and UUID of each entry that was (the opening of a job
    tells no UUID); `cut`: viewers that looked at the service that was killed; `fault`: what could not be done."""

    viewers: list[Viewer] = field(default_factory=list)
    acknowledged: list[tuple[int, str | None]] = field(default_factory=list)
    killed_s: float = 0.0
    away_s: float = 0.0
    cut: int = 0
    fault: str = ""
