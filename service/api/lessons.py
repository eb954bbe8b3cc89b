"""Prepared lessons: poses to look at, a question before the second is seen, and its computed answer."""

from functools import lru_cache
from typing import Annotated

from fastapi import APIRouter, Path, Query, Request
from pydantic import ConfigDict, Field
from typing_extensions import TypedDict

from kinematics.assembly import Assembly
from kinematics.errors import Fault, Refused
from kinematics.explain import explain
from kinematics.units import LengthUnit
from service.book import requests as q
from service.book.lengths import metres_within
from service.classroom.bench import told_as
from service.classroom.lesson import Choice, Judged, Kind, Lesson, Question, Stand, Step, View, judged
from service.classroom.lessons import IDS, lessons_of
from service.problems import Problem, fault_out
from service.strict import Strict, example

from .answers import ADVISORY, Length, Reference, length, reference_to
from .door import ProfilesDep
from .explanation_sides import PosedIn, Told, asides
from .explanation_words import change_words, reasons, slope_words

router = APIRouter(prefix="/v1/lessons", tags=["classroom"])
LessonId = Annotated[str, Path(description="Its id, as GET /v1/lessons lists them.", max_length=40)]
_MOST_M = 100.0


class ChoiceOut(TypedDict):
    """An answer offered."""

    id: str
    words: str


class QuestionOut(Strict):
    """To be answered before the second pose is shown; its answer stands behind POST /v1/lessons/{lesson}/answers."""

    kind: Kind = Field(
        description="choice: the id of one of `choices`; length: in `units`, without a sign; percent: with its sign."
    )
    words: str
    choices: list[ChoiceOut] = Field(description="Empty unless it is a choice.")
    within_percent_of_it: float | None = Field(
        description="Of a length: by how many percent of the right one an answer may be off."
    )
    within_percent: float | None = Field(description="Of a percent: by how many an answer may be off.")


class StepOut(Strict):
    """One thing to look at."""

    id: str
    words: str
    view: View = Field(description="Which drawing shows it, as POST /v1/drawings has it.")
    sides: list[PosedIn] = Field(
        description="One pose, or a first and a second: as POST /v1/explanations and /v1/drawings take them."
    )
    look_at: list[str] = Field(
        description="Which quantities, as POST /v1/explanations names them; what is asked is of the first."
    )
    question: QuestionOut | None


class LessonOut(Strict):
    """A lesson told on this machine."""

    id: str
    title: str
    learn: str = Field(description="What one learns, in a sentence.")
    steps: list[StepOut]


class LeftOutOut(TypedDict):
    """A lesson that this machine with this attachment cannot show."""

    id: str
    title: str
    why: str


class LessonsOut(Strict):
    """All lessons, in the order in which they build on each other."""

    units: q.Units
    machine: Reference
    attachment: Reference
    lessons: list[LessonOut]
    left_out: list[LeftOutOut]
    advisory: str


class AnswerIn(Strict):
    """An answer to the question of one step."""

    model_config = ConfigDict(json_schema_extra=example({
        "machine": "crawler-14t", "attachment": "digging-1500", "units": "m", "step": "edge-behind", "answer": "up",
    }))  # fmt: skip
    machine: q.MachineId
    attachment: q.AttachmentId
    units: Annotated[q.Units, Field(description=q.UNITS_TEXT)]
    step: str = Field(max_length=40, description="Its id.")
    answer: q.Length = Field(
        description="The id of a choice; a length in `units`, without a sign; or a percent, with its sign."
    )


class AnswerOut(Strict):
    """Whether it is right, and why."""

    units: q.Units
    machine: Reference
    attachment: Reference
    right: bool
    right_choice: ChoiceOut | None = Field(description="Of a choice.")
    right_length: Length | None = Field(description="Of a length.")
    right_percent: float | None = Field(description="Of a percent.")
    right_words: str = Field(description="The right answer in words, rounded as people read it.")
    off: Length | None = Field(description="Of a length: answered less right.")
    off_percent: float | None = Field(description="Of a percent: answered less right.")
    words: list[str] = Field(
        description="Why, and what the explanation of the two poses says, in sentences made from the numbers."
    )
    advisory: str


@router.get("", summary="Lessons for a machine with an attachment")
def lessons(
    machine: Annotated[q.MachineId, Query(description="Its id.")],
    attachment: Annotated[q.AttachmentId, Query(description="Its id.")],
    units: Annotated[q.Units, Query(description=q.UNITS_TEXT)],
    profiles: ProfilesDep,
) -> LessonsOut:
    """Every lesson with its steps, poses and questions, none with its answers. Nothing is recorded. See /guide/lessons.

    curl -s 'localhost:8311/v1/lessons?machine=crawler-14t&attachment=digging-1500&units=m'
    """
    carrier, tool, fitted = profiles.pair(machine, attachment)
    told, left_out = _told(fitted, LengthUnit(units))
    return LessonsOut(
        units=units, machine=reference_to(carrier), attachment=reference_to(tool), lessons=told, left_out=left_out,
        advisory=ADVISORY,
    )  # fmt: skip


