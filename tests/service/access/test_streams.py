"""WebSockets and event streams of the tests' own, that say who asks; the product's are tried in `tests/service/live`."""

from collections.abc import AsyncIterator, Iterator
from pathlib import Path

import pytest
from fastapi import FastAPI, WebSocket
from fastapi.responses import StreamingResponse
from starlette.requests import Request
from starlette.responses import PlainTextResponse
from starlette.routing import Mount, Route
from starlette.staticfiles import StaticFiles
from starlette.types import Message

from service import app as assembly
from service.access import rights
from service.access.caller import Right
from service.api.door import CallerDep
from service.settings import Settings

from .making import ADMINISTRATOR, BUILDER, OPERATOR, ORIGIN, VIEWER, Site, forged, outcome
from .test_matrix import let_in, walk

LIVE, EVENTS = "/v1/live", "/v1/live-events"


def streams(app: FastAPI) -> None:
    """A WebSocket and an event stream that say who asks."""

    @app.websocket(LIVE)
    async def live(socket: WebSocket, caller: CallerDep) -> None:
        await socket.accept()
        await socket.send_text(caller.name)
        await socket.close()

    @app.get(EVENTS)
    async def events(caller: CallerDep) -> StreamingResponse:
        async def told() -> AsyncIterator[str]:
            yield f"data: {caller.name}\n\n"

        return StreamingResponse(told(), media_type="text/event-stream")


@pytest.fixture(scope="module")
def streaming(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Site]:
    with pytest.MonkeyPatch.context() as patch, Site(tmp_path_factory.mktemp("data")) as opened:
        streams(opened.app)
        patch.setitem(rights.RIGHT_OF, f"WS {LIVE}", Right.RECORD)
        patch.setitem(rights.RIGHT_OF, f"GET {EVENTS}", Right.RECORD)
        yield opened


@pytest.fixture(scope="module")
def tokens(streaming: Site) -> dict[str, str]:
    roles = {"viewer": VIEWER, "operator": OPERATOR, "builder": BUILDER, "administrator": ADMINISTRATOR}
    return {name: streaming.create(name, role) for name, role in roles.items()}


def test_they_are_found(streaming: Site) -> None:
    assert {("WS", LIVE), ("GET", EVENTS)} <= set(walk(streaming.app.routes))
    assert rights.undecided(streaming.app.routes) == []
    with pytest.raises(AssertionError, match=f"WS {LIVE}"):
        let_in("WS", LIVE)


@pytest.mark.parametrize(
    ("role", "good"), [("viewer", False), ("operator", True), ("builder", False), ("administrator", True)]
)
def test_the_same_right_for_every_kind(
    streaming: Site, tokens: dict[str, str], role: str, good: bool
) -> None:
    answer = streaming.ask("GET", EVENTS, token=tokens[role])
    messages = streaming.socket(LIVE, token=tokens[role])
    if good:
        assert answer.headers["content-type"].startswith("text/event-stream")
        assert answer.text == f"data: {role}\n\n"
        assert [each["type"] for each in messages] == [
            "websocket.accept",
            "websocket.send",
            "websocket.close",
        ]
        assert messages[1]["text"] == role
    else:
        assert outcome(answer) == (403, "not-allowed")
        assert refusal(messages) == (403, "not-allowed")


def test_nobody_hears_a_stream(streaming: Site, tokens: dict[str, str]) -> None:
    for token in (None, forged(tokens["operator"]), tokens["operator"][:-1], ""):
        assert refusal(streaming.socket(LIVE, token=token)) == (401, "unauthenticated")
        assert streaming.status("GET", EVENTS, token=token) == (401, "unauthenticated")


def test_a_session_opens_a_socket_from_its_own_page(streaming: Site, tokens: dict[str, str]) -> None:
    cookie = streaming.sign_in(tokens["operator"])
    messages = streaming.socket(LIVE, cookie=cookie, headers=[("origin", ORIGIN)])
    assert messages[0]["type"] == "websocket.accept"
    assert streaming.ask("GET", EVENTS, cookie=cookie).status_code == 200


@pytest.mark.parametrize(
    "origin",
    ["http://evil.example", "null", "http://127.0.0.1:9000", "https://127.0.0.1:8311", "", None],
)
def test_a_socket_of_a_foreign_page(streaming: Site, tokens: dict[str, str], origin: str | None) -> None:
    """The browser sends the cookie with it; it is refused before it is a socket."""
    cookie = streaming.sign_in(tokens["operator"])
    headers = [] if origin is None else [("origin", origin)]
    assert refusal(streaming.socket(LIVE, cookie=cookie, headers=headers)) == (403, "foreign-origin")


@pytest.mark.parametrize(
    "host", ["evil.example", "evil.example:8311", "pit.example", "127.0.0.1.evil.example"]
)
def test_a_socket_by_a_rebound_name(streaming: Site, tokens: dict[str, str], host: str) -> None:
    for origin in (f"http://{host}", ORIGIN):
        sent = streaming.socket(LIVE, token=tokens["operator"], headers=[("origin", origin)], host=host)
        assert refusal(sent) == (421, "foreign-host")


def test_a_token_in_the_address_of_a_socket(streaming: Site, tokens: dict[str, str]) -> None:
    """Where browsers' sockets usually carry one."""
    sent = streaming.socket(f"{LIVE}?token={tokens['operator']}")
    assert refusal(sent) == (400, "token-in-url")
    assert tokens["operator"].encode() not in sent[1]["body"]


def test_a_socket_on_a_server_that_sends_no_documents(streaming: Site) -> None:
    assert streaming.socket("/v1/none")[0]["type"] == "websocket.http.response.start"


def test_what_is_not_in_the_table_is_open_to_nobody(streaming: Site, tokens: dict[str, str]) -> None:
    with pytest.MonkeyPatch.context() as patch:
        patch.delitem(rights.RIGHT_OF, f"WS {LIVE}")
        patch.delitem(rights.RIGHT_OF, f"GET {EVENTS}")
        assert rights.undecided(streaming.app.routes) == [f"WS {LIVE}", f"GET {EVENTS}"]
        for token in tokens.values():
            assert refusal(streaming.socket(LIVE, token=token)) == (403, "not-allowed")
            assert streaming.status("GET", EVENTS, token=token) == (403, "not-allowed")


def test_a_service_with_such_a_route_is_not_made(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    before = assembly._status_routes

    def with_more(app: FastAPI) -> None:
        before(app)
        streams(app)

        def levers(_request: Request) -> PlainTextResponse:
            return PlainTextResponse("no")

        app.router.routes.append(Route("/levers", levers))
        app.router.routes.append(Mount("/files", StaticFiles(directory=tmp_path)))

    monkeypatch.setattr(assembly, "_status_routes", with_more)
    for name in (f"WS {LIVE}", f"GET {EVENTS}"):  # as the other tests here may have left them
        monkeypatch.delitem(rights.RIGHT_OF, name, raising=False)
    with pytest.raises(RuntimeError) as caught:
        assembly.create_app(Settings(data_folder=tmp_path))
    assert str(caught.value).endswith(
        f"found without: WS {LIVE}, GET {EVENTS}, GET /levers, GET /files/{{name}}"
    )


def refusal(sent: list[Message]) -> tuple[int, str]:
    """(status, slug) of a connection that never became a socket."""
    assert [each["type"] for each in sent] == [
        "websocket.http.response.start",
        "websocket.http.response.body",
    ]
    body, status = sent[1]["body"], sent[0]["status"]
    assert isinstance(body, bytes)
    assert isinstance(status, int)
    return status, body.decode().partition("problems#")[2].partition('"')[0]
