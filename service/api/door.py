"""What the routes share: who asks, what must match, and the answer to a recorded request."""

import hashlib
import json
import re
from typing import Annotated, cast

from fastapi import Depends, Header, Request, Response
from starlette.requests import HTTPConnection

from kinematics.errors import Fault, Refused
from service.access.caller import LOCAL, Caller
from service.access.rights import needs_right
from service.book.keeper import Decide, Keeper, Recorded
from service.book.keyed import Key
from service.book.payloads import Payload
from service.book.profiles import Profiles
from service.book.requests import Recording
from service.book.state import JobState
from service.strict import Strict

from .column_solving import Workers

_LONGEST_SEQ = 18
_REVISION = re.compile(r"[0-9a-f]{64}")


async def keeper_of(connection: HTTPConnection) -> Keeper:
    """The job logs. Async, as all here: a plain function would cost a trip through the thread pool."""
    return cast(Keeper, connection.app.state.keeper)


async def workers_of(request: Request) -> Workers:
    """The threads for columns of poses."""
    return cast(Workers, request.app.state.workers)


async def profiles_of(request: Request) -> Profiles:
    """The profile revisions."""
    return cast(Profiles, request.app.state.profiles)


async def caller_of(connection: HTTPConnection) -> Caller:
    """Who asks, over HTTP, a WebSocket or an event stream alike; the guard has found out."""
    return cast(Caller, connection.scope["caller"])


CallerDep = Annotated[Caller, Depends(caller_of)]


async def admitted(connection: HTTPConnection) -> None:
    """Before every route, page and stream: refuses a caller without the right that the table asks for."""
    needs_right(connection, connection.scope["caller"])


KeeperDep = Annotated[Keeper, Depends(keeper_of)]
ProfilesDep = Annotated[Profiles, Depends(profiles_of)]
WorkersDep = Annotated[Workers, Depends(workers_of)]
IfMatch = Annotated[
    str | None,
    Header(
        description='The job\'s ETag, `"12"`: refused with 412 if the log has moved on. Left out: not checked.'
    ),
]
IdempotencyKey = Annotated[
    str | None,
    Header(
        min_length=1, max_length=200,
        description="Your own unique text for this request: sent again by the same caller, it is answered again and "
        "recorded once.",
    ),
]  # fmt: skip


def key_of(key: str | None, caller: Caller, request: Request, asked: Strict) -> Key:
    """An idempotency key of what is recorded on no job, and what makes two requests the same: as `Recorder`'s."""
    return Key(key, _hash(caller, request.url.path, asked))


def _hash(caller: Caller, path: str, asked: Strict) -> str:
    who = "" if caller is LOCAL else f"{json.dumps(caller.name)}\n"
    body = json.dumps(asked.model_dump(mode="json"), sort_keys=True, allow_nan=False)
    return hashlib.sha256(f"{who}{path}\n{body}".encode()).hexdigest()


def expected_seq(if_match: str | None) -> int | None:
    """The entry number in an If-Match header. `Refused` "bad-header" for anything else."""
    if if_match is None:
        return None
    text = if_match.strip()
    if text.startswith('"') and text.endswith('"'):
        text = text[1:-1]
    if not (text.isascii() and text.isdigit() and len(text) <= _LONGEST_SEQ):
        raise Refused(
            [
                Fault(
                    "bad-header",
                    "If-Match",
                    if_match,
                    'one entry number in quotes, "12"',
                    "take it from the ETag",
                )
            ]
        )
    return int(text)


def expected_revision(if_match: str | None) -> str | None:
    """The revision in an If-Match header. `Refused` "bad-header" for anything else."""
    if if_match is None:
        return None
    text = if_match.strip()
    if text.startswith('"') and text.endswith('"'):
        text = text[1:-1]
    if not _REVISION.fullmatch(text):
        raise Refused([
            Fault("bad-header", "If-Match", if_match, "one revision in quotes", "take it from the ETag")
        ])  # fmt: skip
    return text


class Recorder:
    """Records a request on a job: headers read, decided, on disk, ETag set."""

    def __init__(
        self, keeper: KeeperDep, caller: CallerDep, request: Request, response: Response,
        if_match: IfMatch = None, idempotency_key: IdempotencyKey = None,
    ) -> None:  # fmt: skip
        self.keeper = keeper
        self.caller = caller
        self._path = request.url.path
        self._response = response
        self._expected = if_match
        self._key = idempotency_key

    def __call__(self, job: str, asked: Recording, decide: Decide, read: Recording | None = None) -> Recorded:
        """Append what `decide` makes of the request, if the caller may record for the machine on the job.

        And for the one on it afterwards: a withdrawal or acknowledgement may put another there. `read`: the request
        with what the sensors added, where it left something to them.
        """

        def assigned(state: JobState) -> None:
            if state.machine is not None:
                self.caller.needs_machine(state.machine.id)

        def allowed(state: JobState, seq: int) -> Payload:
            assigned(state)
            return decide(state, seq)

        done = self.keeper.record(
            job, read or asked, allowed, self.caller.name, after=assigned, key=self._key,
            request_hash=self.request_hash(asked), expected_seq=expected_seq(self._expected),
        )  # fmt: skip
        self._response.headers["ETag"] = f'"{done.entry.seq}"'
        return done

    @property
    def key(self) -> str | None:
        """The idempotency key, where one was sent."""
        return self._key

    def no_match(self) -> None:
        """Refuse an If-Match where there is nothing yet to match."""
        if self._expected is not None:
            raise Refused([
                Fault("bad-header", "If-Match", self._expected, "no If-Match on a job that is still to be opened",
                      "leave it out")
            ])  # fmt: skip

    def request_hash(self, asked: Recording) -> str:
        """What makes two requests the same: who asks, the route and the body.

        While everybody is one person nobody is named, so that keys from before access control hold.
        """
        return _hash(self.caller, self._path, asked)


RecorderDep = Annotated[Recorder, Depends(Recorder)]
