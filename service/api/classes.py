"""Classes of learners: simulated digs recorded for good, listed with their scores, and one of them to play again."""

from typing import Annotated, Any, cast

from anyio import to_thread
from fastapi import APIRouter, Depends, Path, Query, Request, Response
from pydantic import ConfigDict, Field

from kinematics.errors import Refused
from kinematics.units import LengthUnit
from service.book import requests as q
from service.book.profiles import Profiles
from service.classroom.classes import Classes
from service.classroom.exercises import named
from service.store import NewDig, StoredDig
from service.strict import ONE_LINE, Strict, example

from .answers import Reference, stamp
from .dig_answer import (
    SIMULATED,
    CourseIn,
    ExerciseOut,
    GroundOut,
    ScoreOut,
    exercise_kept,
    exercise_out,
    exercise_read,
    ground_out,
    score_kept,
    score_out,
)
from .door import CallerDep, IdempotencyKey, ProfilesDep, WorkersDep, key_of
from .exercises import EXAMPLE_DIG, DigIn, simulated

_MOST_SEQ = 2**31 - 1
router = APIRouter(prefix="/v1/classes", tags=["classroom"])
ClassId = Annotated[
    q.Slug, Path(alias="class", description="The class: any name; it is there with its first dig.")
]
DigSeq = Annotated[int, Path(ge=1, le=_MOST_SEQ, description="Number of the dig in its class.")]
UnitsAsked = Annotated[q.Units, Query(description=q.UNITS_TEXT)]


async def classes_of(request: Request) -> Classes:
    """The classes on record."""
    return cast(Classes, request.app.state.classes)


ClassesDep = Annotated[Classes, Depends(classes_of)]


class RecordDigIn(DigIn):
    """A whole dig of a learner."""

    model_config = ConfigDict(json_schema_extra=example(EXAMPLE_DIG | {"learner": "Ada"}))
    learner: str = Field(
        min_length=1,
        max_length=40,
        description="Whose dig it is: a name, 1 to 40 characters on one line.",
        pattern=ONE_LINE,
    )


class ClassOut(Strict):
    """A class in a list."""

    id: str
    digs: int


class ClassesOut(Strict):
    """The classes on record, by name."""

    classes: list[ClassOut]


class DigLineOut(Strict):
    """A dig on record. Its score is that of then, whatever has become of the profiles since."""

    seq: int = Field(description="Its number in the class.")
    learner: str
    exercise: str
    machine: Reference = Field(description="As it was dug with.")
    attachment: Reference
    score: ScoreOut
    actor: str = Field(description="Who recorded it.")
    recorded_utc: str


class DigRecordedOut(DigLineOut):
    """A dig just recorded: it is on disk."""

    class_id: str
    document_sha256: str = Field(
        description="Of the canonical JSON of exercise, course, score and ground at the end."
    )
    advisory: str


class DigRecordOut(DigRecordedOut):
    """A dig on record, to be looked at and played again."""

    machine_is_current: bool = Field(
        description="Whether the machine's profile is still the revision of then."
    )
    attachment_is_current: bool
    exercise_is_current: bool = Field(
        description="Whether the exercise is still that of then; if not, the course cannot be dug again."
    )
    exercise_then: ExerciseOut = Field(description="The exercise as it was given then.")
    course: CourseIn = Field(description="As it was sent.")
    ground: GroundOut = Field(description="At the end.")


class DigsOut(Strict):
    """Digs of a class in the order recorded."""

    digs: list[DigLineOut]
    next: int | None = Field(description="For `after`, where there are more.")


@router.get("", summary="Classes on record")
def list_classes(kept: ClassesDep) -> ClassesOut:
    """Every class with the number of its digs.

    curl -s localhost:8311/v1/classes
    """
    return ClassesOut(classes=[ClassOut(id=name, digs=count) for name, count in kept.names()])


