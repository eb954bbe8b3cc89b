"""One table from what goes wrong to a problem document (RFC 9457), and one shape for all of them.

Each fault has a JSON pointer (RFC 6901) into the request, what was expected, what was found, and advice.
"""

import logging
import traceback
import uuid
from collections.abc import Awaitable, Callable, Mapping, Sequence
from typing import Any

from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError, WebSocketRequestValidationError
from fastapi.responses import JSONResponse
from pydantic import Field
from sqlalchemy.exc import SQLAlchemyError
from starlette.exceptions import HTTPException
from starlette.types import ASGIApp, Receive, Scope, Send
from starlette.websockets import WebSocket

from kinematics.errors import Fault, Refused
from machine_profiles import ProfileFaulty

from .problem_table import TABLE
from .secret import hide
from .store import (
    DatabaseFromTheFuture,
    IdempotencyConflict,
    JobExists,
    JobUnknown,
    LogDamaged,
    NotStorable,
    RevisionConflict,
    SequenceMismatch,
    StoreError,
    WriteContended,
    disk_says,
)
from .strict import Strict
from .text import FaultOut, fault, is_not_finite, misfit, plain, pointer

MEDIA_TYPE = "application/problem+json"
MOST_FAULTS = 100

_log = logging.getLogger("tipdatum")


class ProblemDocument(Strict):
    """What every refusal looks like (RFC 9457, application/problem+json)."""

    type: str = Field(
        description="Stable; its page says what to do.", examples=["/guide/problems#beyond-joint"]
    )
    title: str
    status: int
    detail: str
    instance: str = Field(description="This occurrence. A failure of ours stands in the log under the same.")
    errors: list[FaultOut] = Field(description="Every fault found, at most 100.")


class Problem(Exception):
    """A refusal that a route or page decides on itself; answered as the problem document of its slug.

    `slug` is a key of `TABLE`, `faults` every reason found, `headers` what the answer must carry besides.
    """

    def __init__(
        self, slug: str, faults: Sequence[FaultOut] = (), detail: str = "", headers: Mapping[str, str] | None = None
    ) -> None:  # fmt: skip
        self.slug, self.faults, self.detail, self.headers = slug, tuple(faults), detail, headers
        super().__init__(detail or slug)


def problem(
    slug: str, faults: Sequence[FaultOut] = (), detail: str = "", *, status: int | None = None,
    instance: str | None = None, headers: Mapping[str, str] | None = None, of: int | None = None,
) -> JSONResponse:  # fmt: skip
    """A problem document as a response: at most the first 100 faults, valid JSON whatever was found.

    `status` only where it differs from the table's, `instance` only where the log has it already, `of`: how many there
    are, where `faults` are not all of them.
    """
    usual, title = TABLE[slug]
    told = faults[:MOST_FAULTS]
    many = len(faults) if of is None else of
    if not detail:
        detail = "; ".join(
            f"{f.pointer or 'request'}: expected {f.expected}, found {f.found}" for f in told[:3]
        )
        detail += f"; and {many - 3} more" if many > 3 else ""
    if many > len(told):
        detail += f" (the first {len(told)} of {many} are listed)"
    document = ProblemDocument(
        type=f"/guide/problems#{slug}", title=title, status=status or usual, detail=plain(detail) or title,
        instance=instance or _instance(), errors=list(told),
    )  # fmt: skip
    return JSONResponse(document.model_dump(), document.status, headers, MEDIA_TYPE)


def internal(error: BaseException) -> JSONResponse:
    """The answer to what nobody foresaw: nothing of the inside, but the name under which the log has it all."""
    instance = _instance()
    _write_down("internal fault", instance, error)
    return problem("internal", detail=f"Something failed on our side. {_UNSURE}", instance=instance)


# Said of a failure that may have come after the commit: anything more certain could be wrong.
_UNSURE = (
    "Whether the request was recorded is not certain: read the job again, or send the same request with the same "
    "Idempotency-Key."
)


def _write_down(what: str, instance: str, error: BaseException) -> None:
    """Into our own log, with its traceback, but for a credential that may stand in an exception's text."""
    _log.error("%s %s\n%s", what, instance, hide("".join(traceback.format_exception(error))))


def _instance() -> str:
    return f"urn:uuid:{uuid.uuid4()}"


def install(app: FastAPI) -> None:
    """Answer every exception that is foreseen with a problem document; the guard answers the others."""
    app.add_exception_handler(Problem, _problem)  # type: ignore[arg-type]  # a socket is answered in it
    app.add_exception_handler(Refused, _refused)
    app.add_exception_handler(ProfileFaulty, _profile_faulty)
    app.router.default = _nowhere(app.router.default)
    app.add_exception_handler(RequestValidationError, _invalid)
    app.add_exception_handler(WebSocketRequestValidationError, _invalid_socket)
    app.add_exception_handler(HTTPException, _http)
    app.add_exception_handler(StoreError, _store)
    app.add_exception_handler(SQLAlchemyError, _database)


