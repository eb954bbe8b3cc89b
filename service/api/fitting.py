"""Fitting sensors: which moves to make, what every sensor says at rest, and what the moves show."""

import asyncio
import math
from collections.abc import Iterator, Mapping
from functools import partial
from typing import Annotated, Literal, Self

from fastapi import APIRouter, Request
from fastapi.concurrency import run_in_threadpool
from pydantic import ConfigDict, Field, model_validator

from kinematics.errors import Fault, Refused, refuse
from kinematics.fitting import Finding, Move, Moved, Verdict, judge, moves_for
from kinematics.fitting_moves import WAYS
from kinematics.sensing import Told
from kinematics.sensor import Measure
from kinematics.sensor_set import SensorSet
from service.live.feed import Feed
from service.live.posture import posture
from service.live.reading import in_unit
from service.strict import Strict, example

from .answers import ADVISORY, Reference, reference
from .jobs import JobId
from .live import HubDep, feed_of
from .seconds import SecondsDep

router = APIRouter(prefix="/v1/jobs/{job}/fitting", tags=["fitting"])
MOST_MOVES = 24
"""There and back of every joint a machine may have, and some again."""
_FAR = 1e7
_UNITS = {"deg": math.radians(1.0), "rad": 1.0, "mm": 1e-3, "m": 1.0}
_OF_ANGLES, _OF_LENGTHS = ("deg", "rad"), ("mm", "m")
Number = Annotated[float, Field(ge=-_FAR, le=_FAR)]


class Said(Strict):
    """What one sensor says, in one unit; two numbers of a pitch-roll."""

    model_config = ConfigDict(json_schema_extra=example({"deg": 31.02}))
    deg: Number | Annotated[list[Number], Field(min_length=2, max_length=2)] | None = Field(
        None, description="An angle, or pitch and roll, in degrees.", examples=[31.02]
    )
    rad: Number | Annotated[list[Number], Field(min_length=2, max_length=2)] | None = Field(
        None, description="The same in rad.", examples=[0.5414]
    )
    mm: Number | None = Field(None, description="A length in mm.", examples=[1437.0])
    m: Number | None = Field(None, description="A length in m.", examples=[1.437])

    @model_validator(mode="after")
    def _one(self) -> Self:
        if len([unit for unit in _UNITS if getattr(self, unit) is not None]) != 1:
            raise ValueError("one unit: deg or rad, of a length mm or m")
        return self

    @property
    def unit(self) -> str:
        """The one that was given."""
        return next(unit for unit in _UNITS if getattr(self, unit) is not None)

    def told(self) -> Told:
        """In rad or m."""
        value, per = getattr(self, self.unit), _UNITS[self.unit]
        return (value[0] * per, value[1] * per) if isinstance(value, list) else value * per


SensorName = Annotated[str, Field(max_length=40)]
Posture = Annotated[dict[SensorName, Said], Field(max_length=64)]
What = Literal["swing_boom", "boom", "fore_boom", "stick", "bucket", "tilt", "rotate", "quarter", "nose"]


class MadeIn(Strict):
    """One move that was made, with what every sensor said at rest before and after it."""

    move: What = Field(description="The joint that was moved; quarter: the swing; nose: the whole machine.")
    way: Literal["up", "down"] = Field(description="Which of the two ways of /fitting/moves was made.")
    before: Posture = Field(description="What every sensor said before it, by name.")
    after: Posture = Field(description="And after it.")


_EXAMPLE = {"moves": [{
    "move": "boom", "way": "up",
    "before": {"body": {"deg": [-0.9, -0.6]}, "boom": {"deg": 13.8}, "stick": {"deg": 80.8}, "idler": {"deg": 5.37}},
    "after": {"body": {"deg": [-0.9, -0.6]}, "boom": {"deg": 28.8}, "stick": {"deg": 65.8}, "idler": {"deg": 20.37}},
}]}  # fmt: skip


class VerdictIn(Strict):
    """The moves, in the order in which they were made."""

    model_config = ConfigDict(json_schema_extra=example(_EXAMPLE))
    moves: list[MadeIn] = Field(
        min_length=1,
        max_length=MOST_MOVES,
        description="One joint each; best there and back, a quarter turn among them.",
    )
    body_zeroed: bool = Field(
        default=False,
        description="Whether the body's zero was set, by half a turn or on the ring: the quarter turn then tells more.",
    )


