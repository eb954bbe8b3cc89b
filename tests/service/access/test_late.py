"""What was begun before a right ended, what takes too long, and what would pile up."""

import asyncio
import stat
from collections.abc import Callable
from pathlib import Path

import pytest
from sqlalchemy import func, select
from starlette.types import Message, Receive, Scope

from service import guard
from service.access.admission import MOST_SESSIONS
from service.secret import hide, holds_one, mint
from service.store.tables import AccessCredential

from .making import ADMINISTRATOR, HOST, VIEWER, Site, encoded, outcome, shown

JOB = b'{"id": "late", "name": "Pump house", "units": "m"}'
WHO = "/v1/sessions/current"


def opening_a_job(site: Site, token: str, receive: Receive) -> int:
    """The status of a job whose body comes from `receive`."""
    scope: Scope = {
        "type": "http", "method": "POST", "path": "/v1/jobs", "raw_path": b"/v1/jobs", "query_string": b"",
        "root_path": "", "scheme": "http", "http_version": "1.1", "client": (site.stranger(), 1),
        "server": ("127.0.0.1", 8311),
        "headers": encoded([("host", HOST), ("content-type", "application/json"), *shown(token, None)]),
    }  # fmt: skip
    answers: list[Message] = []

    async def send(message: Message) -> None:
        answers.append(message)

    site.run(site.app(scope, receive, send))
    return int(answers[0]["status"])


def sent_in_pieces(site: Site, token: str, between: Callable[[], object]) -> int:
    """The same by a body whose second half comes after `between`."""

    async def receive() -> Message:
        if not pieces:
            await asyncio.Event().wait()
        if len(pieces) == 1:
            await asyncio.to_thread(between)
        return {"type": "http.request", "body": pieces.pop(0), "more_body": bool(pieces)}

    pieces = [JOB[:1], JOB[1:]]
    return opening_a_job(site, token, receive)


def test_a_body_that_is_held_back_until_the_right_is_gone(
    site: Site, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(guard, "_SAME_MOMENT_S", -1.0)  # every body took long
    token = site.create("held back", ADMINISTRATOR)
    assert sent_in_pieces(site, token, lambda: site.holders.revoke("held back")) == 401
    token = site.create("let go", ADMINISTRATOR)
    assert sent_in_pieces(site, token, lambda: site.holders.assign("let go", [VIEWER], [])) == 403
    token = site.create("in time", ADMINISTRATOR)
    assert site.ask("GET", "/v1/jobs/late", token=token).status_code == 404
    assert sent_in_pieces(site, token, lambda: None) == 201


def test_a_body_that_does_not_come(site: Site, administrator: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(guard, "_PATIENCE_S", 0.0)

    async def never() -> Message:
        await asyncio.Event().wait()
        raise AssertionError

    assert opening_a_job(site, administrator, never) == 408


def test_nobody_sends_much(site: Site) -> None:
    """Signing in needs a token's length; nothing else that is public has a body."""
    much = b'{"token": "' + b"x" * 5000 + b'"}'
    assert outcome(site.ask("POST", "/v1/sessions", much)) == (413, "too-large")
    assert outcome(site.ask("GET", "/v1/health", much)) == (413, "too-large")


def test_a_token_is_not_repeated_to_who_mistyped_it(site: Site) -> None:
    secret = mint().secret
    for spoilt in (f"tipdatum_\n{secret}", f"{secret:>300}", [secret], 7, None, {"x": secret}):
        answer = site.ask("POST", "/v1/sessions", {"token": spoilt})
        assert answer.status_code in {401, 422}
        assert secret[:12] not in answer.text


def test_spelt_otherwise_it_is_a_token_still(site: Site, administrator: str) -> None:
    job = JOB.replace(b"Pump house", administrator.replace("_", "\\u005f").encode())
    assert outcome(site.ask("POST", "/v1/jobs", job, token=administrator)) == (400, "token-in-body")


def test_a_megabyte_of_beginnings_is_read_once() -> None:
    """Quadratic it would take hours; here it only has to end."""
    text = "tipdatum_" * 200_000
    assert not holds_one(text)
    assert hide(text) == text
    assert holds_one(text + mint().id)


def test_pages_of_one_holder_do_not_pile_up(site: Site) -> None:
    token = site.create("many pages", VIEWER)
    pages = []
    for _ in range(MOST_SESSIONS + 5):
        pages.append(site.sign_in(token))
        site.now.pass_by(seconds=1)
    first, *others = pages
    assert site.ask("GET", WHO, cookie=first).status_code == 401
    assert [site.ask("GET", WHO, cookie=each).status_code for each in others[-3:]] == [200] * 3
    counted = select(func.count()).where(
        AccessCredential.holder == "many pages", AccessCredential.kind == "session"
    )
    assert site.app.state.database.read(lambda s: s.scalar(counted)) == MOST_SESSIONS
    for _ in range(60):
        answer = site.ask("POST", "/v1/sessions", {"token": token})
    assert outcome(answer) == (429, "too-many-requests")
    assert site.ask("GET", WHO, token=token).status_code == 200


def test_a_new_database_is_for_its_owner_alone(tmp_path: Path) -> None:
    with Site(tmp_path / "data") as site:
        site.create("ada", VIEWER)
        kept = [*site.folder.iterdir()]
        assert len(kept) >= 2
        assert [stat.S_IMODE(each.stat().st_mode) & 0o077 for each in [site.folder, *kept]] == [0] * (
            len(kept) + 1
        )