def answering(slug: str, detail: str) -> Callable[[Request, Exception], Awaitable[JSONResponse]]:
    """A handler for an exception of an upper room: logs it, says `detail` under `slug`."""

    async def handler(_request: Request, error: Exception) -> JSONResponse:
        return _logged(slug, detail, error)

    return handler


async def _problem(request: Request | WebSocket, error: Exception) -> JSONResponse | None:
    assert isinstance(error, Problem)  # noqa: S101
    answer = as_response(error)
    if isinstance(request, WebSocket):
        await refuse_socket(answer, request.scope, request.receive, request.send)
        return None
    return answer


def as_response(error: Problem) -> JSONResponse:
    """The answer that a `Problem` asks for."""
    return problem(error.slug, error.faults, error.detail, headers=error.headers)


async def refuse_socket(refusal: JSONResponse, scope: Scope, receive: Receive, send: Send) -> None:
    """Refuse a WebSocket before it is one: with the problem document where the server can send one."""
    if "websocket.http.response" in scope.get("extensions", {}):
        await refusal(scope, receive, send)  # the response knows the messages of this extension
    else:
        await send({"type": "websocket.close", "code": 1008})


async def _refused(request: Request, error: Exception) -> JSONResponse:
    assert isinstance(error, Refused)  # noqa: S101
    codes = {each.code for each in error.faults}
    slug = codes.pop() if len(codes) == 1 else "refused"
    if slug not in TABLE:
        slug = "refused"
    by_path = request.method in {"GET", "HEAD"}
    status = 422 if slug.startswith("unknown-") and not by_path else None
    return problem(slug, [fault_out(each, request) for each in error.faults], status=status)


def fault_out(each: Fault, request: Request) -> FaultOut:
    """A fault of the lower rooms: its dotted path becomes a pointer into the body, if the request has one. What begins
    with a slash is a pointer already, to a key with a dot in it.
    """
    in_body = request.method not in {"GET", "HEAD"} and each.code != "bad-header"
    at = ""
    if in_body and each.where:
        at = each.where if each.where.startswith("/") else pointer(each.where.split("."))
    return fault(each.code, each.found, each.expected, each.advice, at, each.numbers)


async def _profile_faulty(_request: Request, error: Exception) -> JSONResponse:
    assert isinstance(error, ProfileFaulty)  # noqa: S101
    faults = []
    for each in error.faults:
        place = f" at {each.path or 'the file'}" + (f", line {each.line}" if each.line else "")
        line = {} if each.line is None else {"line": float(each.line)}
        faults.append(
            fault(each.code, plain(each.found, 60) + place, each.expected, each.advice, "/toml", line)
        )
    return problem("profile-faults", faults)


async def _invalid(request: Request, error: Exception) -> JSONResponse:
    assert isinstance(error, RequestValidationError)  # noqa: S101
    found = error.errors()
    # Of tens of thousands only those that are told are put into words, which takes its time.
    faults = [misfit(each, request.scope.get("endpoint")) for each in found[:MOST_FAULTS]]
    slug = "not-finite" if all(map(is_not_finite, found)) else "invalid-request"
    return problem(slug, faults, of=len(found))


async def _invalid_socket(socket: WebSocket, error: Exception) -> None:
    assert isinstance(error, WebSocketRequestValidationError)  # noqa: S101
    faults = [misfit(each, socket.scope.get("endpoint")) for each in error.errors()]
    await refuse_socket(problem("invalid-request", faults), socket.scope, socket.receive, socket.send)


def _nowhere(otherwise: ASGIApp) -> ASGIApp:
    """What stands where no route is: for a WebSocket the same document as for a request, not a bare refusal."""

    async def nowhere(scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] == "websocket":
            await refuse_socket(problem("not-found", detail=_BY_STATUS[404][1]), scope, receive, send)
        else:
            await otherwise(scope, receive, send)

    return nowhere


_BY_STATUS = {
    404: (
        "not-found",
        "There is no such address; /docs lists every route, /guide every page, /guide/live the WebSockets.",
    ),
    405: ("method-not-allowed", "This address does not do that; the Allow header says what it does."),
}


async def _http(_request: Request, error: Exception) -> JSONResponse:
    assert isinstance(error, HTTPException)  # noqa: S101
    if error.status_code >= 500:
        return internal(error)
    slug, detail = _BY_STATUS.get(error.status_code, ("bad-request", str(error.detail)))
    return problem(slug, detail=detail, status=error.status_code, headers=error.headers)


