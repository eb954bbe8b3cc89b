"""Calibrations from the machine's own touches: computed, applied as new profile revisions, kept, rolled back."""

import json
import math
from functools import cache
from typing import Annotated, Any, cast

from anyio import to_thread
from fastapi import APIRouter, Depends, Path, Query, Request, Response
from pydantic import ConfigDict, Field
from typing_extensions import TypedDict

from kinematics.assembly import assemble
from kinematics.calibration_values import offered, value_of
from kinematics.errors import Fault, Refused, refuse
from kinematics.machine import Attachment, Machine
from kinematics.sources import sources_of
from machine_profiles import parse_profile, sensor_set, shipped
from service.book.calibrations import Applying, Calibrations, own_faults
from service.book.payloads import Estimates
from service.book.profiles import Profiles
from service.book.requests import AttachmentId, MachineId
from service.book.state import JobState
from service.problems import Problem, fault_out
from service.store import StoredCalibration
from service.strict import Strict, example

from .accepting import accepted
from .answers import Reference, stamp
from .calibration_answer import CalibrationOut, answered, as_csv
from .calibration_found import Pair, calibrated, new_texts, no_sensors, unseen
from .calibration_request import ApplyIn, CalibrationIn
from .door import CallerDep, IdempotencyKey, ProfilesDep, WorkersDep, key_of
from .error_budgets import CSV, JSON

router = APIRouter(prefix="/v1/calibrations", tags=["calibrations"])
CalibrationId = Annotated[str, Path(description="Its id.", max_length=64)]


async def calibrations_of(request: Request) -> Calibrations:
    """The calibrations on record."""
    return cast(Calibrations, request.app.state.calibrations)


CalibrationsDep = Annotated[Calibrations, Depends(calibrations_of)]


class MayBeFound(TypedDict):
    """A name that may stand among `unknowns`."""

    name: str
    unit: Annotated[str, Field(description="m or deg.")]
    value: float
    standard: Annotated[float, Field(description="How well the profile knows it.")]


class RecordOut(Strict):
    """A calibration on record, or the roll-back of one."""

    id: str
    machine: Reference = Field(description="As it was before.")
    attachment: Reference
    machine_now: Reference = Field(
        description="As it was from then on; the same where nothing of it was found."
    )
    attachment_now: Reference
    actor: str
    recorded_utc: str
    rolls_back: str | None = Field(description="Of a roll-back, the calibration that it undoes.")
    rolled_back_by: str | None = Field(description="The roll-back of this one, null while it stands.")
    document_sha256: str = Field(description="Of the canonical JSON of `asked` and `answer`.")
    asked: dict[str, Any] | None = Field(description="The request; null of a roll-back.")
    answer: dict[str, Any] | None = Field(
        description="As POST /v1/calibrations answers it; null of a roll-back."
    )


class LineOut(Strict):
    """A calibration in a list."""

    id: str
    machine: str
    attachment: str
    actor: str
    recorded_utc: str
    rolls_back: str | None
    unknowns: list[str]


class ListOut(Strict):
    """Calibrations, the latest first."""

    calibrations: list[LineOut]
    next: int | None = Field(description="For `before`, where there are more.")


class RollBackIn(Strict):
    """Nothing but the wish."""

    model_config = ConfigDict(json_schema_extra=example({}))


@router.get("/unknowns", summary="What may be calibrated of a pair")
def unknowns(
    machine: Annotated[MachineId, Query(description="Its id.")],
    attachment: Annotated[AttachmentId, Query(description="Its id.")],
    profiles: ProfilesDep,
) -> list[MayBeFound]:
    """Zeros, skews and dimensions of a machine with an attachment by name, with what the profiles say.

    curl -s 'localhost:8311/v1/calibrations/unknowns?machine=crawler-14t&attachment=digging-1500'
    """
    sensors = pair_of(profiles, machine, attachment).sensors
    sources = sources_of(sensors, JobState(estimates=Estimates()).surroundings)
    own = dict(zip(sources.names, sources.standard.tolist(), strict=True))
    lengths = dict(zip(sources.names, sources.lengths.tolist(), strict=True))
    return [
        _may_be(name, value_of(sensors, name), own[name], length=lengths[name]) for name in offered(sensors)
    ]