@router.post("/{class}/digs", status_code=201, summary="Record a simulated dig for a class")
async def record_dig(
    class_id: ClassId, asked: RecordDigIn, profiles: ProfilesDep, kept: ClassesDep, workers: WorkersDep,
    caller: CallerDep, request: Request, response: Response, idempotency_key: IdempotencyKey = None,
) -> DigRecordedOut:  # fmt: skip
    """Score a dig and record it for good, with the exercise, the course and the profile revisions of now. It is answered
    once it is on disk. A simulated dig moves no machine: who may record may record it, assigned machine or not.

    curl -s localhost:8311/v1/classes/monday/digs -H 'content-type: application/json' -d @dig.json
    """
    key = key_of(idempotency_key, caller, request, asked)

    def work() -> StoredDig:
        return kept.repeated(key) or kept.record(_new(class_id, asked, profiles), caller.name, key)

    done = await to_thread.run_sync(work, limiter=workers.seats)
    response.headers["Location"] = f"/v1/classes/{class_id}/digs/{done.seq}"
    return DigRecordedOut(**_recorded(done, LengthUnit(asked.units)))


@router.get("/{class}/digs", summary="Digs of a class with their scores")
def list_digs(
    class_id: ClassId,
    units: UnitsAsked,
    kept: ClassesDep,
    exercise: Annotated[q.Slug | None, Query(description="Only of this exercise.")] = None,
    after: Annotated[int, Query(ge=0, le=_MOST_SEQ, description="As `next` of the list before said.")] = 0,
    limit: Annotated[int, Query(ge=1, le=200, description="So many at most.")] = 50,
) -> DigsOut:
    """In the order recorded; none for a class that nobody has dug in.

    curl -s 'localhost:8311/v1/classes/monday/digs?units=m&exercise=level-floor'
    """
    found = kept.digs(class_id, exercise, after, limit + 1)
    more = found[limit - 1].seq if len(found) > limit else None
    return DigsOut(digs=[DigLineOut(**_line(each, LengthUnit(units))) for each in found[:limit]], next=more)


@router.get("/{class}/digs/{seq}", summary="One dig of a class, to play again")
def get_dig(
    class_id: ClassId, seq: DigSeq, units: UnitsAsked, kept: ClassesDep, profiles: ProfilesDep
) -> DigRecordOut:
    """A dig with its course and the ground it left, as they were recorded.

    curl -s 'localhost:8311/v1/classes/monday/digs/1?units=m'
    """
    found, document = kept.get(class_id, seq)
    told = LengthUnit(units)
    return DigRecordOut(
        **_recorded(found, told),
        machine_is_current=profiles.latest("machine", found.machine[0]).hash == found.machine[1],
        attachment_is_current=profiles.latest("attachment", found.attachment[0]).hash == found.attachment[1],
        exercise_is_current=_exercise_now(profiles, found) == document["exercise"],
        exercise_then=exercise_out(exercise_read(document["exercise"]), told),
        course=CourseIn.model_validate(document["course"]), ground=document["ground"],
    )  # fmt: skip


def _exercise_now(profiles: Profiles, found: StoredDig) -> dict[str, Any] | None:
    """As it would be recorded today; None where there is no such exercise any more."""
    try:
        _, _, fitted = profiles.pair(found.machine[0], found.attachment[0])
        return exercise_kept(named(fitted, found.exercise))
    except Refused:
        return None


def _new(class_id: str, asked: RecordDigIn, profiles: ProfilesDep) -> NewDig:
    machine, attachment, exercise, done = simulated(profiles, asked)
    score = score_kept(done)
    document = {
        "exercise": exercise_kept(exercise), "course": asked.course.model_dump(mode="json"), "score": score,
        "ground": ground_out(done.ground),
    }  # fmt: skip
    return NewDig(
        class_id, asked.learner, exercise.id, (machine.id, machine.hash), (attachment.id, attachment.hash), score,
        document,
    )  # fmt: skip


def _line(each: StoredDig, units: LengthUnit) -> dict[str, Any]:
    return {
        "seq": each.seq, "learner": each.learner, "exercise": each.exercise,
        "machine": Reference(id=each.machine[0], revision=each.machine[1]),
        "attachment": Reference(id=each.attachment[0], revision=each.attachment[1]),
        "score": score_out(each.score, units), "actor": each.actor,
        "recorded_utc": stamp(each.recorded_utc.isoformat()),
    }  # fmt: skip


def _recorded(each: StoredDig, units: LengthUnit) -> dict[str, Any]:
    more = {"class_id": each.class_id, "document_sha256": each.document_hash, "advisory": SIMULATED}
    return _line(each, units) | more
