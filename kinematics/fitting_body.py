"""What the body's own sensors say of a swing or a raised nose.

A mounting error of them does not turn with the swing: of an error e the part (I - R) e is seen, R the swing.
"""

import math

from .fitting_changes import IMPOSSIBLE, Entry
from .fitting_moves import NOSE, Moved
from .linkage import wrapped
from .machine import Point
from .sensing_gravity import swung
from .sensor import Axes, Sensor

MOUNTING_RAD = math.radians(2.0)
"""How far off a body sensor whose zero is not set yet may sit, in any direction: further shows to the eye."""
QUARTER_SLACK = math.radians(20.0)
# The most of an error that a swing shows: of a quarter turn made by eye.
_SHOWN = 2.0 * math.sin(0.5 * (0.5 * math.pi + QUARTER_SLACK))


def slack_of(parts: list[tuple[Sensor, Axes, tuple[float, ...]]], *, zeroed: bool) -> float:
    """How far (rad) a swung plumb may be off for the mountings' sake: two sensors may each be off its own way."""
    return 0.0 if zeroed else _SHOWN * MOUNTING_RAD * math.sqrt(len(parts))


def body_entry(
    move: Moved, sigma: float, before: Point | None, after: Point | None, slack: float
) -> tuple[Entry, Entry]:
    """What the body's plumb before and after says of a swing or a raised nose, (made as told, made the other way)."""
    if before is None or after is None:
        return IMPOSSIBLE, IMPOSSIBLE
    pitch, roll = (
        math.atan2(after[0], math.hypot(after[1], after[2])) - math.atan2(before[0], math.hypot(before[1], before[2])),
        math.atan2(after[1], after[2]) - math.atan2(before[1], before[2]),
    )  # fmt: skip
    spans = ((pitch, pitch),)
    if move.what == NOSE:
        off = max(abs(roll) - abs(pitch), 0.0) / sigma
        one = Entry(off, off * off, spans, sigma)
        return one, one
    turn = math.atan2(before[1], before[0]) - math.atan2(after[1], after[0])
    both = []
    for side in (1.0, -1.0):
        quarter = 0.5 * math.pi * (side if move.grows else -side)
        # The swing is by eye; the one that explains most within its slack.
        s = quarter + max(-QUARTER_SLACK, min(QUARTER_SLACK, wrapped(turn - quarter, 0.0)))
        off = max(math.dist(swung(before, s), after) - slack, 0.0) / sigma
        both.append(Entry(off, off * off, spans, sigma))
    return both[0], both[1]
