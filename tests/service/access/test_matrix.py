"""Every route of the application, asked by everybody: what is expected is written out here, not read from the table."""

import re
from collections.abc import Iterator
from typing import Any

import httpx
import pytest
from fastapi import FastAPI
from starlette.routing import BaseRoute, Mount, Route, WebSocketRoute
from starlette.types import Message

from service.access import rights

from .making import ADMINISTRATOR, BUILDER, OPERATOR, VIEWER, Site, forged, outcome

ANYBODY = "anybody"
ALL = frozenset({"viewer", "operator", "builder", "administrator", "both"})
PAGES = (
    "/", "/guide", "/guide/{name}", "/guide/figures/{name}",
    "/sign-in", "/seat", "/classroom", "/workshop", "/page/{name}",
    "/docs", "/docs/oauth2-redirect",
    "/openapi.json", "/static-offline-docs", "/v1/health", "/v1/alive",
)  # fmt: skip
COMPUTING = (
    "poses", "pose-columns", "sensitivities", "placements", "passes", "corrections", "error-budgets", "profile-checks",
    "digging-envelopes", "linkage-courses", "tool-forces",
    "calibrations", "explanations", "drawings", "models", "pin-surveys", "dig-steps", "digs",
    "lessons/{lesson}/answers",
    "jobs/{job}/readouts", "jobs/{job}/explanations", "jobs/{job}/uncertainties",
    "jobs/{job}/fitting/verdicts", "jobs/{job}/fitting/zeros",
)  # fmt: skip
RECORDING = (
    "benchmarks", "setups", "attachment-changes", "moves", "swings", "laser-setups", "receiver-clamps", "touches",
    "turning-points", "strikes", "targets", "stations", "rules", "estimates", "withdrawals", "seats",
    "acknowledgements", "checks", "rod-checks", "wear-checks", "laser-tests", "certificates",
)  # fmt: skip
BUILDING = (
    "machines", "attachments", "calibrations/applied", "calibrations/{calibration_id}/roll-backs",
    "studies", "studies/{study}/stops", "studies/{study}/resumptions",
)  # fmt: skip
FILLED = {
    "job": "pump-house", "profile_id": "crawler-14t", "revision": "0" * 64, "kind": "machine", "seq": "1",
    "calibration_id": "none", "class": "monday", "lesson": "curl", "study": "none",
}  # fmt: skip
FILES = {
    "/guide/{name}": "/guide/words",
    "/guide/figures/{name}": "/guide/figures/net.svg",
    "/page/{name}": "/page/ink.css",
    "/static-offline-docs": "/static-offline-docs/swagger-ui.css",
}
WRONG = {
    "nobody": "no-token", "forged": "bad-token", "truncated": "bad-token", "expired": "expired-token",
    "revoked": "revoked-token",
}  # fmt: skip


def let_in(method: str, path: str) -> frozenset[str] | str:
    """Who must be let in: the roles, or anybody. Fails for a route that nobody has thought of here."""
    if method in {"GET", "HEAD"} and path in PAGES:
        return ANYBODY
    resource = path.removeprefix("/v1/")
    match method, resource:
        case "POST", "sessions":
            return ANYBODY
        case "DELETE", "sessions/current":
            return ALL
        case "WS", "jobs/{job}/readings":
            return frozenset({"operator", "both", "administrator"})
        case "WS", "jobs/{job}/readouts/live":
            return ALL
        case "GET", "holders":
            return frozenset({"administrator"})
        case "GET", _ if path.startswith("/v1/") or path == "/metrics":
            return ALL
        case "POST", _ if resource in COMPUTING:
            return ALL
        case "POST", _ if resource in BUILDING:
            return frozenset({"builder", "both", "administrator"})
        case "POST", "classes/{class}/digs":
            return frozenset({"operator", "both", "administrator"})
        case "POST", _ if resource == "jobs" or resource.removeprefix("jobs/{job}/") in RECORDING:
            return frozenset({"operator", "both", "administrator"})
    raise AssertionError(f"nobody has said here who may {method} {path}")


def walk(routes: list[BaseRoute]) -> Iterator[tuple[str, str]]:
    """(method, path) of every route there is; "WS" for a WebSocket."""
    for route in routes:
        if isinstance(route, Mount):
            yield "GET", route.path
        elif isinstance(route, WebSocketRoute):
            yield "WS", route.path
        elif isinstance(route, Route):
            yield from ((method, route.path) for method in sorted(route.methods or ()))
        else:
            yield from walk(route.original_router.routes)  # type: ignore[attr-defined]


def described(app: FastAPI) -> set[tuple[str, str]]:
    """(method, path) of every operation of the OpenAPI document."""
    paths: dict[str, dict[str, Any]] = app.openapi()["paths"]
    return {(method.upper(), path) for path, item in paths.items() for method in item}


@pytest.fixture(scope="module")
def routes(site: Site) -> list[tuple[str, str]]:
    found = sorted({*walk(site.app.routes), *described(site.app)})
    assert len(found) > 55
    return found


