"""Questions that only read, from one service to another: MQTT's request and response."""

import asyncio
import json
import logging
import secrets
from collections.abc import Callable
from typing import Any

from kinematics.errors import Fault
from service.broker.client import MOST_BYTES, Reply
from service.broker.topics import Topics

from .envelopes import document

WITHIN_S = 1.0
_log = logging.getLogger("tipdatum")

Publish = Callable[[str, str, Reply], None]
Answer = Callable[[str, str], dict[str, Any] | None]
"""What is asked of which job, and the answer; None for what is not known."""


class Asking:
    """What one service asks others, and what it answers them. For the event loop."""

    def __init__(self, topics: Topics, me: str, publish: Publish, answer: Answer) -> None:
        self._topics, self._me, self._publish, self._answer = topics, me, publish, answer
        self._waiting: dict[bytes, asyncio.Future[dict[str, Any]]] = {}

    async def ask(self, service: str, what: str, job: str) -> dict[str, Any] | None:
        """What another service answers; None where nothing comes within a second, or it does not know."""
        mark = secrets.token_bytes(8)
        waiting: asyncio.Future[dict[str, Any]] = asyncio.get_running_loop().create_future()
        self._waiting[mark] = waiting
        try:
            where = self._topics.of_service(self._me, "answers")
            asked = json.dumps({"ask": what, "job": job})
            self._publish(self._topics.of_service(service, "asked"), asked, (where, mark))
            async with asyncio.timeout(WITHIN_S):
                said = await waiting
        except TimeoutError:
            return None
        finally:
            del self._waiting[mark]
        found = said.get("answer")
        return found if type(found) is dict else None

    def asked(self, payload: bytes, reply: Reply | None) -> Fault | None:
        """Answer another service; what is wrong with its question, if anything is."""
        said = document(payload)
        if type(said) is Fault:
            return said
        place = None if reply is None else self._topics.place(reply[0])
        if reply is None or place is None or place.what != "answers":
            return Fault(
                "bad-frame", "", "a question without a topic for its answer", "one of a service of ours"
            )
        what, job = said.get("ask"), said.get("job")  # type: ignore[union-attr]  # no fault, see above
        if type(what) is not str or type(job) is not str:
            return Fault("bad-frame", "", "a question that is none", "ask and job")
        self._publish(
            reply[0], json.dumps({"answer": self._answer(what, job)}, allow_nan=False), ("", reply[1])
        )
        return None

    def answered(self, payload: bytes, reply: Reply | None) -> Fault | None:
        """Take an answer; what is wrong with it, if anything is. One that comes too late is dropped."""
        said = document(payload, MOST_BYTES)
        if type(said) is Fault:
            return said
        waiting = None if reply is None else self._waiting.get(reply[1])
        if waiting is not None and not waiting.done():
            waiting.set_result(said)  # type: ignore[arg-type]  # no fault, see above
        return None
