"""One feeder behind the broker: to the service that keeps its job, and to one that follows."""

import math
import secrets
from collections import deque
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

from service.access.caller import LOCAL, Caller
from service.broker.topics import HERE_EVERY_S, KEEP_ALIVE_S, MOST_BYTES, WINDOW
from service.live.clock import ASK_EVERY_S, SenderClock
from service.live.feed import Feed
from service.live.feeding import LETTERS_A_READING, Check, Feeding, Welcome
from service.live.hub import Hub

from .envelopes import Here, document, wrong_frame

# While the job's receiver may strike: a crossing is settled within so long of what shows how the body rested before it.
# Until then its frames are not told as taken, so that the next keeper, should this one end, gets them once more.
HELD_S, HELD_FRAMES = 12.0, WINDOW * 3 // 4
# So far back may what comes to the next keeper reach: held back, until the end of the one before is seen, until the
# feeder says that it is there, until the job is claimed.
BACK_S = HELD_S + 1.5 * KEEP_ALIVE_S + HERE_EVERY_S + 5.0
TAKEN_EVERY_S = 0.25
# A gap is asked for once in so long: what was sent before the question was heard is still on its way.
GAP_EVERY_S = 0.5
# Readings so old come in one rush.
LATE_S = 1.0
# A frame so short may answer a clock question, and is read even of one who sends too much.
SHORT = 200
_QUESTION_BITS = 48


@dataclass(frozen=True, slots=True)
class Before:
    """What is known of a feeder that was followed, or let in once before, when it is let in.

    Its stream, its clock, and the last frame whose sensors were read.
    """

    stream: str
    clock: SenderClock
    last: int


class Behind(Feeding):
    """What keeper and follower share: frames of one stream, each with its number."""

    def __init__(
        self, hub: Hub, feed: Feed, caller: Caller, name: str, stream: str, *,
        per_s: float, welcome: Welcome, check: Check,
    ) -> None:  # fmt: skip
        super().__init__(hub, feed, caller, per_s=per_s, welcome=welcome, check=check)
        self.name, self.stream, self.link.stream = name, stream, stream
        # An answer says which question it is to and not whose: of two in turn none may ask under the same number.
        self.link.clock = SenderClock(hub.now(), 1 + secrets.randbits(_QUESTION_BITS))
        self.checking = False
        self.arrived = hub.now()
        self._until = -math.inf
        self._skipped = False

    def heard(self, payload: bytes) -> None:
        """One payload on its readings topic. Raises `Over` after too much that is none."""
        now = self.hub.now()
        letters = len(payload)
        slowed = now < self._until
        if slowed and letters > SHORT:
            self.feed.counts["slowed"] += 1
            self._skipped = True
            return
        said = document(payload)
        wrong = wrong_frame(said) if type(said) is dict else said
        if wrong is not None:
            cost = self.bad(wrong)  # type: ignore[arg-type]  # a fault either way
        elif said["stream"] != self.stream:  # type: ignore[index]
            self.feed.counts["another-stream"] += 1
            cost = 1.0
        elif "clock" in said:  # type: ignore[operator]
            if said["of"] == self.hub.clock:  # type: ignore[index]
                self.answer(said["clock"], said["at_s"], now)  # type: ignore[index]
            cost = 1.0
        elif slowed:
            self.feed.counts["slowed"] += 1
            self._skipped = True
            cost = 1.0
        else:
            self.arrived = now
            cost = 1.0 + self.frame(said["n"], said["readings"], now)  # type: ignore[index]
        wait = self.pay(cost + min(letters, MOST_BYTES) / LETTERS_A_READING, now)
        if wait > 0.0:
            self._until = now + wait

    def frame(self, n: int, readings: list[Any], now: float) -> int:
        """A frame by its number; how many readings were looked at."""
        raise NotImplementedError

    def before(self) -> Before:
        """What is known of it, for when it comes again."""
        raise NotImplementedError

    def question(self, at: float) -> dict[str, Any]:
        """Whose question it is stands in it: followers ask as well."""
        return {**super().question(at), "of": self.hub.clock}