@pytest.fixture(scope="module")
def tokens(site: Site, viewer: str, operator: str, builder: str, administrator: str) -> dict[str, str]:
    """Of every role, of two together, and the wrong ones."""
    both = site.create("olga", OPERATOR, BUILDER)
    expired = site.create("erna", ADMINISTRATOR, days=1.0)
    site.now.pass_by(days=2)
    revoked = site.create("rolf", ADMINISTRATOR)
    site.holders.revoke("rolf")
    good = {
        "viewer": viewer,
        "operator": operator,
        "builder": builder,
        "administrator": administrator,
        "both": both,
    }
    wrong = {
        "forged": forged(administrator), "truncated": administrator[:-1], "expired": expired, "revoked": revoked,
    }  # fmt: skip
    return good | wrong


def ask(site: Site, method: str, path: str, token: str | None) -> httpx.Response:
    """The route's path filled in, with an empty object where a body belongs."""
    address = FILES.get(path) or re.sub(r"\{(\w+)\}", lambda found: FILLED[found[1]], path)
    if method == "WS":
        return opening(site.socket(address, token=token))
    return site.ask(method, address, {} if method == "POST" else None, token=token)


def opening(sent: list[Message]) -> httpx.Response:
    """The answer to a WebSocket that would be opened; 101 where it is."""
    if sent[0]["type"] == "websocket.accept":
        return httpx.Response(101)
    start, *bodies = sent
    content = b"".join(each["body"] for each in bodies)
    return httpx.Response(start["status"], headers=start["headers"], content=content)


@pytest.mark.parametrize("role", sorted(ALL))
def test_what_a_role_may(
    site: Site, routes: list[tuple[str, str]], tokens: dict[str, str], role: str
) -> None:
    for method, path in routes:
        expected = let_in(method, path)
        status, slug = outcome(ask(site, method, path, tokens[role]))
        if expected == ANYBODY or role in expected:
            assert status not in {401, 403, 405, 429}, (method, path, status, slug)
            assert status < 500, (method, path)
        else:
            assert (status, slug) == (403, "not-allowed"), (method, path)


@pytest.mark.parametrize("who", sorted(WRONG))
def test_who_is_nobody(site: Site, routes: list[tuple[str, str]], tokens: dict[str, str], who: str) -> None:
    for method, path in routes:
        answer = ask(site, method, path, tokens.get(who))
        if let_in(method, path) == ANYBODY:
            assert answer.status_code in {200, 422}, (method, path)
        else:
            assert outcome(answer) == (401, "unauthenticated"), (method, path)
            assert answer.json()["errors"][0]["code"] == WRONG[who], (method, path)


def test_the_walk_sees_every_kind_of_route(site: Site, routes: list[tuple[str, str]]) -> None:
    assert described(site.app) <= set(walk(site.app.routes))
    assert {
        ("GET", "/static-offline-docs"),
        ("GET", "/docs"),
        ("HEAD", "/sign-in"),
        ("GET", "/v1/holders"),
    } <= set(routes)


def test_a_new_route_is_noticed() -> None:
    for method, path in [
        ("PUT", "/v1/poses"),
        ("POST", "/v1/jobs/{job}/levers"),
        ("GET", "/levers"),
        ("WS", "/v1/live"),
    ]:
        with pytest.raises(AssertionError, match="nobody has said"):
            let_in(method, path)


def test_the_table_has_no_route_too_many(routes: list[tuple[str, str]]) -> None:
    there = {f"{method} {path}" for method, path in routes} | {"GET /static-offline-docs/{name}"}
    assert set(rights.RIGHT_OF) | set(rights.PUBLIC) <= there
    assert not set(rights.RIGHT_OF) & set(rights.PUBLIC)
    assert len(set(rights.PUBLIC)) == len(rights.PUBLIC)


def test_where_there_is_no_route(site: Site, tokens: dict[str, str]) -> None:
    """Whoever is let in hears that there is nothing; nobody else hears what there is."""
    for path, method, told in [
        ("/v1/x", "GET", (404, "not-found")),
        ("/v1/poses", "PUT", (405, "method-not-allowed")),
    ]:
        assert site.status(method, path) == (401, "unauthenticated")
        assert site.status(method, path, token=tokens["viewer"]) == told
    assert site.status("GET", "/guide/../v1/jobs") == (401, "unauthenticated")
    assert site.status("GET", "//v1/health") == (401, "unauthenticated")


def test_the_documentation_says_who_may(site: Site) -> None:
    paths = site.app.openapi()["paths"]
    for method, path in described(site.app):
        operation = paths[path][method.lower()]
        expected = let_in(method, path)
        assert (operation["security"] == []) == (expected == ANYBODY)
        who = set(re.split(", ", operation["description"].rpartition("Open to: ")[2].rstrip(".")))
        assert who == ({ANYBODY} if expected == ANYBODY else set(expected) - {"both"}), (method, path)


def test_viewer_has_no_role_but_its_own(site: Site, viewer: str) -> None:
    told = site.ask("GET", "/v1/sessions/current", token=viewer).json()
    assert told == {
        "access": "on", "name": "vera", "roles": ["viewer"], "machines": [], "by": "token",
        "expires_utc": "2026-10-31T07:31:12.000250Z",
    }  # fmt: skip
    assert site.status("GET", "/v1/holders", token=site.create("vic", VIEWER)) == (403, "not-allowed")