@router.post("", summary="Zeros and dimensions from touches, rods and levels")
async def calibration(
    asked: CalibrationIn, profiles: ProfilesDep, kept: CalibrationsDep, workers: WorkersDep
) -> CalibrationOut:
    """Sensor zeros and dimensions from touches of a fixed point, staff readings and checks of single links. Nothing is
    recorded. While the postures cannot tell the unknowns apart, says so and which to touch next. See /guide/calibration.

    curl -s localhost:8311/v1/calibrations -H 'content-type: application/json' -d @touches.json
    """

    def work() -> CalibrationOut:
        told = calibrated(asked, pair_of(profiles, asked.machine, asked.attachment))
        return answered(told, kept.today())

    return await to_thread.run_sync(work, limiter=workers.seats)


@router.post("/applied", status_code=201, summary="Record a calibration and its profile revisions")
async def apply(
    asked: ApplyIn, profiles: ProfilesDep, kept: CalibrationsDep, workers: WorkersDep, caller: CallerDep,
    request: Request, response: Response, idempotency_key: IdempotencyKey = None,
) -> RecordOut:  # fmt: skip
    """Compute it anew and record it: a new revision of each profile of which something was found, and what was asked and
    answered, all or nothing. Jobs stay with their revision until a setup is recorded anew.

    Refused unless something was found, while a suspect is not named in `left_out`, where a profile has moved on, and for
    shipped profiles, which are nobody's machine.
    """
    key = key_of(idempotency_key, caller, request, asked)

    def work() -> RecordOut:
        done = kept.repeated(key) or kept.apply(_applying(asked, profiles, kept.today()), caller.name, key)
        return _record(*kept.get(done.id))

    done = await to_thread.run_sync(work, limiter=workers.seats)
    response.headers["Location"] = f"/v1/calibrations/{done.id}"
    return done


@router.get("", summary="Calibrations on record")
def list_all(
    kept: CalibrationsDep,
    before: Annotated[int | None, Query(ge=1, description="As `next` of the list before said.")] = None,
    limit: Annotated[int, Query(ge=1, le=200, description="So many at most.")] = 50,
) -> ListOut:
    """Calibrations and roll-backs, the latest first."""
    found = kept.latest(before, limit + 1)
    more = found[limit - 1].ordinal if len(found) > limit else None
    return ListOut(calibrations=[_line(each) for each in found[:limit]], next=more)


@router.get(
    "/{calibration_id}",
    summary="One calibration",
    responses={200: {"model": RecordOut, "description": "The calibration.", "content": {
        CSV: {"schema": {"type": "string", "description": "Before and after of each unknown."}},
    }}},
)  # fmt: skip
def one(calibration_id: CalibrationId, kept: CalibrationsDep, request: Request) -> Response:
    """A calibration as it was asked for and answered; by the Accept header the table of before and after (`text/csv`)."""
    found, undone = kept.get(calibration_id)
    wanted = accepted(request.headers.get("accept", ""), {JSON: JSON, CSV: CSV}, JSON)
    if wanted == CSV and found.rolls_back is None:
        return Response(as_csv(found.document["answer"]), media_type=CSV)
    return Response(_record(found, undone).model_dump_json(), media_type=JSON)


@router.post("/{calibration_id}/roll-backs", status_code=201, summary="Take a calibration back")
def roll_back(
    calibration_id: CalibrationId, asked: RollBackIn, kept: CalibrationsDep, caller: CallerDep, request: Request,
    response: Response, idempotency_key: IdempotencyKey = None,
) -> RecordOut:  # fmt: skip
    """Make the profile revisions before it current again, as new revisions of the same numbers. Refused once a later
    revision has come."""
    try:
        done = kept.roll_back(calibration_id, caller.name, key_of(idempotency_key, caller, request, asked))
    except Refused as refused:
        if refused.code != "unknown-calibration":
            raise
        raise Problem("unknown-calibration", [fault_out(each, request) for each in refused.faults]) from None
    response.headers["Location"] = f"/v1/calibrations/{done.id}"
    return _record(done, None)


