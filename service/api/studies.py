"""Studies: geometry varied and posed by a worker beside the service, looked at while they run, stopped, taken up."""

from typing import Annotated, Any, Literal, cast

from fastapi import APIRouter, Depends, Path, Query, Request, Response
from fastapi.responses import FileResponse
from pydantic import ConfigDict, Field
from starlette.concurrency import run_in_threadpool

from kinematics.errors import Fault, Refused
from service.book.studies import Progress, Studies
from service.store import StoredStudy
from service.strict import Strict, example
from service.studies.reading import LONGEST_TEXT

from .answers import Reference, stamp
from .door import CallerDep, IdempotencyKey, key_of

EXAMPLE = """\
schema = 1
kind = "study"
name = "Boom as long as its sheet says"
machine = "crawler-14t"
attachment = "digging-1500"

[units]
length = "mm"
angle = "deg"

[design]
kind = "latin"
rows = 64
seed = 1

[vary.boom_length]
standard = 3

[poses]
combine = "together"
[poses.angles]
pitch = { at = 0 }
roll = { at = 0 }
boom = { values = [20, 30] }
stick = { at = -100 }
bucket = { at = 60 }

[results]
each = "pose"
outputs = ["centre_height"]
"""
PARQUET, CSV = "application/vnd.apache.parquet", "text/csv"
ADVISORY = (
    "Advisory only: numbers of geometry as it was described, not of a machine that was built. Whoever designs or changes "
    "a linkage has it checked by a licensed engineer and keeps to local codes. See /guide/cautions."
)
_MOST_ORDINAL = 2**31 - 1
router = APIRouter(prefix="/v1/studies", tags=["studies"])
StudyId = Annotated[
    str, Path(alias="study", min_length=1, max_length=60, description="As it was answered when submitted.")
]


async def studies_of(request: Request) -> Studies:
    """The studies on record."""
    return cast(Studies, request.app.state.studies)


StudiesDep = Annotated[Studies, Depends(studies_of)]


class StudyIn(Strict):
    """A study to be run."""

    model_config = ConfigDict(json_schema_extra=example({"toml": EXAMPLE}))
    toml: str = Field(
        min_length=1, max_length=LONGEST_TEXT, description="The text of a study's file; see /guide/studies."
    )


class Nothing(Strict):
    """An empty object."""

    model_config = ConfigDict(json_schema_extra=example({}))


class FaultTold(Strict):
    """Why a study ended before its end."""

    code: str
    found: str
    expected: str
    advice: str


class StudyLineOut(Strict):
    """A study in a list."""

    id: str
    name: str
    state: Literal["waiting", "running", "finished", "stopped", "failed"] = Field(
        description="One runs at a time; the others wait. What was finished of a stopped or failed one is kept."
    )
    machine: Reference = Field(
        description="As it was when submitted, whatever has become of the profile since."
    )
    attachment: Reference
    parts: int = Field(description="How many parts it has.")
    parts_finished: int
    actor: str = Field(description="Who submitted it.")
    recorded_utc: str


class StudyOut(StudyLineOut):
    """A study, how far it is, and once it is finished what it came to."""

    identity: str = Field(
        description="SHA-256 of all that its numbers hang on: file, profiles, this release and its libraries."
    )
    faults: list[FaultTold]
    summary: dict[str, Any] | None = Field(
        description="Of one that is finished or was stopped on its way: provenance, counts by status, least, mean and "
        "greatest of each column, Sobol indices of a design of that kind."
    )
    advisory: str


class StudiesOut(Strict):
    """Studies, the newest first."""

    studies: list[StudyLineOut]
    next: int | None = Field(description="For `before`, where there are more.")


@router.post("", status_code=201, summary="Submit a study")
async def submit(
    asked: StudyIn, kept: StudiesDep, caller: CallerDep, request: Request, response: Response,
    idempotency_key: IdempotencyKey = None,
) -> StudyOut:  # fmt: skip
    """It is answered once it is on record, and runs as soon as those before it are at their end. Parts that are finished
    survive whatever stops it.

    curl -s localhost:8311/v1/studies -H 'content-type: application/json' -d @study.json
    """
    key = key_of(idempotency_key, caller, request, asked)

    def work() -> StudyOut:
        done = kept.repeated(key) or kept.submit(_plan(kept, asked.toml), caller.name, key)
        return _out(done, kept.progress(done))

    done = await run_in_threadpool(work)
    response.headers["Location"] = f"/v1/studies/{done.id}"
    return done


