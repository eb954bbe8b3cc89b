"""Whether the caller of a long-lived connection may still do what it does: a right can end while a stream runs."""

import logging
from typing import cast

from sqlalchemy.exc import SQLAlchemyError
from starlette.requests import HTTPConnection

from kinematics.errors import Refused
from service.access.admission import Access
from service.access.caller import Caller
from service.access.rights import needs_right
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
    if state is not None and state.machine is not None:
        try:
            connection.scope["caller"].needs_machine(state.machine.id)
        except Refused as refused:
            raise Problem(
                "not-assigned", [fault(f.code, f.found, f.expected, f.advice) for f in refused.faults]
            ) from None
    return cast(Caller, connection.scope["caller"])
