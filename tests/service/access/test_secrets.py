"""Where a token must never be seen again: on disk, in logs, in answers, in addresses."""

import logging
from collections.abc import Iterator
from pathlib import Path
from urllib.parse import quote

import pytest
from fastapi import Request

from service.access import rights
from service.access.caller import Right

from .making import ADMINISTRATOR, OPERATOR, ORIGIN, Site, forged, outcome, shown, taken_apart

PIECE = 8  # letters in a row that nothing but the secret itself would hold


@pytest.fixture
def broken(tmp_path: Path) -> Iterator[Site]:
    """With a route of the test's own that fails."""
    with pytest.MonkeyPatch.context() as patch, Site(tmp_path) as opened:

        @opened.app.get("/v1/failures")
        def fail(request: Request) -> None:
            raise RuntimeError(f"the pump house key is under the mat, {request.headers['authorization']}")

        patch.setitem(rights.RIGHT_OF, "GET /v1/failures", Right.LOOK)
        yield opened


def pieces(token: str) -> set[str]:
    secret = taken_apart(token).secret
    return {secret[i : i + PIECE] for i in range(len(secret) - PIECE + 1)}


def assert_hidden(text: str, *tokens: str) -> None:
    lower = text.lower()
    for token in tokens:
        assert not [piece for piece in pieces(token) if piece in lower]


def test_on_disk_there_are_digests_alone(tmp_path: Path) -> None:
    with Site(tmp_path) as site:
        token = site.create("ada", ADMINISTRATOR)
        session = site.sign_in(token)
        rotated = site.holders.rotate("ada", 30.0, overlap_hours=1.0).credential.text
        site.open_job("pump-house", rotated)
        for wrong in (forged(token), token[:-1]):
            assert site.ask("GET", "/v1/jobs", token=wrong).status_code == 401
        while_open = [path.read_bytes() for path in sorted(tmp_path.iterdir())]
        assert len(while_open) >= 2, "the log written ahead was not looked at"
    after = [path.read_bytes() for path in sorted(tmp_path.iterdir())]
    for content in (*while_open, *after):
        text = content.decode("latin-1")
        assert_hidden(text, token, session, rotated)
    whole = b"".join(while_open)
    assert all(taken_apart(each).digest.encode() in whole for each in (token, session, rotated))


def test_no_log_and_no_answer_shows_one(
    broken: Site, caplog: pytest.LogCaptureFixture, capfd: pytest.CaptureFixture[str]
) -> None:
    token = broken.create("ada", ADMINISTRATOR)
    session = broken.sign_in(token)
    fake = forged(token)
    revoked = broken.create("rolf", ADMINISTRATOR)
    broken.holders.revoke("rolf")
    caplog.set_level(logging.DEBUG)
    caplog.set_level(logging.WARNING, "httpx")  # the test's own client, which logs what it asks
    answers = []
    for shows in (token, fake, revoked, token[:-1], session, f"{token} {token.upper()}"):
        own = [("origin", ORIGIN)]
        bodies: list[object] = [
            {"token": shows}, {"token": shows, shows: 1}, {"token": {"in": shows}}, {"token": [shows] * 3},
            {"id": shows, "name": shows, "units": shows}, {"id": "j", "name": f" {shows}", "units": "m"},
            f'{{"{shows}": 1, "{shows}": 2}}'.encode(), f'{{"a": {shows}}}'.encode(), [shows],
        ]  # fmt: skip
        for who in (shown(token, None), shown(shows, None), shown(None, shows) + own):
            answers.append(broken.ask("GET", "/v1/failures", headers=who))
            answers.append(broken.ask("GET", "/v1/sessions/current", headers=who))
            for body in bodies:
                answers += [
                    broken.ask("POST", path, body, headers=who) for path in ("/v1/sessions", "/v1/jobs")
                ]
        for name in (
            "if-match",
            "idempotency-key",
            "content-type",
            "content-length",
            "origin",
            "host",
            "accept",
            "x-token",
        ):
            more = [(name, shows if name != "idempotency-key" else shows * 9)]
            asked: object = {} if name != "content-length" else None
            answers.append(broken.ask("POST", "/v1/jobs/none/moves", asked, token=token, headers=more))
        for path in (
            f"/v1/jobs/{shows}",
            f"/v1/jobs?after={shows}",
            f"/v1/jobs?limit={shows}",
            f"/guide/{shows}",
        ):
            answers.append(broken.ask("GET", path, token=token))
    seen = {outcome(answer) for answer in answers}
    assert {(500, "internal"), (401, "unauthenticated"), (422, "invalid-request"), (400, "token-in-url"),
            (400, "malformed-json"), (400, "bad-header"), (421, "foreign-host")} <= seen  # fmt: skip
    records = caplog.text + "".join(f"{record.args} {record.exc_text}\n" for record in caplog.records)
    assert "internal fault urn:uuid:" in records
    assert "the pump house key" in records
    out, err = capfd.readouterr()
    for answer in answers:
        headers = "".join(
            f"{name}: {value}\n" for name, value in answer.headers.items() if name != "set-cookie"
        )
        records += answer.text + headers
        assert "pump house key" not in answer.text
    assert_hidden(records + out + err, token, session, fake, revoked)