@router.post("/{lesson}/answers", summary="An answer to a lesson's question, judged and explained")
def answer(lesson: LessonId, asked: AnswerIn, profiles: ProfilesDep, request: Request) -> AnswerOut:
    """Whether an answer is right, what is right, and why. Nothing is recorded. See /guide/lessons.

    curl -s localhost:8311/v1/lessons/curl/answers -H 'content-type: application/json' -d '{"machine": "crawler-14t",
    "attachment": "digging-1500", "units": "m", "step": "edge-behind", "answer": "up"}'
    """
    if lesson not in IDS:
        unknown = Fault(
            "unknown-lesson", "", repr(lesson), "one of: " + ", ".join(IDS), "see GET /v1/lessons"
        )
        raise Problem("unknown-lesson", [fault_out(unknown, request)])
    carrier, tool, fitted = profiles.pair(asked.machine, asked.attachment)
    units = LengthUnit(asked.units)
    step = _lesson(fitted, units, lesson).step(asked.step)
    question = step.question
    if question is None:
        raise Refused([
            Fault("no-question", "step", f"{step.id!r}, which asks nothing", "a step with a question", "go on")
        ])  # fmt: skip
    found = judged(question, _read(question, asked))
    return _answered(found, question, step, units, reference_to(carrier), reference_to(tool))


def _lesson(fitted: Assembly, units: LengthUnit, name: str) -> Lesson:
    told, left_out = lessons_of(fitted, units)
    refused = [each for each in left_out if each.id == name]
    if refused:
        raise Refused([
            Fault("lesson-left-out", "", f"{name!r} on this machine and attachment: {refused[0].why}",
                  "one of: " + (", ".join(each.id for each in told) or "none"),
                  "take another lesson, machine or attachment")
        ])  # fmt: skip
    return next(each for each in told if each.id == name)


def _read(question: Question, asked: AnswerIn) -> str | float:
    """The answer in metres or percent, or as the id that it is."""
    given = asked.answer
    match question.kind:
        case "length":
            return metres_within(given, asked.units, "answer", _MOST_M)
        case "percent" if isinstance(given, str):
            raise Refused([
                Fault("not-a-number", "answer", repr(given), "a percent, as a number", "leave out quotes and unit")
            ])  # fmt: skip
        case _:
            return given


def _answered(
    found: Judged,
    question: Question,
    step: Step,
    units: LengthUnit,
    machine: Reference,
    attachment: Reference,
) -> AnswerOut:
    right, kind = question.right, question.kind
    size = None if isinstance(right, str) else right
    chosen = next((_choice(each) for each in question.choices if each.id == right), None)
    metres = length(size, units) if size is not None and kind == "length" else None
    percent = size if kind == "percent" else None
    words = chosen["words"] if chosen else metres["shown"] if metres else f"{percent:+.1f} %"
    return AnswerOut(
        units=units.value, machine=machine, attachment=attachment, right=found.right, right_choice=chosen,
        right_length=metres, right_percent=percent, right_words=words,
        off=length(found.off, units) if found.off is not None and kind == "length" else None,
        off_percent=found.off if kind == "percent" else None,
        words=[*question.because, *_why(step, units)], advisory=ADVISORY,
    )  # fmt: skip


def _why(step: Step, units: LengthUnit) -> list[str]:
    """What the engine says of a first and a second pose; nothing of one alone."""
    if len(step.stands) < 2:
        return []
    first, second = (each.side for each in step.stands)
    told = explain(first, second)
    main = told_as(step.look_at[0])
    points = (first.point, second.point)
    change = told.changes[main]
    head = slope_words(change) if main == "cross_slope" else change_words(main, points, change, units)
    return [head, *reasons(told, first, second, units, list(asides(told, Told(first), Told(second))))]


@lru_cache(maxsize=64)
def _told(fitted: Assembly, units: LengthUnit) -> tuple[list[LessonOut], list[LeftOutOut]]:
    """The lessons as they are answered; frozen, so that answers may share them."""
    lessons, left_out = lessons_of(fitted, units)
    return [
        LessonOut(id=each.id, title=each.title, learn=each.learn, steps=[_step(step) for step in each.steps])
        for each in lessons
    ], [{"id": each.id, "title": each.title, "why": each.why} for each in left_out]


def _step(step: Step) -> StepOut:
    question = step.question
    return StepOut(
        id=step.id, words=step.words, view=step.view, sides=[_side(each) for each in step.stands],
        look_at=[told_as(each) for each in step.look_at], question=None if question is None else _question(question),
    )  # fmt: skip


def _side(stand: Stand) -> PosedIn:
    return PosedIn.model_validate({
        "angles_deg": dict(stand.angles_deg),
        "attitude_deg": {"pitch": stand.pitch_deg, "roll": stand.roll_deg},
        "edge_point": stand.edge_point, "origin_elevation": stand.origin, "target_elevation": stand.target,
    })  # fmt: skip


def _question(question: Question) -> QuestionOut:
    kind = question.kind
    return QuestionOut(
        kind=kind, words=question.words, choices=[_choice(each) for each in question.choices],
        within_percent_of_it=100.0 * question.within if kind == "length" else None,
        within_percent=question.within if kind == "percent" else None,
    )  # fmt: skip


def _choice(choice: Choice) -> ChoiceOut:
    return {"id": choice.id, "words": choice.words}
