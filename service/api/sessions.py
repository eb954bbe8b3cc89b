"""Who is asking, and sessions for pages. curl -s http://127.0.0.1:8311/v1/sessions/current"""

from typing import Literal, cast

from fastapi import APIRouter, Request, Response
from pydantic import ConfigDict, Field

from service.access.admission import Access, Admitted
from service.access.answers import Machines, RoleOut, maybe_stamp, role_names
from service.access.caller import COOKIE, LOCAL, SECURE_COOKIE
from service.problems import Problem
from service.strict import Strict, example
from service.text import fault

from .door import CallerDep

router = APIRouter(prefix="/v1", tags=["access"])


class SessionIn(Strict):
    """A token to sign in with."""

    model_config = ConfigDict(json_schema_extra=example({"token": "tipdatum_ID_SECRET"}))
    token: str = Field(max_length=200, description="As `tipdatum access create` printed it.")


class SessionOut(Strict):
    """Who is asking."""

    access: Literal["on", "off"] = Field(description="off: everybody on this machine may do everything.")
    name: str = Field(description="Stands as the actor in every record.")
    roles: list[RoleOut]
    machines: Machines
    by: Literal["token", "session", "loopback"] = Field(description="What let the caller in.")
    expires_utc: str | None = Field(description="When that ends; null for never.")


@router.post("/sessions", status_code=201, summary="Sign a page in with a token")
async def sign_in(asked: SessionIn, request: Request, response: Response) -> SessionOut:
    """The session is a cookie that no script can read; it ends with the token, or after its hours."""
    access = cast(Access | None, request.app.state.access)
    if access is None:
        raise Problem("access-off", [
            fault("access-off", "a service without access control", "no session: nobody needs one here",
                  "start it with --access where tokens are wanted")
        ])  # fmt: skip
    made, admitted = await access.sign_in(asked.token.strip(), request.scope["sender"])
    secure = request.url.scheme == "https"
    response.set_cookie(
        SECURE_COOKIE if secure else COOKIE,
        made.text,
        httponly=True,
        secure=secure,
        samesite="strict",
        path="/",
    )
    return _out(admitted)


@router.get("/sessions/current", summary="Who is asking")
async def current(request: Request, caller: CallerDep) -> SessionOut:
    """The name that stands in records, its roles and machines."""
    if caller is LOCAL:
        return SessionOut(
            access="off",
            name=caller.name,
            roles=["administrator"],
            machines=None,
            by="loopback",
            expires_utc=None,
        )
    return _out(cast(Admitted, request.scope["admitted"]))


@router.delete("/sessions/current", summary="Sign this page out")
async def sign_out(request: Request, response: Response, caller: CallerDep) -> SessionOut:
    """Ends the session for good; a token is ended by `tipdatum access revoke`."""
    told = await current(request, caller)
    if told.by == "session":
        await request.app.state.access.sign_out(request.scope["admitted"].credential_id)
        for name in (COOKIE, SECURE_COOKIE):
            response.delete_cookie(
                name, secure=name == SECURE_COOKIE, httponly=True, samesite="strict", path="/"
            )
    return told


def _out(admitted: Admitted) -> SessionOut:
    caller = admitted.caller
    return SessionOut(
        access="on", name=caller.name, roles=role_names(caller.roles),
        machines=None if caller.machines is None else sorted(caller.machines), by=admitted.kind,
        expires_utc=maybe_stamp(admitted.expires_utc),
    )  # fmt: skip
