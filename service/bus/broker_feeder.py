"""The sender's end of the readings door through an MQTT broker: what is not taken yet waits in a spool, and goes on, in
order, once a service is there again. The words are those of /guide/broker."""

import json
import threading
import time
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any

from service.broker.address import Address
from service.broker.topics import HERE_EVERY_S, WINDOW, Topics
from service.clock import seconds

from .any_feeder import GREETED_WITHIN_S, TOLD_WITHIN_S, AnyFeeder, Say
from .broker_words import frames_of, nobody, place_of, turned_down
from .feeder import FIRST_PAUSE_S, GIVE_UP_S, LONGEST_PAUSE_S
from .line import Line
from .outage import Outage
from .pace import LETTERS_A_READING, Pace
from .spool import Spool
from .tallies import AGAIN_S

HERE_AGAIN_S, QUIET_S, RESEND_S = 1.0, 7.0, 20.0
"""While nobody answers; then nobody is there; without progress, for which a keeper may take 12 s, all is sent again."""
LOOK_EVERY_S = 0.5
_ELSEWHERE = "fed-by-another"


class BrokerFeeder(AnyFeeder):
    """Feeds readings to one job through a broker, as the machine side called `name`.

    It takes readings from the first welcome on, whether or not anybody is there: `connected`. `sent`: readings put into
    the spool; `lost`: those that overflowed it. `told`: counts of frames, taken, repeated and so on.
    """

    def __init__(
        self, address: Address, job: str, name: str, spool: Spool, token: str | None = None, say: Say = lambda _: None, *,
        ca: Path | None = None, clock: Callable[[], float] = seconds, give_up_s: float = GIVE_UP_S,
        first_pause_s: float = FIRST_PAUSE_S, here_every_s: float = HERE_EVERY_S,
    ) -> None:  # fmt: skip
        super().__init__(say, clock)
        self._address, self._job, self._name, self._ca, self._spool = address, job, name, ca, spool
        self._topics, self._token = Topics(address.prefix), token
        self._give_up_s, self._first_pause_s, self._here_every_s = give_up_s, first_pause_s, here_every_s
        self._state = threading.Condition()
        self._closing = False
        self._worker: threading.Thread | None = None
        self._outage = Outage(say, self._waiting)
        self._pace = Pace()
        self._line: Line | None = None
        self._why = ""
        self._fresh = False
        self._stream, self._cursor = "", 0
        self._heard_s = self._progress_s = 0.0
        self._here_s = float("-inf")
        self._highest: dict[str, int] = {}
        self._counts: dict[str, Counter[str]] = {}
        self._said_s: dict[str, float] = {}
        self.taken = self.repeated = self.foreign = 0

    def ready(self, give_up_s: float | None = None) -> float:
        """Be welcomed; the seconds that had to be waited for it. From then on it takes readings, also while offline.

        Where nobody answers, what a service said it expects in an earlier run will do. Raises `Refused`: "no-broker"
        after `give_up_s` without a welcome of any time, "turned-down" by the broker, what the service said that is for
        good, or in what the map does not fit, once `expect` was called.
        """
        self._raise_if_over()
        if self.connected:
            return 0.0
        began = time.monotonic()
        give_up_s = self._give_up_s if give_up_s is None else give_up_s
        if self._worker is None:
            self._worker = threading.Thread(target=self._work, daemon=True)
            self._worker.start()
        kept = self._spool.welcome
        within = min(give_up_s, GREETED_WITHIN_S) if kept else give_up_s

        def known() -> bool:
            return self.connected or self._over is not None or (kept is not None and self._outage.lasts)

        with self._state:
            self._state.wait_for(known, timeout=within)
        self._raise_if_over()
        if not self.connected:
            if kept is None:
                raise nobody(self._address, self._no_way(), self._job)
            self._hear_welcome(json.loads(kept))
            self._say("Begun with what a service said in an earlier run that it expects.")
            self._raise_if_over()
        return time.monotonic() - began

    def send(self, readings: Sequence[Mapping[str, Any]]) -> bool:
        """Have readings sent, each with its time on this feeder's clock, once those before them were."""
        self._raise_if_over()
        for count, body in frames_of(readings):
            if not self._spool.put(self.clock(), count, body):
                self._seldom(
                    "disk", f"The spool is not written ({self._spool.broken}): memory alone has what waits."
                )
            self.sent += count
        if self._spool.overflowed_readings > self.lost:
            self._seldom(
                "overflow",
                f"The spool is full: {self._spool.overflowed} of the oldest frames by now are lost.",
            )
        self.lost = self._spool.overflowed_readings
        with self._state:
            self._state.notify_all()
        return True

    def settle(self) -> None:
        """Wait while the service takes what waits, and then until it has had time to say what of it it refused."""
        with self._state:
            while self._online and len(self._spool):
                before = self.taken

                def further(before: int = before) -> bool:
                    return not self._online or self.taken > before or self._over is not None

                if not self._state.wait_for(further, timeout=RESEND_S + QUIET_S):
                    break
            if self._online:
                self._state.wait_for(lambda: self._over is not None, timeout=TOLD_WITHIN_S)

    def close(self) -> None:
        """Leave the broker; what was not taken stays in the spool."""
        with self._state:
            self._closing = True
            self._state.notify_all()
        if self._worker is not None:
            self._worker.join(timeout=2.0 * GREETED_WITHIN_S)
        if len(self._spool) and not self._spool.broken:
            self._say(
                f"{self._waiting()} in {self._spool.file}; the next feed of this job sends them, unless this computer "
                "is started anew before."
            )  # fmt: skip
        self._spool.close()

    @property
    def connected(self) -> bool:
        """Whether it takes readings: a service said what it expects."""
        return bool(self.welcome)

    @property
    def told(self) -> dict[str, Any]:
        """Counts of frames, for programs."""
        spool = self._spool
        return {
            "frames_spooled": spool.spooled, "frames_taken": self.taken, "frames_repeated": self.repeated,
            "frames_overflowed": spool.overflowed, "frames_waiting": len(spool),
            "frames_of_another_boot": spool.of_another_boot, "outages": self._outage.count,
            "told_by_others": self.foreign, "spool": str(spool.file),
        }  # fmt: skip

    @property
    def refused(self) -> dict[str, int]:
        """Readings that services refused, by code."""
        return dict(sum(self._counts.values(), self._before + self._now))

    @property
    def _online(self) -> bool:
        return self._line is not None and self._line.alive and not self._outage.lasts and bool(self._stream)

    def _waiting(self) -> str:
        return f"{len(self._spool)} frames with {self._spool.readings} readings wait"

    def _no_way(self) -> str:
        """Why there is no connection; "" where there is one."""
        line = self._line
        return "" if line is not None and line.alive else self._why or "no answer yet"

    def _seldom(self, kind: str, words: str) -> None:
        now = time.monotonic()
        if now - self._said_s.get(kind, -AGAIN_S) >= AGAIN_S:
            self._said_s[kind] = now
            self._say(words)

    # The one thread that sends.

    def _work(self) -> None:
        if self._spool.of_another_boot:
            self._say(
                f"{self._spool.of_another_boot} frames of the time before this computer was started anew are let go of."
            )
        if len(self._spool):
            self._say(f"{self._waiting()} from an earlier run.")
        pause = self._first_pause_s
        while not self._ended():
            line = Line(
                self._address,
                self._ca,
                self._topics.told(self._job, self._name),
                self._name,
                self._hear,
                self._broke,
            )
            self._begin(line)
            self._why = line.open()
            if not self._why:
                pause = self._first_pause_s
                self._serve(line)
                line.close()
                self._why = line.why
                if not self._ended():
                    self._outage.away(self._why, time.monotonic())
                continue
            if line.for_good and not self.connections:
                with self._state:
                    self._over = turned_down(self._address, self._why)
                    self._state.notify_all()
                return
            with self._state:
                self._outage.away(self._why, time.monotonic())
                self._state.notify_all()
                self._state.wait_for(self._ended, timeout=pause)
            pause = min(2.0 * pause, LONGEST_PAUSE_S)

    def _ended(self) -> bool:
        return self._closing or self._over is not None

    def _begin(self, line: Line) -> None:
        with self._state:
            self._line, self._fresh, self._stream = line, False, ""
            self._here_s = float("-inf")
            self._heard_s = self._progress_s = time.monotonic()

    def _serve(self, line: Line) -> None:
        """Say that we are here and send what waits, until the connection breaks."""
        while line.alive and not self._ended():
            now = time.monotonic()
            with self._state:
                stream, first = self._spool.next
                answered = self._stream == stream and self._heard_s >= self._here_s
                every = self._here_every_s if answered else min(HERE_AGAIN_S, self._here_every_s)
                here = now - self._here_s >= every
                if here:
                    self._here_s = now
                if now - self._heard_s >= QUIET_S:
                    self._outage.away("no service answers", now)
                if len(self._spool) and now - self._progress_s >= RESEND_S:
                    self._progress_s, self._cursor = now, min(self._cursor, first - 1)
                elif not len(self._spool):
                    self._progress_s = now
            if here:
                self._say_here(line, stream, first)
            wait = self._send_some(line, now)
            with self._state:
                if not self._ended() and line.alive:
                    self._state.wait(
                        timeout=min(wait, max(self._here_s + every - time.monotonic(), 0.0), LOOK_EVERY_S)
                    )

    def _say_here(self, line: Line, stream: str, first: int) -> None:
        said: dict[str, Any] = {"stream": stream, "next": first}
        if sent := self._highest.get(stream):
            said["last"] = sent
        if not self._fresh:
            said["welcome"] = True
        if self._token is not None:
            said["token"] = self._token
        line.publish(self._topics.here(self._job, self._name), json.dumps(said), qos=1)

    def _send_some(self, line: Line, now: float) -> float:
        """Send what may be sent now; the seconds after which there may be more."""
        while True:
            with self._state:
                stream, first = self._spool.next
                if self._stream != stream or self._over is not None:
                    return LOOK_EVERY_S
                room = first - 1 + WINDOW - self._cursor
                if room <= 0:
                    return LOOK_EVERY_S
                framed, wait = self._spool.going_out(stream, self._cursor, self.clock())
                if framed is None:
                    self._outage.sent(now)
                    return wait or LOOK_EVERY_S
                wait = self._pace.take(
                    1.0 + framed.count + len(framed.body) / LETTERS_A_READING, time.monotonic()
                )
                if wait > 0.0:
                    return wait
                self._cursor = framed.n
                if framed.n <= self._highest.get(stream, 0):
                    self.repeated += 1
                else:
                    self._highest = {stream: framed.n}
            line.publish(
                self._topics.readings(self._job, self._name),
                f'{{"stream":"{stream}","n":{framed.n},"readings":{framed.body}}}', qos=1,
            )  # fmt: skip

    # What is told, on the library's thread.

    def _broke(self) -> None:
        with self._state:
            self._state.notify_all()

    def _hear(self, line: Line, payload: bytes) -> None:
        at_s = self.clock()
        try:
            said = json.loads(payload)
            if not isinstance(said, dict):
                raise TypeError("no object")
            if "clock" in said:  # before anything else
                answer = {
                    "clock": said["clock"],
                    "of": said.get("of"),
                    "at_s": at_s,
                    "stream": self._stream or self._spool.next[0],
                }
                line.publish(self._topics.readings(self._job, self._name), json.dumps(answer), qos=0)
            if line is self._line and said.keys() - {"clock", "of"}:
                self._take(said)
        except (ValueError, TypeError, AttributeError, LookupError, RecursionError) as error:
            self.foreign += 1
            self._seldom(
                "foreign",
                f"Told something that is none of a service's words, and passed over: {error!r}"[:200],
            )
        with self._state:
            self._state.notify_all()

    def _take(self, said: Mapping[str, Any]) -> None:
        if "welcome" in said:
            self._welcome(said["welcome"])
        if "taken" in said:
            self._taken(*place_of(said["taken"]))
        if "from" in said:
            self._from(*place_of(said["from"]))
        if "refused" in said:
            with self._state:
                self._count(
                    str(said.get("of", "")), Counter({str(k): int(v) for k, v in said["counts"].items()})
                )
            self._tell_refused(said["refused"])
        if "strike" in said and not self._has_heard(said["strike"]):
            self._hear_strike(said["strike"])
        if "problem" in said:
            self._problem(said["problem"])

    def _has_heard(self, strike: Any) -> bool:
        """Whether this was told before: it may come twice by QoS 1, and an entry of the log from the next keeper too."""
        seq = strike.get("seq")
        return strike in self.strikes[-5:] or (
            seq is not None and any(each.get("seq") == seq for each in self.strikes)
        )

    def _welcome(self, welcome: Any) -> None:
        if not isinstance(welcome, dict) or not welcome:
            raise TypeError("a welcome without words")
        if self._hear_welcome(welcome):
            self._spool.remember(json.dumps(welcome))
            self._pace.per_s = float(welcome.get("readings_per_s") or self._pace.per_s)
            with self._state:
                if not self._fresh:
                    self._fresh = True
                    self.connections += 1

    def _taken(self, stream: str, n: int) -> None:
        now = time.monotonic()
        with self._state:
            gone = self._spool.taken(stream, n)
            self.taken += len(gone)
            if gone:
                self._progress_s = now
            if stream == self._spool.next[0]:
                self._answered(stream, n, now)
            elif gone:
                self._here_s = float("-inf")  # the next stream's turn

    def _from(self, stream: str, n: int) -> None:
        now = time.monotonic()
        with self._state:
            at, first = self._spool.next
            if stream != at:
                return
            self._answered(stream, n - 1, now)
            self._cursor = max(n, first) - 1
            if n < first:  # gone for good
                self._here_s = float("-inf")

    def _answered(self, stream: str, n: int, now: float) -> None:
        if self._stream != stream:
            self._stream, self._cursor = stream, max(n, self._spool.next[1] - 1)
        self._cursor = max(self._cursor, n)
        self._heard_s = now
        self._outage.here(now)

    def _count(self, of: str, counts: Counter[str]) -> None:
        """Counts of one service go up; where they do not, it began anew."""
        before = self._counts.get(of, Counter())
        if any(counts[code] < count for code, count in before.items()):
            self._before += before
        self._counts[of] = counts

    def _problem(self, problem: Mapping[str, Any]) -> None:
        errors = problem.get("errors", [])
        if any(each.get("code") == _ELSEWHERE for each in errors):
            self._seldom(_ELSEWHERE, f"Not fed, and tried on: {errors[0].get('found')}")
        else:
            self._hear_problem(problem)
