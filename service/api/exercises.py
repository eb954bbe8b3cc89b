"""Exercises of the simulated dig: what there is for a machine, one piece of a dig, a whole dig and its score."""

from collections.abc import Mapping
from typing import Annotated, cast

import numpy as np
from anyio import to_thread
from fastapi import APIRouter, Query
from pydantic import ConfigDict, Field

from kinematics.errors import Fault, Refused, refuse
from kinematics.ground import Ground
from kinematics.units import LengthUnit
from service.book import requests as q
from service.book.profiles import Profiles
from service.book.state import Named
from service.classroom.digs import Done, dug, step
from service.classroom.exercises import Exercise, named, prepared
from service.strict import Strict, example

from .answers import Length, Reference, length, maybe, reference_to
from .dig_answer import (
    EXAMPLE_COURSE,
    MOST_COLUMNS,
    SIMULATED,
    Angles,
    CourseIn,
    DigOut,
    ExerciseId,
    ExerciseOut,
    exercise_out,
    ground_out,
    score_kept,
    score_out,
)
from .door import ProfilesDep, WorkersDep

router = APIRouter(prefix="/v1", tags=["classroom"])
_MOST_M = 50.0
_PAIR = {"machine": "crawler-14t", "attachment": "digging-1500", "units": "m", "exercise": "level-floor"}
EXAMPLE_DIG = _PAIR | {"course": EXAMPLE_COURSE}


class ExercisesOut(Strict):
    """The exercises of a pair."""

    units: q.Units
    machine: Reference
    attachment: Reference
    exercises: list[ExerciseOut]
    advisory: str


class PairIn(Strict):
    """A machine with its attachment, and one of its exercises."""

    machine: q.MachineId
    attachment: q.AttachmentId
    units: Annotated[q.Units, Field(description=q.UNITS_TEXT)]
    exercise: ExerciseId


class DigStepIn(PairIn):
    """One piece of a dig: every joint goes evenly from one angle to another."""

    model_config = ConfigDict(json_schema_extra=example(_PAIR | {
        "from_deg": {"boom": 24.0, "stick": -92.0, "bucket": 66.0},
        "to_deg": {"boom": 22.0, "stick": -100.0, "bucket": 64.0},
    }))  # fmt: skip
    ground_heights_m: list[Annotated[float, Field(ge=-_MOST_M, le=_MOST_M)]] | None = Field(
        None, max_length=MOST_COLUMNS,
        description="The ground as the step before left it, a height for each of the exercise's columns; null: as the "
        "exercise begins.",
    )  # fmt: skip
    in_pass: bool = Field(
        default=False, description="As the step before answered it; false at the beginning.", examples=[False]
    )
    from_deg: Angles = Field(description="Every joint of machine and attachment, before.")
    to_deg: Angles = Field(description="The same, after.")


class DigStepOut(Strict):
    """The ground after a piece of a dig, and the edge's centre at its end."""

    ground_heights_m: list[float]
    in_pass: bool = Field(description="Whether a pass is on; give it to the next step.")
    passes_begun: int = Field(description="Passes that began in this step.")
    cut: bool = Field(description="Whether any ground was taken away.")
    removed_m2: float = Field(description="m3 for each metre of the bucket's width.")
    reach: Length
    height: Length = Field(description="Over the body origin.")
    target: Length | None = Field(
        description="Height of the target there; null short of and beyond the marks."
    )
    above_target: Length | None = Field(description="Of the edge; positive to cut, below zero too deep.")


class DigIn(PairIn):
    """A whole dig."""

    model_config = ConfigDict(json_schema_extra=example(EXAMPLE_DIG))
    course: Annotated[
        CourseIn, Field(description="From the exercise's beginning on, the edge over the ground.")
    ]