def test_a_cookie_is_the_one_place_where_a_session_is_told(broken: Site) -> None:
    answer = broken.ask("POST", "/v1/sessions", {"token": broken.create("ada", ADMINISTRATOR)})
    session = answer.headers["set-cookie"].partition("=")[2].partition(";")[0]
    assert_hidden(answer.text, session)
    [again] = answer.headers.get_list("set-cookie")
    assert again.count(session) == 1


@pytest.mark.parametrize(
    "address",
    [
        "/v1/jobs?token={}", "/v1/jobs?after={}", "/v1/jobs?{}", "/v1/jobs?x=1&access_token={}&y", "/v1/jobs/{}",
        "/v1/{}", "/{}", "/guide/{}", "/docs?{}", "/openapi.json?{}", "/v1/health?{}", "/static-offline-docs/{}",
        "/page/{}", "/v1/jobs/x/events?after={}", "/v1/sessions/current?token={}",
    ],
)  # fmt: skip
def test_none_in_an_address(site: Site, administrator: str, address: str) -> None:
    """The right token too, and whatever else is shown; the answer does not repeat it."""
    encoded = "".join(f"%{ord(letter):02x}" for letter in administrator)
    under = administrator.replace("_", "%5F")
    for text in (
        administrator,
        quote(administrator),
        encoded,
        under,
        administrator[:40],
        administrator.upper(),
    ):
        for token in (None, administrator):
            answer = site.ask("GET", address.format(text), token=token)
            assert outcome(answer) == (400, "token-in-url")
            assert "rotate" in answer.json()["errors"][0]["advice"]
            assert_hidden(answer.text, administrator)


@pytest.mark.parametrize("field", ["id", "name", "note", "datum"])
def test_none_is_recorded(site: Site, administrator: str, field: str) -> None:
    job = {"id": "pasted", "name": "Pump house", "units": "m"}
    for text in (administrator, f"see {administrator[:45]}", administrator.upper()):
        answer = site.ask("POST", "/v1/jobs", job | {field: text}, token=administrator)
        assert outcome(answer) == (400, "token-in-body")
        assert_hidden(answer.text, administrator)
    key = [("idempotency-key", administrator)]
    assert outcome(site.ask("POST", "/v1/jobs", job, token=administrator, headers=key)) == (
        400,
        "token-in-body",
    )
    assert site.ask("GET", "/v1/jobs/pasted", token=administrator).status_code == 404


def test_no_holder_and_no_record_is_named_after_one(site: Site, administrator: str, name: str) -> None:
    token = site.create(name, OPERATOR)
    for path in ("/v1/holders", "/v1/sessions/current", "/v1/version", "/openapi.json", "/docs"):
        assert_hidden(site.ask("GET", path, token=administrator).text, token, administrator)
    [holder] = [
        h for h in site.ask("GET", "/v1/holders", token=administrator).json()["holders"] if h["name"] == name
    ]
    assert holder["token_ids"] == [taken_apart(token).id]
    assert not {"digest", "secret", "token"} & set(holder)
