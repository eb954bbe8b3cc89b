"""A study run to its end, or as far as it goes: parts made here on threads or elsewhere, each kept once it is whole."""

import os
import threading
from collections.abc import Callable, Generator, Iterable
from concurrent.futures import FIRST_COMPLETED, Future, ThreadPoolExecutor, wait
from dataclasses import dataclass, field
from itertools import islice
from pathlib import Path
from typing import Protocol

from kinematics.room import Room

from .folder import Folder, Told, Written
from .parts import Part, make_part
from .plan import Plan

Tell = Callable[[int, int], None]
"""Is called with how many parts are finished, and of how many."""
Stop = Callable[[], bool]


Write = Callable[[Part], Written]
"""Writes a part down; may be called on several threads."""


class Makers(Protocol):
    """Whoever makes parts: each once, in any order, no more of them at a time than can be held."""

    def reach(self) -> None:
        """`Refused` where nobody would make any: asked before a folder is begun."""

    def make(
        self, plan: Plan, parts: Iterable[int], write: Write, stop: Stop
    ) -> Generator[Written, None, None]:
        """The parts as they are written; once `stop` says so, those under way and no more."""


@dataclass(frozen=True, slots=True)
class Outcome:
    """What there is: finished parts by number, of `parts` in all. `kept`: how many were there before."""

    parts: int
    finished: dict[int, Told] = field(default_factory=dict)
    kept: int = 0

    @property
    def done(self) -> bool:
        """Whether nothing is missing."""
        return len(self.finished) == self.parts

    def counts(self, of: str) -> dict[str, int]:
        """How many "variants" or "evaluations" had which status, in the finished parts."""
        summed: dict[str, int] = {}
        for told in self.finished.values():
            for status, count in getattr(told, of).items():
                summed[status] = summed.get(status, 0) + count
        return dict(sorted(summed.items(), key=lambda item: -item[1]))


class Threads:
    """Makers on threads of this process: the formulas are compiled and hold no lock of the interpreter."""

    def __init__(self, count: int | None = None) -> None:
        self.count = count or os.cpu_count() or 1

    def reach(self) -> None:
        """Always there."""

    def make(
        self, plan: Plan, parts: Iterable[int], write: Write, stop: Stop
    ) -> Generator[Written, None, None]:
        """As `Makers` has it; each thread writes down what it has made, while one more takes its place, so that no core
        stands still for the disk."""

        own = threading.local()
        cores = threading.Semaphore(self.count)

        def work(number: int) -> Written | None:
            if stop():
                return None
            with cores:
                part = make_part(plan, number, own.room)
            return write(part)

        def begin() -> None:
            own.room = Room()

        with ThreadPoolExecutor(self.count + 1, thread_name_prefix="study", initializer=begin) as pool:
            todo = iter(parts)
            under_way: set[Future[Written | None]] = set()
            try:
                while True:
                    for number in islice(todo, 0 if stop() else 2 * self.count - len(under_way)):
                        under_way.add(pool.submit(work, number))
                    if not under_way:
                        return
                    ready, under_way = wait(under_way, return_when=FIRST_COMPLETED)
                    for each in sorted(ready, key=lambda one: one.exception() is not None):
                        written = each.result()
                        if written is not None:
                            yield written
            finally:
                for each in under_way:
                    each.cancel()


def run(
    plan: Plan, path: Path, makers: Makers, *, resume: bool = False, tell: Tell = lambda _done, _of: None,
    stop: Stop = lambda: False,
) -> Outcome:  # fmt: skip
    """Run a study in its folder, `resume`d where it was begun. Returns early where `stop` says so or somebody asked in
    the folder. Raises `Refused` as `Folder` and the makers do; whatever was finished stays and need not be made again."""
    makers.reach()
    folder = Folder(path)
    finished = folder.begin(plan, resume=resume)
    kept = len(finished)
    tell(kept, plan.parts)
    missing = (number for number in range(plan.parts) if number not in finished)
    making = makers.make(plan, list(missing), folder.write, lambda: stop() or folder.asked_to_stop)
    # A disk takes long to say that it has something: it is asked on a thread of its own while parts are made.
    with ThreadPoolExecutor(1, thread_name_prefix="settle") as disk:
        settled = disk.submit(folder.settle)
        try:
            for written in making:
                finished[written.told.part] = folder.keep(written)
                tell(len(finished), plan.parts)
                if settled.done():
                    settled.result()
                    settled = disk.submit(folder.settle)
        finally:
            making.close()  # nobody writes here any more once this is left
            settled.result()
            folder.settle()
    return Outcome(plan.parts, dict(sorted(finished.items())), kept)
