"""Whether the caller of a long-lived connection may still do what it does: a right can end while a stream runs."""

import logging
from typing import cast

from sqlalchemy.exc import SQLAlchemyError
from starlette.requests import HTTPConnection

from kinematics.errors import Refused
from service.access.admission import Access
from service.access.caller import LOCAL, Caller
from service.access.rights import needs, needs_right
from service.book.state import JobState
from service.problems import Problem
from service.store import StoreError
from service.text import fault

_log = logging.getLogger("tipdatum")


async def still_allowed(connection: HTTPConnection, state: JobState | None = None) -> Caller:
    """The caller as it counts now. Raises the `Problem` that a new connection of it would get; with `state`, for the
    machine on the job."""
    access: Access | None = connection.app.state.access
    if access is not None:
        headers = {name: connection.headers.getlist(name) for name in ("authorization", "cookie")}
        secure = connection.scope["scheme"] in {"https", "wss"}
        try:
            admitted = await access.again(headers, connection.scope["sender"], secure=secure)
        except (StoreError, SQLAlchemyError):
            _log.exception("whether %s is still allowed could not be read", connection.scope["caller"].name)
            raise Problem("database", detail="Whether you may still do this could not be read.") from None
        connection.scope["caller"] = admitted.caller
        needs_right(connection, admitted.caller)
    caller = cast(Caller, connection.scope["caller"])
    if state is not None:
        _assigned(caller, state)
    return caller


async def may_feed(access: Access | None, token: str | None, state: JobState) -> Caller:
    """Whom a token lets in that a feeder shows behind a broker: as the WebSocket of readings does, with its `Problem`s.

    Wrong tokens of all who come that way are counted as of one address.
    """
    if access is None:
        return LOCAL
    shown = {} if token is None else {"authorization": [f"Bearer {token}"]}
    try:
        caller = (await access.again(shown, "the broker", secure=True)).caller
    except (StoreError, SQLAlchemyError):
        _log.exception("whether a feeder is still allowed could not be read")
        raise Problem("database", detail="Whether you may still do this could not be read.") from None
    needs(caller, "WS /v1/jobs/{job}/readings")
    _assigned(caller, state)
    return caller


def _assigned(caller: Caller, state: JobState) -> None:
    if state.machine is None:
        return
    try:
        caller.needs_machine(state.machine.id)
    except Refused as refused:
        raise Problem(
            "not-assigned", [fault(f.code, f.found, f.expected, f.advice) for f in refused.faults]
        ) from None