class MoveOut(Strict):
    """A move to make, there and back."""

    move: str
    up: str = Field(description="In words, the way in which the joint's angle grows.")
    down: str
    least_deg: float = Field(description="How far at least.")
    changes: dict[str, list[str]] = Field(
        description="Each sensor that should change, and how its numbers go on the way up: grows, falls, still, either."
    )


class MovesOut(Strict):
    """The moves that test a machine's sensors, in the order to make them."""

    job: str
    machine: Reference | None
    attachment: Reference | None
    moves: list[MoveOut]
    caution: str


class PostureOut(Strict):
    """What every sensor says while the arm rests."""

    job: str
    machine: Reference | None
    attachment: Reference | None
    said: dict[str, dict[str, float | list[float]]] = Field(
        description="The median of the last second, as the sensor says it: sign and mounting not taken off."
    )
    counts: dict[str, int] = Field(description="How many readings that is of.")
    spreads: dict[str, float] = Field(description="Their standard deviation, in the unit of `said`.")


class FindingOut(Strict):
    """One thing that the moves showed."""

    code: str
    sensors: list[str] = Field(
        description="Of swapped: a name, then the sensor that arrives under it, and so on."
    )
    moves: list[int] = Field(description="Which of the moves, from 0.")
    found: str
    expected: str
    advice: str
    detail: str
    choices: list["FindingOut"] = Field(description="Of cannot-tell: what fits equally well.")


class DoubtOut(Strict):
    """What the moves could not show."""

    finding: FindingOut
    essential: bool = Field(description="It keeps the verdict from being good.")


class VerdictOut(Strict):
    """What the moves showed."""

    good: bool = Field(
        description="Every sensor was seen to be the one it is called, its sign and unit right."
    )
    sensors: dict[str, str] = Field(description="good, faulty, cannot-tell or untested, of each sensor.")
    findings: list[FindingOut]
    turned_deg: list[float | None] = Field(description="How far the joint turned in each move.")
    untested: list[DoubtOut]
    next_move: str | None = Field(description="The move that would tell most; null: no further one would.")
    words: list[str] = Field(description="The same in sentences, for people.")
    caution: str


@router.get("/moves", summary="The moves that test the sensors")
async def moves(job: JobId, hub: HubDep) -> MovesOut:
    """Which joint to move, one at a time, and what each sensor should then do. Refused without sensors on the job.

    curl -s localhost:8311/v1/jobs/pump-house/fitting/moves
    """
    feed = await feed_of(hub, job)
    sensors = sensors_of(feed)
    found = await run_in_threadpool(moves_for, sensors)
    return MovesOut(
        job=job, machine=reference(feed.state.machine), attachment=reference(feed.state.attachment),
        moves=[_move_out(each) for each in found], caution=ADVISORY,
    )  # fmt: skip


@router.get("/posture", summary="What every sensor says at rest")
async def read_posture(job: JobId, seconds: SecondsDep) -> PostureOut:
    """The median of the last second of every sensor, beyond its range too; refused while one moves or says nothing.

    Send what it says as `before` and `after` of a move.
    """
    feed, now = await seconds(job)
    sensors = sensors_of(feed)
    # The readings lie in memory and change on this loop; a median of some thousands takes less than a millisecond.
    try:
        rested = posture(feed, now)
    except Refused as refused:  # a GET has no body to point into: the sensor is named in words
        raise Refused(
            Fault(
                f.code,
                f.where,
                f"{f.where}: {f.found}" if f.where else f.found,
                f.expected,
                f.advice,
                f.numbers,
            )
            for f in refused.faults
        ) from None
    per = {name: 1e3 if sensors.all[name].unit == "m" else math.degrees(1.0) for name in rested.readings}
    return PostureOut(
        job=job, machine=reference(feed.state.machine), attachment=reference(feed.state.attachment),
        said={name: in_unit(sensors, name, value) for name, value in rested.readings.items()},
        counts=rested.counts, spreads={name: each * per[name] for name, each in rested.spreads.items()},
    )  # fmt: skip


