"""What the service shows of itself: counts for Prometheus, an id for every request, and log lines for programs.

Nothing is global: an application has counts of its own. They are read on the event loop, where the live door lives.
"""

import logging
import re
import secrets
from collections.abc import Callable, Iterable, MutableMapping
from contextvars import ContextVar
from time import perf_counter
from typing import Any

import structlog
from prometheus_client import CollectorRegistry, Counter, Histogram
from prometheus_client.core import CounterMetricFamily, GaugeMetricFamily, Metric
from prometheus_client.exposition import generate_latest
from prometheus_client.gc_collector import GCCollector
from prometheus_client.process_collector import ProcessCollector
from prometheus_client.registry import Collector
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from .book.holding import Holding
from .book.keeper import Keeper
from .live.hub import Hub

CONTENT_TYPE = "text/plain; version=0.0.4; charset=utf-8"
WITHIN_S = (0.001, 0.0025, 0.005, 0.01, 0.025, 0.05, 0.1, 0.25, 0.5, 1.0, 2.5, 5.0, 10.0, 30.0)
REQUEST = b"x-request-id"
_GOOD_ID = re.compile(rb"[A-Za-z0-9._-]{1,64}")
_JOB = re.compile(r"/v1/jobs/([a-z0-9-]{1,40})(?:/|$)")
_UNKNOWN = "none of ours"
_requests = logging.getLogger("tipdatum.requests")
_now: ContextVar[tuple[str, str | None] | None] = ContextVar("request", default=None)


class Counts:
    """Counts of one application."""

    def __init__(self) -> None:
        self.hub: Hub | None = None
        self.logs: Holding | None = None
        self.keeper: Keeper | None = None
        self.registry = CollectorRegistry()
        self._requests = Counter(
            "tipdatum_requests", "Requests answered, by route and status.", ("method", "route", "status"),
            registry=self.registry,
        )  # fmt: skip
        self._seconds = Histogram(
            "tipdatum_request_seconds", "From a request's head to its answer's end, by route; streams left out.",
            ("route",), buckets=WITHIN_S, registry=self.registry,
        )  # fmt: skip
        self.registry.register(_Live(self))
        ProcessCollector(registry=self.registry)
        GCCollector(registry=self.registry)

    def watch(self, hub: Hub, logs: Holding, keeper: Keeper) -> None:
        """The live door and the logs, once there are any."""
        self.hub, self.logs, self.keeper = hub, logs, keeper

    def answered(self, method: str, route: str, status: int, seconds: float) -> None:
        """One more."""
        self._requests.labels(method, route, str(status)).inc()
        if not route.endswith("/live"):
            self._seconds.labels(route).observe(seconds)

    def text(self) -> bytes:
        """All counts in Prometheus' text format, 0.0.4. On the event loop."""
        return generate_latest(self.registry)


class _Live(Collector):
    """The live door as it is when it is asked."""

    def __init__(self, counts: Counts) -> None:
        self._counts = counts

    def describe(self) -> Iterable[Metric]:
        """Nothing before it is asked."""
        return ()

    def collect(self) -> Iterable[Metric]:
        """Its gauges and counts; none before the service has started."""
        hub = self._counts.hub
        if hub is None:
            return
        seen = hub.seen()
        for name, words, value in (
            ("feeds", "Jobs whose readings are kept in memory.", seen.feeds),
            ("feeders", "Connections that feed readings.", seen.feeders),
            ("viewers", "Connections that look at readouts.", seen.viewers),
            ("jobs_quiet", "Jobs that are fed and have no number for want of fresh readings.", seen.quiet),
            ("oldest_reading_seconds", "Age of the oldest reading that a number may hang on, of the jobs that are fed.",
             seen.oldest_s),
            ("live_lag_seconds", "How late the live door's clock ticked at worst since this was last read.", seen.lag_s),
        ):  # fmt: skip
            yield GaugeMetricFamily(f"tipdatum_{name}", words, value=value)
        yield from self._logs()
        for name, words, value in (
            ("readings_taken", "Readings taken.", seen.taken),
            (
                "clock_set_seconds",
                "By how much the computer's clock was set, on and back, while this ran.",
                seen.set_s,
            ),
        ):
            yield CounterMetricFamily(f"tipdatum_{name}", words, value=value)
        for name, words, label, tally in (
            (
                "readings_not_taken",
                "Readings and frames refused or passed over, by why.",
                "code",
                seen.refused,
            ),
            ("strikes", "Crossings of the laser plane, by what came of them.", "verdict", seen.verdicts),
        ):
            found = CounterMetricFamily(f"tipdatum_{name}", words, labels=(label,))
            for each, value in sorted(tally.items()):
                found.add_metric((each,), value)
            yield found

    def _logs(self) -> Iterable[Metric]:
        logs, keeper = self._counts.logs, self._counts.keeper
        if logs is None or keeper is None:
            return
        yield GaugeMetricFamily(
            "tipdatum_logs_held", "Jobs whose log was held against itself since the start.", logs.jobs
        )
        yield GaugeMetricFamily(
            "tipdatum_logs_holding", "1 while that goes on, 0 once all were.", float(not logs.done)
        )
        wrong = GaugeMetricFamily(
            "tipdatum_log_damaged", "A job whose log does not hold, and the entry.", labels=("job", "entry")
        )
        for each in keeper.damages:
            wrong.add_metric((each.job, str(each.seq)), 1.0)
        yield wrong


