"""The as-dug record of a job, for whoever inspects it: JSON, CSV, a page, a PDF."""

from datetime import datetime
from importlib.metadata import version
from typing import Annotated, Literal

from fastapi import APIRouter, Query, Request, Response

from service.book.keeper import Keeper
from service.book.record_file import record_text
from service.paper.page import as_html

from .accepting import accepted
from .door import KeeperDep
from .jobs import JobId
from .record_csv import as_csv
from .record_document import record_document

router = APIRouter(prefix="/v1/jobs/{job}/record", tags=["checks"])
Format = Literal["json", "csv", "html", "pdf"]
TYPES: dict[Format, str] = {
    "json": "application/json",
    "csv": "text/csv; charset=utf-8",
    "html": "text/html; charset=utf-8",
    "pdf": "application/pdf",
}


@router.get(
    "",
    summary="The as-dug record",
    response_class=Response,
    responses={200: {
        "description": "The record.",
        "content": {
            "application/json": {"schema": {"type": "object", "description": "Every entry whole, with its chain."}},
            "text/csv": {"schema": {"type": "string", "description": "One line a check."}},
            "text/html": {"schema": {"type": "string", "description": "A page to print."}},
            "application/pdf": {"schema": {"type": "string", "format": "binary", "description": "The same on A4."}},
        },
    }},
)  # fmt: skip
def get_record(
    job: JobId,
    keeper: KeeperDep,
    request: Request,
    wanted: Annotated[
        Format | None, Query(alias="format", description="Left out, as the Accept header asks; else json.")
    ] = None,
) -> Response:
    """Checks by target with their summary, level book, depth sheet, drawings, cautions, and the chain that holds it.

    Where the chain does not hold the record ends before that entry, and says so. See /guide/record.
    """
    chosen = wanted or accepted(request.headers.get("accept", ""), TYPES, "json")
    content, seq = written(keeper, job, chosen, keeper.now())
    kept = "inline" if chosen == "html" else "attachment"
    return Response(content, media_type=TYPES[chosen], headers={
        "ETag": f'"{seq}"', "Content-Disposition": f'{kept}; filename="as-dug-{job}.{chosen}"',
    })  # fmt: skip


def written(keeper: Keeper, job: str, wanted: Format, when: datetime) -> tuple[bytes, int]:
    """(the record in a format, the entry it goes up to), as far as the log holds. Raises the store's `JobUnknown`, and
    `LogDamaged` where not even the first entry does."""
    found = keeper.legible(job)
    events, state, damage = found.events, found.state, found.damage
    by = f"tipdatum {version('tipdatum')}"
    match wanted:
        case "json":
            return record_text(
                job, events, when, by, None if damage is None else damage.at
            ).encode(), state.seq
        case "csv":
            return as_csv(state, damage).encode(), state.seq
    document = record_document(job, state, events[-1], when, by, damage)
    if wanted == "html":
        return as_html(document).encode(), state.seq
    from service.paper.pdf import as_pdf  # noqa: PLC0415  # loads its fonts and its pictures

    return as_pdf(document, when), state.seq