@router.get("/exercises", summary="What may be dug in the classroom")
def exercises(
    machine: Annotated[q.MachineId, Query(description="Its id.")],
    attachment: Annotated[q.AttachmentId, Query(description="Its id.")],
    units: Annotated[q.Units, Query(description=q.UNITS_TEXT)],
    profiles: ProfilesDep,
) -> ExercisesOut:
    """Exercises made to the measure of a machine with an attachment: ground, target, marks, tolerance, a pose to begin.

    curl -s 'localhost:8311/v1/exercises?machine=crawler-14t&attachment=digging-1500&units=m'
    """
    carrier, tool, fitted = profiles.pair(machine, attachment)
    told = [exercise_out(each, LengthUnit(units)) for each in prepared(fitted)]
    return ExercisesOut(
        units=units, machine=reference_to(carrier), attachment=reference_to(tool), exercises=told,
        advisory=SIMULATED,
    )  # fmt: skip


@router.post("/dig-steps", summary="One piece of a simulated dig")
def dig_step(asked: DigStepIn, profiles: ProfilesDep) -> DigStepOut:
    """What a piece of a dig takes away, for a page that draws the ground as it is dug. Steps one after another give to
    the last bit what POST /v1/digs makes of the same samples. Nothing is recorded.

    curl -s localhost:8311/v1/dig-steps -H 'content-type: application/json' -d @step.json
    """
    _, _, fitted = profiles.pair(asked.machine, asked.attachment)
    wanted, units = named(fitted, asked.exercise), LengthUnit(asked.units)
    ground, faults = _ground(wanted, asked.ground_heights_m)
    before, after = (cast(Mapping[str, float], each) for each in (asked.from_deg, asked.to_deg))
    try:
        done = step(fitted, ground, before, after, in_pass=asked.in_pass)
    except Refused as refused:
        raise Refused([*faults, *refused.faults]) from None
    refuse(faults)
    target = wanted.target.height_at(done.reach) if wanted.near <= done.reach <= wanted.far else None
    return DigStepOut(
        ground_heights_m=done.dug.ground.heights.tolist(), in_pass=done.dug.in_pass, passes_begun=done.dug.begun,
        cut=done.dug.removed > 0.0, removed_m2=done.dug.removed, reach=length(done.reach, units),
        height=length(done.height, units), target=maybe(target, units),
        above_target=None if target is None else length(done.height - target, units),
    )  # fmt: skip


@router.post("/digs", summary="A simulated dig scored")
async def dig(asked: DigIn, profiles: ProfilesDep, workers: WorkersDep) -> DigOut:
    """The score of a dig: share of the ground within tolerance, deepest overcut, passes, time. Nothing is recorded. See
    /guide/exercise.

    curl -s localhost:8311/v1/digs -H 'content-type: application/json' -d @dig.json
    """

    def work() -> DigOut:
        machine, attachment, _, done = simulated(profiles, asked)
        return DigOut(
            units=asked.units, machine=reference_to(machine), attachment=reference_to(attachment),
            exercise=asked.exercise, score=score_out(score_kept(done), LengthUnit(asked.units)),
            ground=ground_out(done.ground), advisory=SIMULATED,
        )  # fmt: skip

    return await to_thread.run_sync(work, limiter=workers.seats)


def simulated(profiles: Profiles, asked: DigIn) -> tuple[Named, Named, Exercise, Done]:
    """The revisions it was dug with, the exercise, and what it came to. Raises `Refused` with what is wrong of a course
    at its place in the request."""
    machine, attachment, fitted = profiles.pair(asked.machine, asked.attachment)
    wanted = named(fitted, asked.exercise)
    try:
        return machine, attachment, wanted, dug(fitted, wanted, asked.course.course())
    except Refused as refused:
        raise Refused(each.at("course") for each in refused.faults) from None


def _ground(wanted: Exercise, heights: list[float] | None) -> tuple[Ground, list[Fault]]:
    """The ground as a step finds it; that of the exercise's beginning, with the fault, where it cannot be that."""
    begun = wanted.ground
    if heights is None:
        return begun, []
    if len(heights) != begun.heights.size:
        found, expected = (
            f"{len(heights)} heights",
            f"{begun.heights.size}, one for each column of the exercise",
        )
        return begun, [
            Fault("ragged", "ground_heights_m", found, expected, "send what the step before answered")
        ]
    return Ground(begun.first, begun.step, np.array(heights)), []