@router.post("/verdicts", summary="What the moves show of the sensors")
async def verdict(job: JobId, asked: VerdictIn, hub: HubDep, request: Request) -> VerdictOut:
    """Swapped sensors, wrong signs, units and conventions, from moves made one joint at a time. Nothing is recorded."""
    feed = await feed_of(hub, job)
    sensors = sensors_of(feed)
    faults: list[Fault] = []
    made = [
        Moved(
            each.move, each.way == "up",
            raw_of(sensors, f"moves.{i}.before", each.before, faults),
            raw_of(sensors, f"moves.{i}.after", each.after, faults),
        )
        for i, each in enumerate(asked.moves)
    ]  # fmt: skip
    refuse(faults)
    # One at a time: some seconds of arithmetic must not come four abreast in the way of live readouts.
    async with _one_at_a_time(request):
        return verdict_out(
            await run_in_threadpool(partial(judge, body_zeroed=asked.body_zeroed), sensors, made)
        )


def _one_at_a_time(request: Request) -> asyncio.Lock:
    lock: asyncio.Lock = request.app.state.judging
    return lock


def sensors_of(feed: Feed) -> SensorSet:
    """The sensors on the job. Raises `Refused` with why there are none."""
    if feed.sensors is None:
        raise Refused(feed.why)
    return feed.sensors


def raw_of(sensors: SensorSet, where: str, said: Mapping[str, Said], faults: list[Fault]) -> dict[str, Told]:
    """What sensors say in rad or m; "wrong-units" for a length of an angle's sensor and the reverse, "not-a-number" for a
    pair of a sensor of one number and the reverse."""
    found = {}
    for name, each in said.items():
        sensor = sensors.all.get(name)
        wanted = _OF_LENGTHS if sensor is not None and sensor.unit == "m" else _OF_ANGLES
        if sensor is not None and each.unit not in wanted:
            faults.append(Fault("wrong-units", f"{where}.{name}", each.unit, " or ".join(wanted)))
        elif sensor is not None and isinstance(each.told(), tuple) != (sensor.measures == Measure.PITCH_ROLL):
            expected = "one number" if isinstance(each.told(), tuple) else "two numbers: pitch, roll"
            faults.append(Fault("not-a-number", f"{where}.{name}", f"{getattr(each, each.unit)!r}", expected))
        found[name] = each.told()
    return found


_GOES = {1: "grows", -1: "falls", 0: "still", None: "either"}


def _move_out(move: Move) -> MoveOut:
    return MoveOut(
        move=move.what, up=move.up, down=move.down, least_deg=math.degrees(move.least),
        changes={name: [_GOES[way] for way in ways] for name, ways in move.changes.items()},
    )  # fmt: skip


def finding_out(finding: Finding) -> FindingOut:
    """A finding as it is answered."""
    return FindingOut(
        code=finding.code, sensors=list(finding.sensors), moves=list(finding.moves), found=finding.found,
        expected=finding.expected, advice=finding.advice, detail=finding.detail,
        choices=[finding_out(each) for each in finding.choices],
    )  # fmt: skip


def verdict_out(verdict: Verdict) -> VerdictOut:
    """A verdict as it is answered."""
    return VerdictOut(
        good=verdict.good, sensors=dict(verdict.status), findings=[finding_out(each) for each in verdict.findings],
        turned_deg=[None if turned is None else math.degrees(turned) for turned in verdict.turned],
        untested=[DoubtOut(finding=finding_out(each.finding), essential=each.essential) for each in verdict.untested],
        next_move=verdict.next_move, words=list(_words(verdict)), caution=ADVISORY,
    )  # fmt: skip


def _words(verdict: Verdict) -> Iterator[str]:
    if verdict.good:
        yield "Every sensor moved as the one it is called, its sign and unit right."
    for finding in verdict.findings:
        yield str(finding)
        yield from (f"either {choice}" for choice in finding.choices)
    for doubt in verdict.untested:
        yield f"Not shown by these moves: that it is not {doubt.finding.code}, {', '.join(doubt.finding.sensors)}"
    if verdict.next_move is not None:
        up, down = WAYS[verdict.next_move]
        yield f"What would tell most: {up}, or {down}."
