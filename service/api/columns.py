"""Poses by the hundred thousand: columns in, columns out, as JSON or Arrow. No job needed."""

from typing import Annotated, Any

from anyio import to_thread
from fastapi import APIRouter, Query, Request, Response
from pydantic import Field, ValidationError

from service.book.profiles import Profiles
from service.book.requests import Slug
from service.guard import ARROW
from service.problems import Problem
from service.strict import Strict
from service.text import fault, misfit

from . import column_arrow, column_json
from .column_json import ColumnsIn, ColumnsOut
from .column_request import PARAMETERS, Asked, Head, OutputName, room
from .column_solving import Workers, solve
from .door import ProfilesDep, WorkersDep

PATH = "/v1/pose-columns"
router = APIRouter(prefix=PATH, tags=["poses"])


class ColumnsQuery(Strict):
    """What an Arrow body has no columns for."""

    machine: list[Slug] = Field(
        default_factory=list, description="With an Arrow body: id of a machine; repeated for several."
    )
    attachment: list[Slug] = Field(
        default_factory=list,
        description="With an Arrow body: id of the attachment; one for each `machine`, in order.",
    )
    output: list[OutputName] = Field(
        default_factory=list,
        description="With an Arrow body: an output that is wanted; repeated for several.",
    )


_BINARY = {"type": "string", "format": "binary"}
_ARROW_IN = (
    "One Arrow IPC stream without compression. Columns, floating-point or whole numbers, none of them null: "
    + ", ".join(column_arrow.COLUMNS)
    + "; of these pitch, roll, and one for each joint that the machines have. Machines and outputs stand in the query."
)
_ARROW_OUT = (
    "One Arrow IPC stream: float64 columns by output (past_square: boolean), null in rows without a number; "
    "`status`, dictionary-coded text; `machine_of` where there are several machines; release and revisions in the "
    "schema's metadata."
)


@router.post(
    "",
    responses={200: {
        "model": ColumnsOut, "description": "Columns of results.",
        "content": {ARROW: {"schema": _BINARY | {"description": _ARROW_OUT}}},
    }},
    openapi_extra={"requestBody": {"required": True, "content": {
        "application/json": {"schema": {"$ref": "#/components/schemas/ColumnsIn"}},
        ARROW: {"schema": _BINARY | {"description": _ARROW_IN}},
    }}},
    summary="Many poses in one request, as JSON or Arrow",
)  # fmt: skip
async def solve_columns(
    query: Annotated[ColumnsQuery, Query()], request: Request, profiles: ProfilesDep, workers: WorkersDep
) -> Response:
    """Solve many poses in one request.

    JSON or Arrow in, told by Content-Type; JSON out, or Arrow where Accept names it. Malformed input refuses all of it;
    a row that cannot be trusted is null and says why in `status`. See /guide/bulk.

    curl -s localhost:8311/v1/pose-columns -H 'content-type: application/json' -d @columns.json
    """
    pieces = [piece async for piece in request.stream() if piece]
    body = pieces[0] if len(pieces) == 1 else b"".join(pieces)
    sent, wanted = (request.headers.get(name, "") for name in ("content-type", "accept"))
    return await to_thread.run_sync(
        _answer, body, query, _is_arrow(sent), _is_arrow(wanted), profiles, workers, limiter=workers.seats
    )


def _is_arrow(header: str) -> bool:
    """Whether one of the media types in a header is Arrow's."""
    return ARROW in {part.partition(";")[0].strip().lower() for part in header.split(",")}


def _answer(
    body: bytes, query: ColumnsQuery, sent: bool, wanted: bool, profiles: Profiles, workers: Workers  # noqa: FBT001
) -> Response:  # fmt: skip
    asked = _asked(body, query, arrow=sent)
    solved = solve(asked, profiles, workers)
    if wanted:
        return Response(column_arrow.write(solved), media_type=ARROW)
    return Response(column_json.write(solved), media_type="application/json")


def _asked(body: bytes, query: ColumnsQuery, *, arrow: bool) -> Asked:
    if not body:
        expected = (
            f"a JSON object or an Arrow stream as the body, and its Content-Type: application/json or {ARROW}"
        )
        raise Problem("invalid-request", [fault("missing-field", "nothing", expected)])
    if arrow:
        return column_arrow.read(body, _head(query))
    asked = column_json.read(body)
    for name in sorted(query.model_fields_set)[: room(asked.faults)]:
        asked.faults.append(
            fault("unknown-field", f"the query parameter {name}", "machines and outputs in the body", "move it there")
        )  # fmt: skip
    return asked


def _head(query: ColumnsQuery) -> Head:
    pairs = len(query.machine), len(query.attachment)
    if pairs[0] != pairs[1]:
        raise Problem("invalid-request", [
            fault("wrong-length", f"{pairs[0]} query parameters machine and {pairs[1]} attachment",
                  "one attachment for each machine, in order")
        ])  # fmt: skip
    named = [
        {"machine": machine, "attachment": attachment}
        for machine, attachment in zip(query.machine, query.attachment, strict=True)
    ]
    try:
        head = Head.model_validate({"machines": named, "outputs": query.output})
    except ValidationError as error:
        found = [
            misfit({**each, "loc": ("query", PARAMETERS[str(each["loc"][0])], *each["loc"][1:])}, None)
            for each in error.errors()
        ]
        raise Problem("invalid-request", found) from None
    twice = {name for name in head.outputs if head.outputs.count(name) > 1}
    if twice:
        raise Problem("invalid-request", [
            fault("given-twice", f"the query parameter output={name} again", "each output once")
            for name in sorted(twice)
        ])  # fmt: skip
    return head


def document(openapi: dict[str, Any]) -> None:
    """Put the body of this route, which no framework reads, into an OpenAPI description."""
    schema = ColumnsIn.model_json_schema(ref_template="#/components/schemas/{model}")
    schemas = openapi["components"]["schemas"]
    schemas.update(schema.pop("$defs", {}))
    schemas["ColumnsIn"] = schema
