"""A dig played against a running service: its sensors feed the readings door, its steps go on the job's record."""

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from heapq import merge
from typing import Any

import httpx

from kinematics.errors import Fault, Refused
from service.bus.any_feeder import AnyFeeder, Say
from service.bus.pacing import Act, Pacer, pour
from service.bus.reading import Reading

from .course import Course, Mark
from .dig import Dig
from .frames_out import CanOut
from .motion import plan
from .recording import Recorder
from .signals import signals


@dataclass(frozen=True, slots=True)
class Played:
    """What came of it. `pacer` says which second of the course a time of the world was; `refused`: steps not recorded."""

    course: Course
    pacer: Pacer
    refused: tuple[Fault, ...]
    recorded: int


@dataclass(frozen=True, slots=True)
class _Recording:
    at_s: float
    mark: Mark
    record: Callable[[Mark], None]

    def do(self) -> None:
        self.record(self.mark)


def play(
    dig: Dig, client: httpx.Client, feeder: AnyFeeder, job: str, say: Say, *, seed: int | None = None,
    speed: float = 1.0, bus: CanOut | None = None, course: Course | None = None,
    begun: Callable[[], None] = lambda: None, besides: Iterable[Act] = (),
) -> Played:  # fmt: skip
    """The whole dig, `speed` of its seconds in each of the world, through an HTTP client and a feeder to the same job.

    `course`: its own, where it was planned already. `begun` is called once the job has all that it needs. `besides`: acts
    of others, in order of time. Beyond speed 1 every movement is as much faster to the service too: strikes are turned
    down, touches are less still.
    Raises `Refused`: as `motion.plan` and `feeder`, what the service did not take at the beginning, and "other-machine"
    where the job's sensors are not those of the dig.
    """
    course = plan(dig) if course is None else course
    recorder = Recorder(dig, job, client, say)
    recorder.begin()
    begun()
    feeder.ready()
    _same_machine(dig, feeder)
    pacer = Pacer(0.0, speed, feeder.clock)
    acts = (_Recording(mark.at_s, mark, recorder.mark) for mark in course.marks)
    said = signals(dig, course, dig.document.seed if seed is None else seed)
    pour(
        announced(_in_turn(said, merge(acts, besides, key=lambda act: act.at_s)), course, dig, say),
        pacer,
        feeder,
        bus,
    )
    return Played(course, pacer, tuple(recorder.refused), recorder.recorded)


def _in_turn(said: Iterable[Reading], acts: Iterable[Act]) -> Iterator[Reading | Act]:
    """Readings first, where both are due at once."""
    return merge(said, acts, key=lambda item: item.t_s if isinstance(item, Reading) else item.at_s)


def announced(items: Iterable[Reading | Act], course: Course, dig: Dig, say: Say) -> Iterator[Reading | Act]:
    """Say each step as it begins."""
    begins = iter([(leg.start_s, leg.step) for leg in course.legs])
    start, step = next(begins)
    last = 0
    for item in items:
        t = item.t_s if isinstance(item, Reading) else item.at_s
        while start <= t:
            if step != last:
                say(f"{start:7.1f} s  step {step}: {dig.document.steps[step - 1].do}")
                last = step
            start, step = next(begins, (float("inf"), step))
        yield item


def _same_machine(dig: Dig, feeder: AnyFeeder) -> None:
    want = (dig.machine.id, dig.attachment.id, sorted(dig.sensors.all))
    if feeder.welcomed_as(lambda welcome: _on_job(welcome) == want):
        return
    machine, attachment, sensors = _on_job(feeder.welcome)
    raise Refused([
        Fault("other-machine", "--job", f"{machine} with {attachment}, sensors {', '.join(sensors) or 'none'}",
              f"{want[0]} with {want[1]}, sensors {', '.join(want[2])}",
              "simulate the machine that stands on the job, or take another job")
    ])  # fmt: skip


def _on_job(welcome: Mapping[str, Any]) -> tuple[str | None, str | None, list[str]]:
    """Machine, attachment and sensors that a job expects readings of."""
    machine, attachment = ((welcome.get(kind) or {}).get("id") for kind in ("machine", "attachment"))
    return machine, attachment, sorted(welcome.get("sensors", {}))