def pair_of(profiles: Profiles, machine: str, attachment: str) -> Pair:
    """The latest revisions of both with their sensors. `Refused`: whichever is unknown, "no-sensors"."""
    carrier, tool, fitted = profiles.pair(machine, attachment)
    sensors = profiles.sensed(carrier, tool)
    if sensors is None:
        raise no_sensors()
    texts = [
        parse_profile(profiles.revision(kind, named.id, named.hash).source_text)
        for kind, named in (("machine", carrier), ("attachment", tool))
    ]
    return Pair(texts[0], texts[1], fitted, sensors)


@cache
def warm() -> None:
    """Have the loops compiled before the service says where it is, by the example of the request."""
    [body] = CalibrationIn.model_json_schema()["examples"]
    asked = CalibrationIn.model_validate(body)
    machine, attachment = shipped()["machine", asked.machine], shipped()["attachment", asked.attachment]
    if isinstance(machine.geometry, Machine) and isinstance(attachment.geometry, Attachment):
        fitted = assemble(machine.geometry, attachment.geometry)
        sensors = sensor_set(machine, attachment, fitted)
        if sensors is not None:
            calibrated(asked, Pair(machine, attachment, fitted, sensors))


def _may_be(name: str, value: float, standard: float, *, length: bool) -> MayBeFound:
    per = 1.0 if length else math.degrees(1.0)
    return {"name": name, "unit": "m" if length else "deg", "value": per * value, "standard": per * standard}


def _applying(asked: ApplyIn, profiles: Profiles, today: str) -> Applying:
    pair = pair_of(profiles, asked.machine, asked.attachment)
    refuse(
        Fault("older-revision", where, f"{profile.kind} {profile.id} at revision {profile.content_hash[:12]}",
              f"revision {given[:12]}, as you gave it", "read the profile again and decide anew")
        for where, given, profile in (
            ("machine_revision", asked.machine_revision, pair.machine),
            ("attachment_revision", asked.attachment_revision, pair.attachment),
        ) if given != profile.content_hash
    )  # fmt: skip
    told = calibrated(asked, pair)
    if told.found is None:
        raise Refused(told.missing)
    refuse(unseen(told.suspects, told.doubts, asked.left_out, doubts_seen=asked.doubts_seen))
    texts = new_texts(told, today)
    changed = texts.changed(pair)
    refuse(own_faults(changed))
    plain = asked.model_dump(mode="json", exclude_none=True)
    document = {"asked": plain, "answer": json.loads(answered(told, today).model_dump_json())}
    return Applying((pair.machine, pair.attachment), (texts.machine, texts.attachment), document)


def _record(done: StoredCalibration, undone: str | None) -> RecordOut:
    document = done.document
    return RecordOut(
        id=done.id,
        machine=Reference(id=done.machine_id, revision=done.machine[0]),
        attachment=Reference(id=done.attachment_id, revision=done.attachment[0]),
        machine_now=Reference(id=done.machine_id, revision=done.machine[1]),
        attachment_now=Reference(id=done.attachment_id, revision=done.attachment[1]),
        actor=done.actor, recorded_utc=stamp(done.recorded_utc.isoformat()), rolls_back=done.rolls_back,
        rolled_back_by=undone, document_sha256=done.document_hash, asked=document.get("asked"),
        answer=document.get("answer"),
    )  # fmt: skip


def _line(each: StoredCalibration) -> LineOut:
    return LineOut(
        id=each.id, machine=each.machine_id, attachment=each.attachment_id, actor=each.actor,
        recorded_utc=stamp(each.recorded_utc.isoformat()), rolls_back=each.rolls_back,
        unknowns=[*each.document.get("asked", {}).get("unknowns", [])],
    )  # fmt: skip
