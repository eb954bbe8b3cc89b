"""The simulated machines: what their sensors say, where their edge truly is, and what was fed and shown of each.

An edge goes up and down in a straight row of poses, one a frame. Where it is in each is solved from the joints that the
pose was made of, never from what a sensor said; how high the machine stands is told by the book of its job (`heights`).
"""

import json
import math
from array import array
from collections.abc import Iterator
from dataclasses import dataclass, field
from itertools import chain
from typing import Any

from kinematics.sensing import Told, readings_of
from machine_profiles import shipped
from machine_profiles.sensor_pair import sensor_set
from tests.demo_machine import ATTACHMENT, MACHINE, arm_of_demo, place_edge, place_receiver
from tests.service.api.doing import as_asked

SLAB_M, FLOOR_M = 100.0, 0.4
LOWEST_M, STEP_M, STEPS = -2.0, 0.003, 200
"""Neighbouring frames are 3 mm apart: a number of another frame than it says to be is seen."""
RECEIVER_M = (1.13, 1.16)
MAST_PLUMB_DEG = -92.0
Json = dict[str, Any]


@dataclass(frozen=True, slots=True)
class Walk:
    """The row of poses, there and back. `said`: by sensor in degrees; `edge`: left, centre, right (m over the origin)."""

    said: list[dict[str, float | list[float]]]
    edge: list[tuple[float, float, float]]
    touching: list[Json]
    receiver: list[Json]

    @property
    def count(self) -> int:
        """Poses in it."""
        return len(self.said)


def walk() -> Walk:
    """The walk of the invented machine."""
    arm, profiles = arm_of_demo(), shipped()
    sensors = sensor_set(profiles["machine", MACHINE], profiles["attachment", ATTACHMENT], arm)
    assert sensors is not None
    heights = [LOWEST_M + STEP_M * k for k in chain(range(STEPS), range(STEPS, 0, -1))]
    stick = [-70.0 + 6.0 * math.sin(2.0 * math.pi * k / len(heights)) for k in range(len(heights))]
    row = [place_edge(arm, *each) for each in zip(heights, stick, strict=True)]
    return Walk(
        [{name: _degrees(told) for name, told in readings_of(sensors, each).items()} for each in row],
        [(each.height("left"), each.height("centre"), each.height("right")) for each in row],
        [as_asked(each) for each in row],
        [as_asked(place_receiver(arm, each, MAST_PLUMB_DEG)) for each in RECEIVER_M],
    )


def _degrees(said: Told) -> float | list[float]:
    return [math.degrees(part) for part in said] if isinstance(said, tuple) else math.degrees(said)


def _metres(told: Json | float | None) -> float:
    return math.nan if told is None else float(told["m"] if isinstance(told, dict) else told)


SEEN = ("at_s", "age_s", "seq", "left", "centre", "right", "cut")
"""What is kept of each readout that was shown; not a number where it had none."""


@dataclass(slots=True)
class Pit:
    """One machine on one job.

    `fed_at`, `fed`: when each frame was made and which pose it told of; `heights`: of the origin (m, None: unknown) after
    each entry of the log; `shown`: rows of `SEEN`; `resting`: the arm is held where it is.
    """

    job: str
    walk: Walk
    at: int
    fed_at: "array[float]" = field(default_factory=lambda: array("d"))
    fed: "array[int]" = field(default_factory=lambda: array("H"))
    heights: dict[int, float | None] = field(default_factory=dict)
    shown: "array[float]" = field(default_factory=lambda: array("d"))
    blank: dict[str, int] = field(default_factory=dict)
    without_reason: int = 0
    resting: bool = False

    def readings(self, now: float) -> list[Json]:
        """The next frame, one reading a sensor, all of one moment."""
        if not self.resting:
            self.at = (self.at + 1) % self.walk.count
        self.fed_at.append(now)
        self.fed.append(self.at)
        return [{"sensor": name, "at_s": now, "deg": said} for name, said in self.walk.said[self.at].items()]

    def see(self, text: str | bytes) -> None:
        """Keep what a viewer was told."""
        told = json.loads(text)
        readout = told["readout"]
        if readout is None:
            self._blank(told["no_number_because"])
            return
        points = [readout["points"][name]["elevation"] for name in ("left", "centre", "right")]
        cut = readout["points"]["centre"]["cut_fill"]
        if points[1] is None:
            self._blank(readout["no_number_because"])
        row = (
            told["at_s"],
            told["age_s"],
            readout["seq"],
            *points,
            None if cut is None else cut["above_target"],
        )
        self.shown.extend(_metres(each) for each in row)

    def _blank(self, because: list[Json]) -> None:
        self.without_reason += not because
        for each in because[:1]:
            self.blank[each["code"]] = self.blank.get(each["code"], 0) + 1

    def rows(self) -> Iterator[tuple[float, ...]]:
        """What was shown, row by row."""
        wide = len(SEEN)
        for i in range(0, len(self.shown), wide):
            yield tuple(self.shown[i : i + wide])
