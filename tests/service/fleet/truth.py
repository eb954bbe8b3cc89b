"""Numbers that were shown, against where the edge was by what was fed."""

from collections.abc import Iterable, Sequence

from tests.service.live.making import Json

# Sensors are exact; all clocks are this computer's.
SAME_M, MOMENT_S = 1e-6, 1e-3
Fed = Sequence[tuple[float, float]]
"""When, by `service.clock.seconds`, a frame was made, and how high (m) the edge's centre then was."""


def wrong(shown: Iterable[Json], fed: Fed) -> list[Json]:
    """Messages whose number is that of no frame as young as it is told to be."""
    found = []
    for each in shown:
        told = each["readout"]["points"]["centre"]["elevation"]["m"]
        since, until = each["at_s"] - each["age_s"] - MOMENT_S, each["at_s"] + MOMENT_S
        near = [height for at, height in fed if since <= at <= until]
        if not any(abs(told - height) <= SAME_M for height in near):
            found.append(each)
    return found