def _plan(kept: Studies, text: str) -> Any:
    try:
        return kept.plan(text)
    except Refused as refused:
        raise Refused(
            Fault(
                f.code,
                "toml",
                f"{f.found} at {f.where}" if f.where else f.found,
                f.expected,
                f.advice,
                f.numbers,
            )
            for f in refused.faults
        ) from None


@router.get("", summary="Studies on record")
def list_studies(
    kept: StudiesDep,
    before: Annotated[
        int | None, Query(ge=1, le=_MOST_ORDINAL, description="As `next` of the list before said.")
    ] = None,
    limit: Annotated[int, Query(ge=1, le=200, description="So many at most.")] = 50,
) -> StudiesOut:
    """The newest first.

    curl -s localhost:8311/v1/studies
    """
    found = kept.listed(before, limit + 1)
    more = found[limit - 1].ordinal if len(found) > limit else None
    return StudiesOut(
        studies=[StudyLineOut(**_line(each, kept.progress(each))) for each in found[:limit]], next=more
    )


@router.get("/{study}", summary="How far a study is, and what it came to")
def get_study(study_id: StudyId, kept: StudiesDep) -> StudyOut:
    """Its state, how many parts are finished, and its summary once there is one.

    curl -s localhost:8311/v1/studies/STUDY
    """
    found = kept.get(study_id)
    return _out(found, kept.progress(found))


@router.post("/{study}/stops", summary="Stop a study")
def stop(study_id: StudyId, _asked: Nothing, kept: StudiesDep) -> StudyOut:
    """After the parts under way; what is finished is kept and can be asked for.

    curl -s localhost:8311/v1/studies/STUDY/stops -H 'content-type: application/json' -d '{}'
    """
    found = kept.get(study_id)
    return _out(found, kept.stop(found))


@router.post("/{study}/resumptions", summary="Let a stopped study go on")
def resume(study_id: StudyId, _asked: Nothing, kept: StudiesDep) -> StudyOut:
    """Finished parts are not made again.

    curl -s localhost:8311/v1/studies/STUDY/resumptions -H 'content-type: application/json' -d '{}'
    """
    found = kept.get(study_id)
    return _out(found, kept.go_on(found))


@router.get(
    "/{study}/result.parquet", summary="All results as Parquet", response_class=FileResponse,
    responses={200: {"content": {PARQUET: {"schema": {"type": "string", "format": "binary"}}}}},
)  # fmt: skip
def result_parquet(study_id: StudyId, kept: StudiesDep) -> FileResponse:
    """Units stand in the names of the columns, the provenance under "tipdatum" in the file's metadata.

    curl -s localhost:8311/v1/studies/STUDY/result.parquet -o study.parquet
    """
    return FileResponse(
        kept.result(kept.get(study_id), "parquet"), media_type=PARQUET, filename="study.parquet"
    )


@router.get(
    "/{study}/result.csv", summary="All results as CSV", response_class=FileResponse,
    responses={200: {"content": {CSV: {"schema": {"type": "string"}}}}},
)  # fmt: skip
def result_csv(study_id: StudyId, kept: StudiesDep) -> FileResponse:
    """Units stand in the names of the columns, the provenance in lines before them that begin with #.

    curl -s localhost:8311/v1/studies/STUDY/result.csv -o study.csv
    """
    return FileResponse(kept.result(kept.get(study_id), "csv"), media_type=CSV, filename="study.csv")


def _line(study: StoredStudy, progress: Progress) -> dict[str, Any]:
    return {
        "id": study.id, "name": study.name, "state": progress.state,
        "machine": Reference(id=study.machine[0], revision=study.machine[1]),
        "attachment": Reference(id=study.attachment[0], revision=study.attachment[1]),
        "parts": progress.parts, "parts_finished": progress.finished, "actor": study.actor,
        "recorded_utc": stamp(study.recorded_utc.isoformat()),
    }  # fmt: skip


def _out(study: StoredStudy, progress: Progress) -> StudyOut:
    return StudyOut(
        **_line(study, progress), identity=study.identity, faults=[FaultTold(**each) for each in progress.faults],
        summary=progress.summary, advisory=ADVISORY,
    )  # fmt: skip