async def _store(request: Request, error: Exception) -> JSONResponse:
    told: FaultOut
    match error:
        case JobUnknown(job_id=job):
            told = fault("unknown-job", repr(job), "a job on record", "open it first; /v1/jobs lists them")
        case JobExists(job_id=job):
            told = fault("job-exists", repr(job), "a new job id", "choose another id", "/id")
        case IdempotencyConflict(key=key, seq=seq):
            told = fault(
                "idempotency-conflict", f"key {key!r}, used for entry {seq} with another request",
                "the same request again", "use a new key for a new request",
            )  # fmt: skip
        case SequenceMismatch(expected=expected, found=found):
            told = fault(
                "sequence-mismatch", f"the log at entry {found}", f"entry {expected}, as in If-Match",
                "read the job again and decide anew", numbers={"expected_seq": expected, "found_seq": found},
            )  # fmt: skip
        case RevisionConflict(kind=kind):
            told = fault(
                "revision-conflict", f"a {kind} revision of the same content hash with other content",
                "one content under each hash", "change its source line to record it anew", "/toml",
            )  # fmt: skip
        case NotStorable(faults=faults):
            return problem("refused", [fault("not-storable", found, wanted) for _, found, wanted in faults])
        case LogDamaged():
            instance = _instance()
            _log.error(
                "log-damaged %s %s", instance, hide(str(error))
            )  # no traceback: it comes with each request
            return problem("log-damaged", [_damaged(error)], detail=_altered(error), instance=instance)
        case WriteContended():
            told = fault(
                "contended", "others who wrote the same first, again and again", "a moment undisturbed",
                "nothing was recorded: send it again with the same Idempotency-Key",
            )  # fmt: skip
            return problem(told.code, [told], headers={"Retry-After": "1"})
        case DatabaseFromTheFuture():
            return _logged("database-from-the-future", "A later release wrote it; use that one.", error)
        case _:
            return await _database(request, error)
    return problem(told.code, [told])


async def _database(_request: Request, error: Exception) -> JSONResponse:
    return unanswered(error)


def damaged(error: LogDamaged) -> Problem:
    """What a stream, or whoever asks by a broker, is refused with where the log of the job does not hold."""
    return Problem("log-damaged", [_damaged(error)], detail=_altered(error))


def _altered(error: LogDamaged) -> str:
    return (
        f"Entry {error.seq} of job {error.job_id!r} is not as it was written. Nothing is computed from its log, and "
        "nothing added to it: what cannot be read may be a move. Its log and its record can be read up to that entry. "
        "Bring back the last good backup."
    )


def _damaged(error: LogDamaged) -> FaultOut:
    return fault(
        "log-damaged", f"entry {error.seq} of job {error.job_id!r}, not as it was written",
        "a log that holds: from no other a number is computed, and none is added to",
        "tipdatum verify tells what is wrong; bring back the last good backup (/guide/operations)",
        numbers={"seq": error.seq},
    )  # fmt: skip


def unanswered(error: BaseException) -> JSONResponse:
    """The answer where the database failed. Of a write that its disk did not take nothing is on record."""
    why = disk_says(error)
    if why is not None:
        return _logged(why, _DISK[why], error)
    return _logged("database", f"The database does not answer. {_UNSURE}", error)


_DISK = {
    "disk-full": "There is no room on the disk of the database: nothing was recorded. What is on record can be read. "
    "Make room, then send it again.",
    "read-only": "The disk of the database takes no writes: nothing was recorded. What is on record can be read. Have "
    "the disk looked at, then send it again.",
}


def _logged(slug: str, detail: str, error: BaseException) -> JSONResponse:
    instance = _instance()
    _write_down(slug, instance, error)
    return problem(slug, detail=detail, instance=instance)


def document(openapi: dict[str, Any]) -> dict[str, Any]:
    """Put the problem document into an OpenAPI description, on every route under /v1."""
    schema = ProblemDocument.model_json_schema(ref_template="#/components/schemas/{model}")
    schemas = openapi.setdefault("components", {}).setdefault("schemas", {})
    schemas.update(schema.pop("$defs", {}))
    schemas["ProblemDocument"] = schema
    for unused in ("HTTPValidationError", "ValidationError"):
        schemas.pop(unused, None)
    titles: dict[int, list[str]] = {}
    for slug, (status, _) in TABLE.items():
        titles.setdefault(status, []).append(slug)
    content = {MEDIA_TYPE: {"schema": {"$ref": "#/components/schemas/ProblemDocument"}}}
    for path in openapi["paths"].values():
        for operation in path.values():
            for status, slugs in sorted(titles.items()):
                operation["responses"][str(status)] = {
                    "description": "Problem: " + ", ".join(slugs), "content": content,
                }  # fmt: skip
    return openapi