class Fed(Behind):
    """A feeder whose job this service keeps: each frame is taken once, in order, and told as taken.

    `say` sends it something. `next` is the number of the frame that is wanted next.
    """

    def __init__(
        self, hub: Hub, feed: Feed, caller: Caller, name: str, here: Here, say: Callable[[dict[str, Any]], None], *,
        per_s: float, welcome: Welcome, check: Check, before: Before | None = None,
    ) -> None:  # fmt: skip
        super().__init__(hub, feed, caller, name, here.stream, per_s=per_s, welcome=welcome, check=check)
        self.next = here.next
        self._read = 0
        if before is not None and before.stream == here.stream:
            self.link.clock, self._read = before.clock, before.last
            self.link.clock.answered = hub.now()  # it has its time to answer anew
        self._say = say
        self._taken = self._told_taken = here.next - 1
        self._tell_taken_at = self._gap_told = -math.inf
        self._marks: deque[tuple[float, int]] = deque()

    def frame(self, n: int, readings: list[Any], now: float) -> int:
        """Take the frame that is wanted, and no other, once it can be dated."""
        if not self.link.clock.known(now):
            self._skipped = True
        elif n == self.next:
            self.next = n + 1
            marks = self._marks
            if not marks or now - marks[-1][0] >= TAKEN_EVERY_S:
                marks.append((now, n))
            if n <= self._read:  # a crossing is still to be seen in it, its sensors have been read
                readings = [each for each in readings if type(each) is dict and "sensor" not in each]
            self.take(readings, now)
            if now - self.link.newest > LATE_S:
                self.hub.caught_up(self.feed)
            return len(readings)
        elif n < self.next:
            self.feed.counts["repeated"] += 1
        elif now - self._gap_told >= GAP_EVERY_S:
            self._gap_told = now
            self.feed.counts["gap"] += 1
            self._say(self._from())
        return 0

    def end(self) -> None:
        """A crossing under way is judged whole, from frames that were held back, where they come next."""
        super().end()
        self.feed.receiver.leave(self.link)

    def before(self) -> Before:
        """Up to the last frame that was taken."""
        return Before(self.stream, self.link.clock, max(self._read, self.next - 1))

    def _from(self) -> dict[str, Any]:
        return {"from": {"stream": self.stream, "n": self.next}}

    def again(self, here: Here) -> None:
        """It says once more that it is there: what it no longer has is not waited for, what was taken is told again."""
        if here.next > self.next:
            self.feed.counts["skipped"] += here.next - self.next
            self.next = here.next
            self._marks.clear()
            self._taken = here.next - 1
        self._told_taken = -1
        if here.welcome:
            self.greet()
        if here.last >= self.next and self.hub.now() - self.arrived >= GAP_EVERY_S:
            self._skipped = True

    def taken(self, now: float) -> int:
        """All frames up to this one are taken or refused for good, and nothing hangs on them any more."""
        last = self.next - 1
        if self.feed.receiver.striking is None:
            self._marks.clear()
            self._taken = last
            return last
        marks = self._marks
        while marks and now - marks[0][0] >= HELD_S:
            self._taken = marks.popleft()[1]
        if not marks and now - self.arrived >= HELD_S:  # of a stream that rests the last as well
            self._taken = last
        self._taken = max(self._taken, last - HELD_FRAMES)
        return self._taken

    def greeting(self, at: float) -> dict[str, Any]:
        """With the frame from which on it is to send."""
        return {**super().greeting(at), **self._from()}

    def due(self) -> Iterator[dict[str, Any]]:
        """And what was taken since that was last told."""
        yield from super().due()
        now = self.hub.now()
        if (
            self._skipped and now >= self._until and self.link.clock.known(now)
        ):  # the last of what was sent may be among it
            self._skipped = False
            yield self._from()
        if now >= self._tell_taken_at:
            taken = self.taken(now)
            if taken != self._told_taken:
                self._told_taken, self._tell_taken_at = taken, now + TAKEN_EVERY_S
                yield {"taken": {"stream": self.stream, "n": taken}}


class Followed(Behind):
    """The same feeder to a service that only looks: its clock is asked, its readings are read, nothing is told."""

    def __init__(self, hub: Hub, feed: Feed, name: str, stream: str, *, per_s: float) -> None:
        async def anybody(_: Feed) -> Caller:
            return LOCAL

        super().__init__(hub, feed, LOCAL, name, stream, per_s=per_s, welcome=lambda _: {}, check=anybody)
        self._last = 0
        self.begun = self.vouched = hub.now()
        """Since when it is read, and when the keeper last named its stream."""

    def frame(self, n: int, readings: list[Any], now: float) -> int:
        """Take what is newer than the last, once its clock is known."""
        if n <= self._last or not self.link.clock.known(now):
            return 0
        self._last = n
        self.take(readings, now)
        return len(readings)

    def before(self) -> Before:
        """Up to the last frame that was read."""
        return Before(self.stream, self.link.clock, self._last)

    def due(self) -> Iterator[dict[str, Any]]:
        """Questions for its clock alone."""
        at = self.hub.now()
        self.answered(at)
        if self._greeted is None or at - self._asked >= ASK_EVERY_S:
            self._greeted, self._asked = self, at
            yield self.question(at)
