"""What simulated digs are asked and answered with: exercises, courses, scores, and how these are recorded."""

import math
from collections.abc import Mapping
from typing import Annotated, Any, cast

import numpy as np
from pydantic import Field
from typing_extensions import TypedDict

from kinematics.ground import Ground
from kinematics.reach import Line
from kinematics.units import LengthUnit, percent_from_ratio
from service.book import requests as q
from service.classroom.digs import MOST_SAMPLES, Course, Done
from service.classroom.exercises import Exercise
from service.strict import Strict

from .answers import Length, Reference, length

SIMULATED = (
    "A drawing of digging, not soil: no ground falls in and nothing resists. What it scores says nothing of a real "
    "machine or a real pit. See /guide/exercise and /guide/cautions."
)
MOST_COLUMNS = 2000
Angles = dict[q.Joint, float]
ExerciseId = Annotated[q.Slug, Field(description="Id of an exercise, as GET /v1/exercises tells it.")]
EXAMPLE_COURSE = {
    "t_s": [0.0, 1.0, 2.0, 3.0, 4.0],
    "angles_deg": {
        "boom": [30.0, 24.0, 22.0, 23.0, 30.0],
        "stick": [-101.2, -92.0, -100.0, -110.0, -112.0],
        "bucket": [68.3, 66.0, 64.0, 60.0, 50.0],
    },
}


class CourseIn(Strict):
    """Where every joint stood at each time; between two of them each is taken to have moved evenly. The body is level."""

    t_s: list[float] = Field(
        min_length=2, max_length=MOST_SAMPLES,
        description="Times in seconds, rising, from whatever beginning; at most 20 minutes in all.",
        examples=[[0.0, 0.05]],
    )  # fmt: skip
    angles_deg: dict[q.Joint, list[float]] = Field(
        description="Of every joint that machine and attachment have: one angle for each time. At most 60 deg/s.",
        examples=[{"boom": [30.0, 29.8], "stick": [-101.2, -101.2], "bucket": [68.3, 68.3]}],
    )

    def course(self) -> Course:
        """The same for the simulation."""
        return Course(self.t_s, cast(Mapping[str, list[float]], self.angles_deg))


class GroundOut(TypedDict):
    """Ground as a height at each of many reaches."""

    first_m: Annotated[float, Field(description="Reach of the nearest column, from the swing axis.")]
    step_m: Annotated[float, Field(description="From one column to the next.")]
    heights_m: Annotated[list[float], Field(description="Of each column over the body origin.")]


class WantedOut(TypedDict):
    """The line that the ground is to be brought down to."""

    height: Annotated[Length, Field(description="Over the body origin, at `reach`.")]
    reach: Length
    slope_percent: Annotated[float, Field(description="Rises away from the machine where positive.")]


class ExerciseOut(Strict):
    """An exercise of one machine and attachment, level body."""

    id: str
    title: str
    words: list[str]
    start_deg: dict[str, float] = Field(
        description="Every joint as it begins, the edge over the ground; degrees."
    )
    ground: GroundOut = Field(description="As it begins.")
    target: WantedOut
    near: Length = Field(description="The nearer mark, a reach: ground is scored from here ...")
    far: Length = Field(description="... to here.")
    tolerance: Length = Field(description="Either way.")


class ScoreOut(Strict):
    """What a dig came to, of the ground between the marks unless it says otherwise."""

    columns: int = Field(description="Columns of ground between the marks.")
    within: int = Field(description="Of these, how many stand within tolerance of the target.")
    share: float = Field(description="`within` by `columns`, 0 to 1.")
    share_shown: str = Field(description="In whole percent, rounded down: 100 % is all of them.")
    overcut: Length = Field(description="The deepest below the target; 0 where nothing is.")
    left: Length = Field(description="The highest over the target; 0 where nothing is.")
    mean: Length = Field(description="Mean height over the target; below zero: cut too deep.")
    removed_m2: float = Field(description="Taken out anywhere, m3 for each metre of the bucket's width.")
    passes: int = Field(description="Spells of cutting, each until the edge is 0.1 m clear of the ground.")
    time_s: float = Field(description="From the first sample to the last.")


class DigOut(Strict):
    """A dig and its score. Nothing was recorded."""

    units: q.Units
    machine: Reference
    attachment: Reference
    exercise: str
    score: ScoreOut
    ground: GroundOut = Field(description="At the end.")
    advisory: str


def exercise_out(each: Exercise, units: LengthUnit) -> ExerciseOut:
    """An exercise for an answer."""
    return ExerciseOut(
        id=each.id, title=each.title, words=[*each.words], start_deg=each.start_deg, ground=ground_out(each.ground),
        target={
            "height": length(each.target.height, units), "reach": length(each.target.reach, units),
            "slope_percent": percent_from_ratio(each.target.slope),
        },
        near=length(each.near, units), far=length(each.far, units), tolerance=length(each.tolerance, units),
    )  # fmt: skip


def ground_out(ground: Ground) -> GroundOut:
    """Ground for an answer."""
    return {"first_m": ground.first, "step_m": ground.step, "heights_m": ground.heights.tolist()}


def exercise_kept(each: Exercise) -> dict[str, Any]:
    """An exercise as it is recorded with a dig: metres, percent and degrees, unit in each name."""
    return {
        "id": each.id, "title": each.title, "words": [*each.words], "start_deg": each.start_deg,
        "ground": ground_out(each.ground), "target_m": each.target.height, "target_reach_m": each.target.reach,
        "target_slope": each.target.slope, "near_m": each.near, "far_m": each.far, "tolerance_m": each.tolerance,
    }  # fmt: skip


def exercise_read(kept: Mapping[str, Any]) -> Exercise:
    """The way back from `exercise_kept`."""
    ground = kept["ground"]
    return Exercise(
        kept["id"], kept["title"], tuple(kept["words"]), kept["start_deg"],
        Ground(ground["first_m"], ground["step_m"], np.array(ground["heights_m"])),
        Line(kept["target_m"], kept["target_slope"], kept["target_reach_m"]), kept["near_m"], kept["far_m"],
        kept["tolerance_m"],
    )  # fmt: skip


def score_kept(done: Done) -> dict[str, Any]:
    """A score as it is recorded: plain numbers, unit in each name."""
    told = done.score
    return {
        "columns": told.columns, "within": told.within, "overcut_m": told.overcut, "left_m": told.left,
        "mean_m": told.mean, "removed_m2": done.removed, "passes": done.passes, "time_s": done.time_s,
    }  # fmt: skip


def score_out(kept: Mapping[str, Any], units: LengthUnit) -> ScoreOut:
    """A score as recorded, for an answer."""
    columns, within = kept["columns"], kept["within"]
    return ScoreOut(
        columns=columns, within=within, share=within / columns,
        share_shown=f"{math.floor(100 * within / columns)} %",
        overcut=length(kept["overcut_m"], units), left=length(kept["left_m"], units),
        mean=length(kept["mean_m"], units), removed_m2=kept["removed_m2"], passes=kept["passes"],
        time_s=kept["time_s"],
    )  # fmt: skip
