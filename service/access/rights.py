"""The one table of who may do what: every route, by method and path, with the right it asks for.

A route that is not here stops the application from being made, and is refused to everybody.
"""

import re
from collections.abc import Iterable, Iterator
from typing import Any

from fastapi.routing import APIRoute, APIWebSocketRoute
from starlette.requests import HTTPConnection
from starlette.routing import BaseRoute, Mount, Route

from service.problems import Problem
from service.text import fault

from .caller import COOKIE, LOCAL, RIGHTS, Caller, Right

# Nothing of any job stands behind these.
PUBLIC = (
    "GET /", "GET /guide", "GET /guide/{name}", "GET /guide/figures/{name}",
    "GET /sign-in", "GET /seat", "GET /classroom", "GET /workshop",
    "GET /page/{name}",
    "GET /docs", "GET /docs/oauth2-redirect", "GET /openapi.json", "GET /static-offline-docs/{name}",
    "GET /v1/health", "GET /v1/alive", "POST /v1/sessions",
)  # fmt: skip
_JOB = "/v1/jobs/{job}"
_COMPUTED = (
    "poses", "pose-columns", "sensitivities", "placements", "passes", "corrections", "error-budgets", "profile-checks",
    "digging-envelopes", "linkage-courses", "tool-forces",
    "calibrations", "explanations", "drawings", "models", "pin-surveys", "dig-steps", "digs",
    "lessons/{lesson}/answers",
    "jobs/{job}/readouts", "jobs/{job}/uncertainties", "jobs/{job}/explanations",
    *(f"jobs/{{job}}/fitting/{what}" for what in ("verdicts", "zeros")),
)  # fmt: skip
_RECORDED = (
    "benchmarks", "setups", "attachment-changes", "moves", "swings", "laser-setups", "receiver-clamps", "touches",
    "turning-points", "strikes", "targets", "stations", "rules", "estimates", "withdrawals", "seats",
    "acknowledgements", "checks", "rod-checks", "wear-checks", "laser-tests", "certificates",
)  # fmt: skip
_PROFILES = ("machines", "attachments")
_TABLE: dict[Right, tuple[str, ...]] = {
    Right.LOOK: (
        "GET /v1/version", "GET /metrics", "GET /v1/sessions/current", "DELETE /v1/sessions/current", "GET /v1/jobs",
        f"GET {_JOB}",
        *(f"GET {_JOB}/{what}" for what in (
            "events", "benchmarks", "targets", "level-book", "sensors", "fitting/moves", "fitting/posture",
            "readouts/live", "checks", "checks/summary", "record", "daily-trust", "certificates", "certificates/{seq}",
        )),
        f"WS {_JOB}/readouts/live",
        *(f"POST /v1/{what}" for what in _COMPUTED),
        *(f"GET /v1/{kind}{rest}" for kind in _PROFILES
          for rest in ("", "/{profile_id}", "/{profile_id}/revisions", "/{profile_id}/revisions/{revision}")),
        "GET /v1/profile-schemas/{kind}", "GET /v1/stances", "GET /v1/lessons", "GET /v1/tones", "GET /v1/graduations",
        "GET /v1/exercises", *(f"GET /v1/classes{rest}" for rest in ("", "/{class}/digs", "/{class}/digs/{seq}")),
        *(f"GET /v1/calibrations{rest}" for rest in ("", "/unknowns", "/{calibration_id}")),
        *(f"GET /v1/studies{rest}" for rest in ("", "/{study}", "/{study}/result.parquet", "/{study}/result.csv")),
    ),
    Right.RECORD: (
        "POST /v1/jobs", f"WS {_JOB}/readings", *(f"POST {_JOB}/{what}" for what in _RECORDED),
        "POST /v1/classes/{class}/digs",
    ),
    Right.MEASURE: (
        *(f"POST /v1/{kind}" for kind in _PROFILES),
        *(f"POST /v1/calibrations/{what}" for what in ("applied", "{calibration_id}/roll-backs")),
        *(f"POST /v1/studies{rest}" for rest in ("", "/{study}/stops", "/{study}/resumptions")),
    ),
    Right.ADMINISTER: ("GET /v1/holders",),
}  # fmt: skip
RIGHT_OF: dict[str, Right] = {route: right for right, routes in _TABLE.items() for route in routes}
_PUBLIC = re.compile("|".join(re.sub(r"\\{\w+\\}", "[^/]+", re.escape(each)) for each in PUBLIC))


