"""Acceptance certificates: issued over staff-checked points, read and printed again. See /guide/acceptance."""

from datetime import datetime
from importlib.metadata import version
from typing import Annotated, Any, Literal

from fastapi import APIRouter, Path, Query, Response
from pydantic import Field

from service.book import certifying
from service.book.keeper import Keeper
from service.book.staff_payloads import CertificateIssued
from service.book.staff_requests import CertificateIn
from service.book.state import Entry
from service.paper.page import as_html
from service.problems import Problem
from service.strict import Strict
from service.text import fault

from .answers import RecordedOut, entry_status, recorded, stamp
from .certificate_paper import CAUTIONS, certificate_document, rule_words, verdict_words
from .door import KeeperDep, RecorderDep
from .jobs import JobId
from .level_book import withdrawn_directly

router = APIRouter(prefix="/v1/jobs/{job}/certificates", tags=["certificates"])
Format = Literal["json", "html", "pdf"]
TYPES: dict[Format, str] = {
    "json": "application/json",
    "html": "text/html; charset=utf-8",
    "pdf": "application/pdf",
}


class CertificateOut(Strict):
    """A certificate."""

    seq: int
    issued_utc: str
    status: str = Field(description="counts, withdrawn, or void where a check in it no longer counts.")
    hash: str = Field(description="Of its entry; it follows that of `content.head_seq`.")
    passed: bool
    verdict: str
    rule: str
    content: CertificateIssued = Field(description="The whole, as it is printed. Metres and degrees.")


class CertificateLine(Strict):
    """A certificate in a list."""

    seq: int
    issued_utc: str
    status: str
    passed: bool
    machine: str
    attachment: str
    verdict: str


class CertificateRecordedOut(RecordedOut):
    """A certificate as issued."""

    certificate: CertificateOut


@router.post("", status_code=201, summary="Issue an acceptance certificate")
def issue(job: JobId, asked: CertificateIn, record: RecorderDep) -> CertificateRecordedOut:
    """Over at least 20 staff-checked points in every cell of the zone; refused with all that is missing. Passed or
    not."""
    keeper = record.keeper
    done = record(
        job, asked,
        lambda state, _seq: _in_words(
            certifying.certificate(state, job, asked, keeper, CAUTIONS, f"tipdatum {version('tipdatum')}", keeper.now())
        ),
    )  # fmt: skip
    told = _told(done.entry)
    return CertificateRecordedOut(**recorded(done), certificate=_out(keeper, job, done.entry, told, "counts"))


@router.get("", summary="Certificates of a job")
def list_certificates(job: JobId, keeper: KeeperDep) -> list[CertificateLine]:
    """All certificates, oldest first; those that no longer count are marked."""
    state = keeper.state(job)
    withdrawn = withdrawn_directly(state)
    return [
        CertificateLine(
            seq=e.seq, issued_utc=told.issued_utc, status=entry_status(e, state, withdrawn), passed=told.passed,
            machine=told.stood.machine, attachment=told.stood.attachment, verdict=told.verdict_text,
        )
        for e in state.entries if isinstance(told := e.payload, CertificateIssued)
    ]  # fmt: skip


_CONTENT: dict[str, Any] = {
    "text/html": {"schema": {"type": "string", "description": "A page to print."}},
    "application/pdf": {"schema": {"type": "string", "format": "binary", "description": "The same on A4."}},
}


@router.get(
    "/{seq}", summary="One certificate, to read or to print",
    responses={200: {"model": CertificateOut, "description": "The certificate.", "content": _CONTENT}},
)  # fmt: skip
def get_certificate(
    job: JobId, keeper: KeeperDep,
    seq: Annotated[int, Path(ge=1, le=10**15, description="Its entry.")],
    wanted: Annotated[Format, Query(alias="format", description="json, html or pdf.")] = "json",
) -> Response:  # fmt: skip
    """The certificate as it was issued: printed again it reads the same, but for a mark where it no longer counts."""
    state = keeper.state(job)
    entry = state.entries[seq - 1] if seq <= state.seq else None
    if entry is None or not isinstance(entry.payload, CertificateIssued):
        raise Problem("not-found", [fault("not-found", f"entry {seq}", "the entry of a certificate")])
    status = entry_status(entry, state, withdrawn_directly(state))
    out = _out(keeper, job, entry, entry.payload, status)
    kept = "attachment" if wanted == "pdf" else "inline"
    name = f'{kept}; filename="certificate-{job}-{seq}.{wanted}"'
    return Response(
        _written(job, out, wanted), media_type=TYPES[wanted], headers={"Content-Disposition": name}
    )


def _written(job: str, out: CertificateOut, wanted: Format) -> bytes:
    if wanted == "json":
        return out.model_dump_json().encode()
    told = out.content
    document = certificate_document(job, out.seq, out.hash, told, out.status)
    if wanted == "html":
        return as_html(document).encode()
    from service.paper.pdf import as_pdf  # noqa: PLC0415  # loads its fonts and its pictures

    return as_pdf(document, datetime.fromisoformat(told.issued_utc))


def _in_words(made: CertificateIssued) -> CertificateIssued:
    return made.model_copy(update={"rule_text": rule_words(made), "verdict_text": verdict_words(made)})


def _told(entry: Entry) -> CertificateIssued:
    assert isinstance(entry.payload, CertificateIssued)  # noqa: S101
    return entry.payload


def _out(keeper: Keeper, job: str, entry: Entry, told: CertificateIssued, status: str) -> CertificateOut:
    return CertificateOut(
        seq=entry.seq, issued_utc=stamp(told.issued_utc), status=status, hash=keeper.stored(job, entry.seq)[-1].hash,
        passed=told.passed, verdict=told.verdict_text, rule=told.rule_text, content=told,
    )  # fmt: skip