class Watched:
    """The ASGI application `app`, its requests counted, each under an id that its answer tells (X-Request-Id).

    An id that came with the request is kept where it is one of letters, digits, dot, dash and underscore, 64 at most.
    """

    def __init__(self, app: ASGIApp, counts: Counts) -> None:
        self._app, self._counts = app, counts

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Serve one connection of any kind."""
        if scope["type"] == "lifespan":
            await self._app(scope, receive, send)
            return
        given = [value for name, value in scope["headers"] if name == REQUEST]
        good = len(given) == 1 and _GOOD_ID.fullmatch(given[0])
        mine = given[0] if good else secrets.token_hex(8).encode()
        job = _JOB.match(scope["path"])
        token = _now.set((mine.decode(), None if job is None else job[1]))
        try:
            if scope["type"] == "http":
                await self._http(scope, receive, send, mine)
            else:
                await self._app(scope, receive, send)
        finally:
            _now.reset(token)

    async def _http(self, scope: Scope, receive: Receive, send: Send, mine: bytes) -> None:
        status = 500

        async def sent(message: Message) -> None:
            nonlocal status
            if message["type"] == "http.response.start":
                status = message["status"]
                message["headers"] = [*message.get("headers", ()), (REQUEST, mine)]
            await send(message)

        begun = perf_counter()
        try:
            await self._app(scope, receive, sent)
        finally:
            took = perf_counter() - begun
            route = getattr(scope.get("route"), "path", None) or _UNKNOWN
            method = scope["method"] if route != _UNKNOWN else _UNKNOWN
            self._counts.answered(method, route, status, took)
            if _requests.isEnabledFor(logging.INFO):
                caller = scope.get("caller")
                more = {"method": method, "route": route, "status": status, "seconds": round(took, 6),
                        "who": None if caller is None else caller.name}  # fmt: skip
                _requests.info("answered", extra={"told": more})


def _request(_logger: Any, _method: str, told: MutableMapping[str, Any]) -> MutableMapping[str, Any]:
    """The request and job that a line belongs to, and what it tells in numbers."""
    now = _now.get()
    if now is not None:
        told["request"] = now[0]
        if now[1] is not None:
            told["job"] = now[1]
    record: logging.LogRecord | None = told.get("_record")
    told.update(getattr(record, "told", {}))
    return told


def one_object_a_line(hide: Callable[[str], str]) -> logging.Formatter:
    """Log lines as JSON objects: time, level, logger, event, request, job; `hide` takes credentials out of the text."""
    first: list[structlog.types.Processor] = [
        structlog.stdlib.add_log_level, structlog.stdlib.add_logger_name,
        structlog.processors.TimeStamper(fmt="iso", utc=True, key="time"), _request,
    ]  # fmt: skip

    def printed(_logger: Any, _method: str, told: MutableMapping[str, Any]) -> str:
        text = structlog.processors.JSONRenderer(ensure_ascii=True)(_logger, _method, told)
        return hide(text if isinstance(text, str) else text.decode())

    return structlog.stdlib.ProcessorFormatter(
        foreign_pre_chain=first,
        processors=[structlog.stdlib.ProcessorFormatter.remove_processors_meta, structlog.processors.format_exc_info,
                    printed],
    )  # fmt: skip


def log_as_objects(hide: Callable[[str], str]) -> None:
    """Have everything that this process logs, requests too, come as one JSON object a line on standard error."""
    handler = logging.StreamHandler()
    handler.setFormatter(one_object_a_line(hide))
    root = logging.getLogger()
    root.handlers[:] = [handler]
    root.setLevel(logging.WARNING)
    _requests.setLevel(logging.INFO)
    for name in ("uvicorn", "uvicorn.error"):
        logging.getLogger(name).handlers.clear()
        logging.getLogger(name).propagate = True
