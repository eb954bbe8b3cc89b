"""The service at a broker: what comes is dealt out, what is due is done, other services are asked."""

import asyncio
import json
import logging
import math
import secrets
from importlib.metadata import version
from pathlib import Path
from typing import Any

from kinematics.errors import Fault, Refused
from service.broker.address import Address
from service.broker.client import Away, Connection, Reply
from service.live.feed import Feed
from service.store import utc_now

from .asking import WITHIN_S, Asking
from .envelopes import bad, service_of
from .following import Following
from .keeping import Keeping
from .means import Means
from .roll import Roll
from .snapshot import BEFORE, NO_SNAPSHOT, agrees, restored, snapshot

TICK_S = 0.05
SEEN_WITHIN_S = 5.0
# A service says so often that it is there, and is not after so long without a word.
PRESENT_EVERY_S, PRESENT_S = 10.0, 35.0
_log = logging.getLogger("tipdatum")


class Fleet:
    """One service among those at a broker. For the event loop.

    `ca`: the certificate authority that signed the broker's certificate, where the system's do not know it.
    """

    def __init__(self, address: Address, means: Means, ca: Path | None = None) -> None:
        self._means, self._topics, self._hub = means, means.topics, means.hub
        self.me = means.hub.clock
        self.roll = Roll(self.me)
        self._since = utc_now().isoformat(timespec="seconds")
        self._said = -math.inf
        self._seen: asyncio.Future[None] | None = None
        self.wire = Connection(
            address, f"tipdatum-{secrets.token_hex(16)}", heard=self._heard, came=self._came, went=self._went,
            will=self._topics.service(self.me), ca=ca,
        )  # fmt: skip
        self.following = Following(means, self.roll, self.wire)
        self.keeping = Keeping(means, self.roll, self.wire, self.following.end)
        self._asking = Asking(self._topics, self.me, self._send, self._answer)

    @property
    def status(self) -> str:
        """In words for whoever asks how the service fares."""
        return "here" if self.wire.here else f"away: {self.wire.why}"

    async def run(self) -> None:
        """Until cancelled: connected for as long as the broker is there."""
        ticking = asyncio.ensure_future(self._ticks())
        try:
            await self.wire.run()
        finally:
            ticking.cancel()

    async def close(self) -> None:
        """The service stops: its jobs are given up, its name is taken off."""
        self.keeping.close()
        self.wire.publish(self._topics.service(self.me), b"", qos=1, retain=True)
        await self.wire.close()

    # The broker comes and goes.

    async def _came(self) -> None:
        """Learn who is there and who keeps what, say that we are, then hear feeders. Raises `Away`."""
        topics, me = self._topics, self.me
        self.roll.forget()
        # Our own name comes back after all that was retained.
        self._seen = asyncio.get_running_loop().create_future()
        await self.wire.subscribe([
            (topics.service(), 1), (topics.keeper(), 1),
            *((topics.of_service(me, what), 1) for what in ("here", "asked", "answers")),
        ])  # fmt: skip
        self._present()
        try:
            async with asyncio.timeout(SEEN_WITHIN_S):
                await self._seen
        except TimeoutError:
            raise Away("it does not let us write or read our own topics") from None
        await self.keeping.come_back()
        self.following.come_back()
        await self.wire.subscribe([(topics.shared_here, 1)])

    def _present(self) -> None:
        """Say that we are there; the broker forgets it unless we go on saying so."""
        presence = json.dumps({"version": version("tipdatum"), "since": self._since})
        self._said = self._hub.now()
        self.wire.publish(
            self._topics.service(self.me), presence, qos=1, retain=True, expires_s=round(PRESENT_S)
        )

    def _went(self) -> None:
        self.roll.forget()
        self.keeping.lost()

    async def _ticks(self) -> None:
        while True:
            await asyncio.sleep(TICK_S)
            if not self.wire.here:
                continue
            try:
                now = self._hub.now()
                if now - self._said >= PRESENT_EVERY_S:
                    self._present()
                for each in self.roll.silent(now - PRESENT_S):
                    _log.warning("the service %s has not said for %g s that it is there", each, PRESENT_S)
                self.keeping.tick(now)
                self.following.tick(now)
                await self.following.listen()
            except Away:
                continue
            except Exception:
                _log.exception("a tick at the broker failed")

    # What comes.

    def _heard(self, topic: str, payload: bytes, reply: Reply | None) -> None:
        try:
            if not (self.keeping.frame(topic, payload) or self.following.frame(topic, payload)):
                self._deal_out(topic, payload, reply)
        except Exception:  # whatever a stranger sends, the rest goes on
            self._means.counts["failed"] += 1
            _log.exception("a message on %s could not be dealt with", topic)

    def _deal_out(self, topic: str, payload: bytes, reply: Reply | None) -> None:
        place = self._topics.place(topic)
        wrong: Fault | None = None
        if place is None:
            wrong = Fault("bad-topic", "", "a name that is none of ours", "one of /guide/broker")
        elif place.what == "readings":
            self._unknown(topic, place.job, place.feeder)
        elif place.what == "here" and place.job:
            self.keeping.here(place.job, place.feeder, payload)
        elif place.what == "told":
            self.following.told(place.job, place.feeder, payload)
        elif place.what == "keeper":
            wrong = self._named(place.job, payload)
        elif place.what == "service":
            self._service(place.service, there=bool(payload))
        elif place.what == "here":
            self.keeping.passed_on(topic, payload)
        elif place.what == "asked":
            wrong = self._asking.asked(payload, reply)
        elif place.what == "answers":
            wrong = self._asking.answered(payload, reply)
        if wrong is not None:
            self._means.wrong(topic, wrong)

    def _unknown(self, topic: str, job: str, feeder: str) -> None:
        """Readings of one who did not say that it is there, or was not let in; who was before will send them again."""
        kept = self.keeping.kept.get(job)
        if kept is not None and feeder not in kept.back:
            kept.feed.counts["not-here"] += 1
            self._means.note(f"not-here {topic}", f"readings on {topic} of a feeder that is not let in")

    def _named(self, job: str, payload: bytes) -> Fault | None:
        named = service_of(payload) if payload else None
        if isinstance(named, Fault):
            self.roll.hear_keeper(job, None)
        else:
            self.roll.hear_keeper(job, named)
        self.keeping.heard_keeper(job)
        return named if isinstance(named, Fault) else None

    def _service(self, service: str, *, there: bool) -> None:
        self.roll.hear_service(service, there=there, at=self._hub.now())
        if service == self.me and there and self._seen is not None and not self._seen.done():
            self._seen.set_result(None)

    # Other services.

    def _send(self, topic: str, payload: str, reply: Reply) -> None:
        self.wire.publish(topic, payload, qos=1, reply=reply)

    def _answer(self, what: str, job: str) -> dict[str, Any] | None:
        feed = self._hub.known(job)
        if feed is None:
            return None
        if what == "seconds":
            self._hub.keep_up(feed)
            return snapshot(feed, self._hub.now())
        return self._means.health(feed) if what == "sensors" else None

    def elsewhere(self, job: str, of: str | None = None) -> str | None:
        """The service that knows the last seconds of a job's sensors; None where none but this one may.

        `of`: the service by whose clock something was asked for, if any.
        """
        if of is not None:
            return of if of != self.me and of in self.roll.services else None
        keeper = self.roll.keeper(job)
        feed = self._hub.known(job)
        fed_here = feed is not None and bool(feed.links) and not feed.follows
        if keeper is None or keeper == self.me or fed_here or self.following.long(job, self._hub.now()):
            return None
        return keeper

    async def seconds(self, job: str, here: Feed) -> tuple[Feed, float] | None:
        """The last seconds of a job's sensors as another service has them, and now by its clock; None where none has.

        Raises `Refused` where it does not answer, or "observed-before".
        """
        service = self.elsewhere(job)
        return None if service is None else await self.seconds_from(service, job, here)

    async def seconds_from(self, service: str, job: str, here: Feed) -> tuple[Feed, float]:
        """The same of one service. Raises `Refused`."""
        said = await self._asking.ask(service, "seconds", job)
        if said is not None and not agrees(said, here):
            raise Refused([BEFORE])
        try:
            if said is not None:
                return restored(said, here)
        except NO_SNAPSHOT:
            self._means.wrong(
                self._topics.of_service(service, "answers"), bad("no snapshot", "the last seconds")
            )
        raise Refused([_silent(service)])

    async def health(self, job: str) -> tuple[str, dict[str, Any] | None] | None:
        """Which other service keeps a job, if one does, and what it says of its sensors, None for no answer."""
        service = self.elsewhere(job)
        return None if service is None else (service, await self._asking.ask(service, "sensors", job))


def _silent(service: str) -> Fault:
    return Fault(
        "sensor-quiet", "", f"no answer within {WITHIN_S:g} s from the service {service}, which has the readings",
        "an answer of the service that keeps the job", "again in a moment; if it stays so look at /v1/health",
    )  # fmt: skip
