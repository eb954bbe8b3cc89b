"""Letting in: from the headers of a connection to a caller, at a pace that slows guessing.

Runs before a body is read (`guard.py`), for HTTP and WebSockets alike. A stolen list of digests lets nobody in; an
unknown, a wrong and a cut-off token are answered alike.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Literal

from fastapi.concurrency import run_in_threadpool
from sqlalchemy.orm import Session

from service.clock import NeverBack, seconds
from service.problems import Problem
from service.secret import Credential, mint, parse
from service.store import Database, access
from service.store.access import Known
from service.text import fault

from .caller import COOKIE, SECURE_COOKIE, Caller, Role
from .holders import counts, machines_of
from .pace import Pace, whole_seconds

Headers = Mapping[str, list[str]]
# A mistake is forgiven twenty times, then one guess in three seconds is told that it was wrong.
FAILURES_AT_ONCE, FAILURES_PER_S = 20, 1 / 3
# Of each holder; more than twenty pages of one are signed out from the oldest on.
SIGN_INS_AT_ONCE, SIGN_INS_PER_S, MOST_SESSIONS = 60, 1 / 6, 20
# Those who issue may have another clock than the service, both in step.
CLOCKS_APART = timedelta(minutes=1)


@dataclass(frozen=True, slots=True)
class Admitted:
    """A caller, what let it in, and until when."""

    caller: Caller
    kind: Literal["token", "session"]
    credential_id: str
    expires_utc: datetime | None


class Access:
    """Who is let in. For the event loop; the database is asked on a thread.

    By the clock `now`, which somebody may set, and `steady`, which nobody does: time does not go back.
    """

    def __init__(
        self, database: Database, now: Callable[[], datetime], *, per_s: float, at_once: float, session_hours: float,
        steady: Callable[[], float] = seconds,
    ) -> None:  # fmt: skip
        self._database = database
        self._now = NeverBack(now, steady)
        self._session = timedelta(hours=session_hours)
        self._senders = Pace(per_s, at_once)
        self._holders = Pace(per_s, at_once)
        self._sign_ins = Pace(SIGN_INS_PER_S, SIGN_INS_AT_ONCE)
        self._failures = Pace(FAILURES_PER_S, FAILURES_AT_ONCE)

    def keep_pace(self, sender: str) -> None:
        """Raise the `Problem` "too-many-requests" where an address asks too fast, whoever it is."""
        _slow(self._senders.take(sender), "requests from this address")

    async def admit(self, headers: Headers, sender: str, *, secure: bool) -> Admitted:
        """The caller; `secure`: asked over TLS. Raises the `Problem` "unauthenticated" or "too-many-requests"."""
        text, kind = _presented(headers, SECURE_COOKIE if secure else COOKIE)
        admitted = await self._checked(text, kind, sender)
        _slow(self._holders.take(admitted.caller.name), f"requests of {admitted.caller.name!r}")
        return admitted

    async def again(self, headers: Headers, sender: str, *, secure: bool) -> Admitted:
        """The caller of a connection that was admitted and lasts, as it counts now; of no pace. Raises as `admit`."""
        text, kind = _presented(headers, SECURE_COOKIE if secure else COOKIE)
        return await self._checked(text, kind, sender)

    async def sign_in(self, text: str, sender: str) -> tuple[Credential, Admitted]:
        """A new session for a token; it ends with the token, or after `session_hours`."""
        admitted = await self._checked(text, "token", sender)
        _slow(self._sign_ins.take(admitted.caller.name), f"sessions begun by {admitted.caller.name!r}")
        made = mint()
        now = self._now()
        until = now + self._session
        if admitted.expires_utc is not None:
            until = min(until, admitted.expires_utc)

        def work(session: Session) -> None:
            access.make_room(session, admitted.caller.name, now, MOST_SESSIONS - 1)
            access.add_credential(
                session,
                made.id,
                admitted.caller.name,
                made.digest,
                now,
                until,
                parent_id=admitted.credential_id,
            )

        await run_in_threadpool(self._database.write, work)
        return made, Admitted(admitted.caller, "session", made.id, until)

    async def sign_out(self, credential_id: str) -> None:
        """End a session."""
        now = self._now()
        await run_in_threadpool(self._database.write, lambda s: access.end(s, [credential_id], now))

    async def _checked(self, text: str, kind: Literal["token", "session"], sender: str) -> Admitted:
        given = parse(text)
        known = None
        if given is not None:
            known = await run_in_threadpool(self._database.read, lambda s: access.find(s, given.id))
        right = given is not None and given.matches(None if known is None else known.credential.digest)
        if known is None or not right or known.credential.kind != kind:
            # A right token goes through all the same: a neighbour who guesses must not lock the cab out.
            _slow(self._failures.take(sender), "wrong tokens from this address")
            raise _nobody("bad-token", f"no {kind} of this service", "the whole of it, as it was given")
        return _judged(known, kind, self._now(), self._now.ahead)


def _judged(known: Known, kind: Literal["token", "session"], now: datetime, ahead: timedelta) -> Admitted:
    """Whom a credential lets in whose secret was right: only then is told why it no longer counts."""
    credentials = [each for each in (known.credential, known.parent) if each is not None]
    if known.holder.revoked_utc is not None or any(each.ended_utc is not None for each in credentials):
        raise _nobody("revoked-token", f"a {kind} that was revoked, rotated or signed out", "one that counts")
    if not all(counts(each, now) for each in credentials):
        if ahead <= CLOCKS_APART:
            raise _nobody("expired-token", f"a {kind} that has expired", "one that counts")
        raise _nobody(
            "expired-token", f"a {kind} that had expired before the clock was set back by {ahead.total_seconds():.0f} s",
            "one that counts", "if the clock had been set on by mistake, start the service again",
        )  # fmt: skip
    if any(each.expires_utc is not None and each.issued_utc - now > CLOCKS_APART for each in credentials):
        raise _nobody(
            "clock-set-back", f"a {kind} issued after the time that the service's clock shows", "a clock that is right",
            "set the clock of the service's computer: whether this has expired cannot be told by a wrong one",
        )  # fmt: skip
    holder = known.holder
    roles = frozenset(Role(each) for each in holder.roles)
    caller = Caller(holder.name, roles, machines_of(holder))
    return Admitted(caller, kind, known.credential.id, known.credential.expires_utc)


def _presented(headers: Headers, cookie: str) -> tuple[str, Literal["token", "session"]]:
    """What a connection shows: a bearer token, else a session cookie."""
    shown = headers.get("authorization", [])
    if shown:
        scheme, _, text = shown[0].partition(" ")
        if len(shown) > 1 or scheme.lower() != "bearer":
            raise _nobody("bad-token", "another Authorization header", "one: Authorization: Bearer TOKEN")
        return text.strip(), "token"
    cookies = [
        value.strip()
        for header in headers.get("cookie", [])
        for name, _, value in (each.partition("=") for each in header.split(";"))
        if name.strip() == cookie
    ]
    if len(cookies) > 1:  # another service of this host may have set one; which is ours is not guessed
        raise _nobody(
            "bad-token", "several session cookies", "one", "delete the cookies of this address, sign in again"
        )
    if cookies:
        return cookies[0], "session"
    raise _nobody("no-token", "no token", "Authorization: Bearer TOKEN, or a page signed in at /sign-in")


def _nobody(
    code: str, found: str, expected: str, advice: str = "ask an administrator: tipdatum access"
) -> Problem:
    return Problem(
        "unauthenticated", [fault(code, found, expected, advice)], headers={"WWW-Authenticate": "Bearer"}
    )


def _slow(wait: float, found: str) -> None:
    if wait > 0.0:
        seconds = whole_seconds(wait)
        told = fault("too-many-requests", f"too many {found}", f"the next in {seconds} s", "wait, then go on slower",
                     numbers={"wait_s": wait})  # fmt: skip
        raise Problem("too-many-requests", [told], headers={"Retry-After": seconds})
