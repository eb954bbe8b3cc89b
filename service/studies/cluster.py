"""The one file that knows Dask: parts made by the workers of an existing cluster, brought here and kept here.

A worker gets the study's text and the texts of its profiles, and sends back a part's bytes; it needs this release, with
the same numpy, scipy and numba, and no shared disk. What a lost worker had under way the scheduler gives to another.
"""

import time
from collections.abc import Callable, Generator, Iterable, Iterator
from functools import lru_cache
from typing import Any, TypeVar

from kinematics.errors import Fault, Refused
from kinematics.room import Room
from machine_profiles import Profile, parse_profile

from .folder import Written
from .parts import Part, make_part
from .plan import NUMBERS_BY, Plan, release
from .runner import Stop, Write
from .study_file import read_study

_ANSWER_WITHIN_S = 10.0
_LOOKED_EVERY_S = 1.0
_BACK_WITHIN_S = 60.0  # a cluster may be changing its workers
Found = TypeVar("Found")
_AHEAD = 2  # parts a worker has in hand: one it makes, one that waits


@lru_cache(maxsize=4)
def _plan(text: str, machine: str, attachment: str) -> Plan:
    sources = {"machine": machine, "attachment": attachment}

    def look(kind: str, _name: str) -> Profile:
        return parse_profile(sources[kind])

    return read_study(text, "study.toml", look)


def _made(
    texts: tuple[str, str, str], number: int
) -> tuple[str, int, bytes, int, dict[str, int], dict[str, int]]:
    """A part, on a worker, after the identity that its study has there; plain values, which any worker can send."""
    plan = _plan(*texts)
    part = make_part(plan, number, Room())
    return (
        plan.identity, part.number, bytes(part.content), part.rows, dict(part.variants), dict(part.evaluations)
    )  # fmt: skip


def _release() -> str:
    return ", ".join(f"{name} {release(name)}" for name in NUMBERS_BY)


def _other_release(told: str) -> Refused:
    return Refused([Fault("other-release", "TIPDATUM_DASK", told, f"{_release()} on every worker",
                          "install these releases there: others may draw another design")])  # fmt: skip


class Cluster:
    """Makers on a Dask cluster, by the address of its scheduler ("tcp://10.0.0.5:8786")."""

    def __init__(self, address: str) -> None:
        self._address = address

    def reach(self) -> None:
        """As `runner.Makers` has it. `Refused`: "no-dask" where the extra is not installed, "no-cluster" where nobody
        answers or there is no worker, "other-release" where a worker has another one."""
        _, client = self._client()
        with client:
            self._alike(client)

    def make(
        self, plan: Plan, parts: Iterable[int], write: Write, stop: Stop
    ) -> Generator[Written, None, None]:
        """As `runner.Makers` has it. `Refused`: as `reach`, "cluster-lost"."""
        distributed, client = self._client()
        with client:
            self._alike(client)
            for part in self._made(distributed, client, plan, iter(parts), stop):
                yield write(part)

    def _client(self) -> tuple[Any, Any]:
        try:
            import distributed  # noqa: PLC0415 - an extra that need not be installed
        except ImportError as missing:
            raise Refused([Fault("no-dask", "TIPDATUM_DASK", str(missing), "the extra `cluster`",
                                 "pip install 'tipdatum[cluster]', or unset TIPDATUM_DASK")]) from None  # fmt: skip
        try:
            return distributed, distributed.Client(  # type: ignore[no-untyped-call]
                self._address, timeout=_ANSWER_WITHIN_S, set_as_default=False
            )
        except (OSError, TimeoutError, ValueError) as error:
            raise self._missing(str(error) or type(error).__name__) from None

    def _alike(self, client: Any) -> None:
        releases = client.run(_release, on_error="return")
        if not releases:
            raise self._missing("a scheduler without workers")
        for worker, found in releases.items():
            if found != _release():
                raise _other_release(f"{found} on the worker {worker}")

    def _made(
        self, distributed: Any, client: Any, plan: Plan, todo: Iterator[int], stop: Stop
    ) -> Iterator[Part]:
        texts = (plan.text, plan.machine.source_text, plan.attachment.source_text)
        most = _AHEAD * sum(client.nthreads().values())
        under_way: set[Any] = set()
        try:
            while True:
                while len(under_way) < most and not stop():
                    number = next(todo, None)
                    if number is None:
                        break
                    under_way.add(client.submit(_made, texts, number, pure=False, retries=_AHEAD))
                if not under_way:
                    return
                for each in self._ready(distributed, client, under_way, stop):
                    under_way.discard(each)
                    yield self._part(distributed, client, each, plan, stop)
        except (OSError, TimeoutError) as error:
            raise self._lost(error) from None

    def _ready(self, distributed: Any, client: Any, under_way: set[Any], stop: Stop) -> list[Any]:
        """Those of what is under way that are made; waits for one."""

        def look(within_s: float) -> list[Any]:
            with client.as_current():
                found = distributed.wait(list(under_way), timeout=within_s, return_when="FIRST_COMPLETED")
            return list(found.done)

        return self._patiently(client, stop, look)

    def _part(self, distributed: Any, client: Any, future: Any, plan: Plan, stop: Stop) -> Part:
        """A part that is made. With its worker gone it is made again, where there is one that can."""
        try:
            identity, number, content, rows, variants, evaluations = self._patiently(
                client, stop, lambda within_s: future.result(timeout=within_s)
            )
        except (distributed.KilledWorker, distributed.client.FutureCancelledError) as error:
            raise self._lost(error) from None
        future.release()
        if identity != plan.identity:
            raise _other_release("another on a worker that came later")
        return Part(number, memoryview(content), rows, variants, evaluations)

    def _patiently(self, client: Any, stop: Stop, look: Callable[[float], Found]) -> Found:
        """What `look(seconds)` finds, asked again while it raises TimeoutError. "cluster-lost" where there is no worker
        any more, none within a while or, once it is to stop, none at all: nothing would ever come."""
        since: float | None = None
        while True:
            try:
                return look(_LOOKED_EVERY_S)
            except TimeoutError:
                if client.nthreads():
                    since = None
                    continue
            since = time.monotonic() if since is None else since
            if stop() or time.monotonic() - since > _BACK_WITHIN_S:
                raise self._lost("no worker any more")

    def _lost(self, found: object) -> Refused:
        return Refused([Fault("cluster-lost", "TIPDATUM_DASK", f"{self._address}: {found}", "a cluster that stays",
                              "go on with --resume: finished parts are kept")])  # fmt: skip

    def _missing(self, found: str) -> Refused:
        return Refused([Fault("no-cluster", "TIPDATUM_DASK", f"{self._address}: {found}", "a Dask scheduler with workers",
                              "start one, or unset TIPDATUM_DASK to use this machine")])  # fmt: skip