def is_public(method: str, path: str) -> bool:
    """Whether anybody may ask this, without a token."""
    return _PUBLIC.fullmatch(f"{'GET' if method == 'HEAD' else method} {path}") is not None


def names_of(route: BaseRoute) -> list[str]:
    """A route as the table names it: "GET /v1/jobs", "WS /v1/..." for a WebSocket, "GET /static/{name}" for files."""
    match route:
        case Mount(path=path):
            return [f"GET {path}/{{name}}"]
        case APIWebSocketRoute(path=path):
            return [f"WS {path}"]
        case Route(path=path, methods=methods):
            return [f"{method} {path}" for method in sorted(methods or ()) if method != "HEAD"]
        case _:
            raise TypeError(f"expected a route this table can name, found {route!r}")


def each_route(routes: Iterable[BaseRoute]) -> Iterator[BaseRoute]:
    """Routes, with those of included routers in their place: later releases of fastapi keep them apart."""
    for route in routes:
        included = getattr(route, "original_router", None)
        if included is None:
            yield route
        else:
            yield from each_route(included.routes)


def undecided(routes: Iterable[BaseRoute]) -> list[str]:
    """Routes that the table does not know; none in a service that may be started."""
    names = [name for route in each_route(routes) for name in names_of(route)]
    return [name for name in names if name not in RIGHT_OF and name not in PUBLIC]


def document(openapi: dict[str, Any]) -> dict[str, Any]:
    """Put into an OpenAPI description how to be let in, and for each route which roles may use it."""
    openapi.setdefault("components", {})["securitySchemes"] = {
        "token": {
            "type": "http",
            "scheme": "bearer",
            "description": "As `tipdatum access create` printed it.",
        },
        "session": {
            "type": "apiKey",
            "in": "cookie",
            "name": COOKIE,
            "description": "Of a page signed in at /sign-in.",
        },
    }
    for path, item in openapi["paths"].items():
        for method, operation in item.items():
            right = RIGHT_OF.get(f"{method.upper()} {path}")
            operation["security"] = [] if right is None else [{"token": []}, {"session": []}]
            who = "anybody" if right is None else ", ".join(roles_with(right))
            operation["description"] = f"{operation.get('description', '')}\n\nOpen to: {who}.".strip()
    return openapi


def roles_with(right: Right) -> list[str]:
    """The roles that have a right."""
    return [role.value for role, rights in RIGHTS.items() if right in rights]


def needs_right(connection: HTTPConnection, caller: Caller) -> None:
    """Raise the `Problem` "not-allowed" unless the caller may use the route of this connection."""
    if caller is LOCAL:
        return
    route = connection.scope.get("route")
    if not isinstance(route, APIRoute | APIWebSocketRoute):
        raise Problem("not-allowed", detail="Nobody has decided who may do this.")
    method = connection.scope.get("method", "WS")
    name = f"{'GET' if method == 'HEAD' else method} {route.path}"
    if name not in PUBLIC:
        needs(caller, name)


def needs(caller: Caller, route: str) -> None:
    """The same of a route by its name in the table, "WS /v1/jobs/{job}/readings"."""
    if caller is LOCAL:
        return
    right = RIGHT_OF.get(route)
    if right is None or not caller.may(right):
        roles = "nobody" if right is None else ", ".join(roles_with(right))
        held = ", ".join(sorted(caller.roles)) or "none"
        raise Problem("not-allowed", [
            fault("not-allowed", f"{caller.name!r} with role {held}", f"one of the roles: {roles}",
                  "ask an administrator: tipdatum access assign")
        ])  # fmt: skip
