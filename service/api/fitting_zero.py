"""One sensor's zero from a level, a plumb line, half a turn of the swing or a tape, and the profile's text with it."""

import math
from collections.abc import Mapping, Sequence
from typing import Annotated, Any, Literal

from fastapi import APIRouter
from fastapi.concurrency import run_in_threadpool
from pydantic import ConfigDict, Field

from kinematics.errors import Fault, Refused, refuse
from kinematics.mounting import (
    Zeroed,
    with_zero,
    zero_by_half_turn,
    zero_by_line,
    zero_of_body,
    zero_of_encoder,
    zero_of_tilt,
    zero_of_wire,
)
from kinematics.mounting_lines import Level, PlumbLine, tilt_of_edge
from kinematics.sensing import Told
from kinematics.sensing_solve import solve
from kinematics.sensor import Measure, Mounting, Sensor
from kinematics.sensor_set import LEAN, SensorSet
from machine_profiles import Profile, parse_profile
from machine_profiles.remounted import remounted
from service.book.profiles import Profiles
from service.book.requests import Attitude
from service.book.state import JobState
from service.live.posture import posture
from service.strict import Strict, example

from .answers import ADVISORY
from .door import ProfilesDep
from .fitting import Posture, SensorName, raw_of, sensors_of
from .jobs import JobId
from .live import HubDep, feed_of
from .seconds import SecondsDep

router = APIRouter(prefix="/v1/jobs/{job}/fitting", tags=["fitting"])
_STEP_RAD = math.radians(0.02)
Degrees = Annotated[float, Field(ge=-360, le=360)]
UncertaintyDeg = Annotated[
    float, Field(ge=0, le=10, description="Standard uncertainty of what was measured, in degrees.", examples=[0.1])
]  # fmt: skip
_EDGE = (
    "Of a bucket: the line from bucket pin to the cutting edge's centre, in place of that of its two pins."
)


class ByLevel(Strict):
    """A level laid along the link's pin line, inner pin to outer pin."""

    by: Literal["level"] = Field(description="Of a link with two pins.")
    inclination_deg: Annotated[float, Field(ge=-90, le=90)] = Field(
        description="0 level, positive with the outer end higher."
    )
    ahead: bool = Field(description="Whether the outer end points away from the machine.")
    to_edge: bool = Field(default=False, description=_EDGE)
    uncertainty_deg: UncertaintyDeg


class ByPlumbLine(Strict):
    """A plumb line that passes through both pins, seen square to the arm."""

    by: Literal["plumb-line"] = Field(description="The same near the vertical.")
    below: bool = Field(description="Whether the outer pin hangs below the inner one.")
    to_edge: bool = Field(default=False, description=_EDGE)
    uncertainty_deg: UncertaintyDeg


class ByLean(Strict):
    """The body's lean as measured on the slewing ring."""

    by: Literal["lean"] = Field(description="Of a sensor of the body.")
    pitch_deg: Degrees = Field(description="Nose up positive.")
    roll_deg: Degrees = Field(description="Left side up positive.")
    uncertainty_deg: UncertaintyDeg


class ByHalfTurn(Strict):
    """What the body's sensors said before and after half a turn of the swing, arm held still: no level needed."""

    by: Literal["half-turn"] = Field(description="Of all sensors of the body.")
    before: Posture = Field(description="What its sensors said before the swing, by name.")
    after: Posture = Field(description="And after it.")
    uncertainty_deg: UncertaintyDeg


class ByEdge(Strict):
    """The cutting edge under a level, corner to corner: of a sensor beyond the tilt axis."""

    by: Literal["edge"] = Field(description="Of a sensor beyond the tilt axis.")
    inclination_deg: Annotated[float, Field(ge=-90, le=90)] = Field(
        description="0 level, positive with the bucket's left corner higher."
    )
    uncertainty_deg: UncertaintyDeg


class ByJoint(Strict):
    """The true angle of an encoder's joint, of an idler in the stick's frame."""

    by: Literal["joint"] = Field(description="Of an encoder.")
    angle_deg: Degrees = Field(description="As the joint's angle is counted.")
    uncertainty_deg: UncertaintyDeg


class ByTape(Strict):
    """A cylinder's length, pin to pin, by tape: of a draw-wire."""

    by: Literal["tape"] = Field(description="Of a draw-wire.")
    length_mm: Annotated[float, Field(gt=0, le=20_000, description="Pin to pin.")]
    uncertainty_mm: Annotated[float, Field(ge=0, le=100, description="Standard uncertainty of the tape.")]


class ZeroIn(Strict):
    """One sensor and the check that was made of it."""

    model_config = ConfigDict(json_schema_extra=example(
        {"sensor": "boom", "check": {"by": "level", "inclination_deg": 0.4, "ahead": True, "uncertainty_deg": 0.1},
         "said": {"body": {"deg": [-0.3, -0.6]}, "boom": {"deg": 3.62}}}
    ))  # fmt: skip
    sensor: SensorName | None = Field(
        None, description="Which one; left out with half-turn, which sets all of the body's."
    )
    check: Annotated[
        ByLevel | ByPlumbLine | ByLean | ByHalfTurn | ByEdge | ByJoint | ByTape,
        Field(discriminator="by", description="What was measured, and how."),
    ]
    said: Posture | None = Field(
        None, description="What the sensors said meanwhile; left out: the median of the last still second."
    )
    lean_deg: Attitude | None = Field(
        None,
        description="The body's true lean; left out: as its own sensors say. With level and plumb-line.",
    )


class ZeroOut(Strict):
    """A sensor's zero before and after, in deg, of a draw-wire in mm."""

    sensor: str
    unit: Literal["deg", "mm"]
    before: dict[str, float]
    after: dict[str, float]
    uncertainty: float = Field(description="Standard, of the zero.")
    doubts: list[str]


class NewTextOut(Strict):
    """A profile's text with the new zeros in it, nothing else changed."""

    kind: Literal["machine", "attachment"]
    id: str
    toml: str


class ZerosOut(Strict):
    """The new zeros. Nothing is recorded: add the profile and record a setup anew."""

    job: str
    zeros: list[ZeroOut]
    profiles: list[NewTextOut]
    then: str
    caution: str


@router.post("/zeros", summary="One sensor's zero from a check")
async def zeros(
    job: JobId, asked: ZeroIn, hub: HubDep, seconds: SecondsDep, profiles: ProfilesDep
) -> ZerosOut:  # fmt: skip
    """The mounting of one sensor from what a level, plumb line or tape shows; all others stay as they are.

    curl -s localhost:8311/v1/jobs/pump-house/fitting/zeros -H 'content-type: application/json' -d '{"sensor": "boom",
    "check": {"by": "level", "inclination_deg": 0.4, "ahead": true, "uncertainty_deg": 0.1}}'
    """
    feed = await feed_of(hub, job)
    sensors = sensors_of(feed)
    half = isinstance(asked.check, ByHalfTurn)
    live = None
    if not half and asked.said is None:
        feed, now = await seconds(job)
        live = posture(feed, now).readings
    return await run_in_threadpool(_answer, job, asked, sensors, live, feed.state, profiles)


def _answer(
    job: str, asked: ZeroIn, sensors: SensorSet, live: Mapping[str, Told] | None, state: JobState, profiles: Profiles
) -> ZerosOut:  # fmt: skip
    found = _zeroed(sensors, asked, live)
    with_zero(sensors, *found.values())  # refused where no set can be made of them
    texts = []
    for kind, named in (("machine", state.machine), ("attachment", state.attachment)):
        if named is not None:
            profile = parse_profile(profiles.revision(kind, named.id, named.hash).source_text)
            if mine := [
                each for each in found.values() if each.name in (profile.document.get("sensors") or {})
            ]:
                texts.append(_text(profile, mine))
    return ZerosOut(
        job=job, zeros=[_out(sensors, each) for each in found.values()], profiles=texts, then=_THEN, caution=ADVISORY
    )  # fmt: skip


_THEN = (
    "Add the text as a new revision (POST /v1/machines or /v1/attachments, or tipdatum profile add), record a setup of "
    "the two anew, touch a benchmark, and check with a rod. A shipped profile first needs an id of your own."
)


def _zeroed(sensors: SensorSet, asked: ZeroIn, live: Mapping[str, Told] | None) -> dict[str, Zeroed]:
    check, faults = asked.check, list[Fault]()
    if isinstance(check, ByHalfTurn):
        if asked.sensor is not None or asked.said is not None or asked.lean_deg is not None:
            faults.append(
                Fault("half-described", "sensor", "sensor, said or lean_deg beside half-turn", "check alone")
            )
        sides = [raw_of(sensors, f"check.{s}", getattr(check, s), faults) for s in ("before", "after")]
        refuse(faults)
        return zero_by_half_turn(sensors, sides[0], sides[1], uncertainty=math.radians(check.uncertainty_deg))
    if asked.sensor is None:
        raise Refused([Fault("missing-field", "sensor", "none", "the name of a sensor")])
    said = (
        raw_of(sensors, "said", asked.said, faults)
        if live is None and asked.said is not None
        else dict(live or {})
    )
    refuse(faults)
    name = asked.sensor
    if name in sensors.all and name not in said:
        raise Refused([Fault("missing-reading", f"said.{name}", "none", "what this sensor says")])
    one = _one(sensors, name, said.get(name, 0.0), check, said, asked.lean_deg)
    return {name: one}


def _one(
    sensors: SensorSet, name: str, reading: Told, check: Any, said: Mapping[str, Told], lean: Attitude | None
) -> Zeroed:
    match check:
        case ByLevel():
            level = Level(math.radians(check.inclination_deg), _rad(check), check.ahead, check.to_edge)
            return _by_line(sensors, name, reading, level, said, lean)
        case ByPlumbLine():
            line = PlumbLine(check.below, _rad(check), check.to_edge)
            return _by_line(sensors, name, reading, line, said, lean)
        case ByLean():
            measured = math.radians(check.pitch_deg), math.radians(check.roll_deg)
            return zero_of_body(sensors, name, reading, lean=measured, uncertainty=_rad(check))
        case ByEdge():
            if lean is not None:
                raise Refused([Fault("half-described", "lean_deg", "a lean beside edge", "as the body's sensors say",
                                     "set the body's zero first, and leave lean_deg out")])  # fmt: skip
            inner = [joint for joint in sensors.assembly.ranges if joint != "tilt"]
            angles = _stance(sensors, said, [*LEAN, *inner])
            inclination = math.radians(check.inclination_deg)
            angles["tilt"] = tilt_of_edge(sensors.assembly, angles, inclination)
            # Where the axis stands steep a little of the edge is much of the tilt.
            low, high = (
                tilt_of_edge(sensors.assembly, angles, inclination + step) for step in (-_STEP_RAD, _STEP_RAD)
            )
            slope = abs(high - low) / (2.0 * _STEP_RAD)
            return zero_of_tilt(sensors, name, reading, angles=angles, uncertainty=slope * _rad(check))
        case ByJoint():
            value = _single(name, reading)
            return zero_of_encoder(
                sensors, name, value, angle=math.radians(check.angle_deg), uncertainty=_rad(check)
            )
        case _:
            value = _single(name, reading)
            return zero_of_wire(
                sensors, name, value, length=check.length_mm / 1e3, uncertainty=check.uncertainty_mm / 1e3
            )


def _rad(check: Any) -> float:
    return math.radians(check.uncertainty_deg)


def _single(name: str, reading: Told) -> float:
    if isinstance(reading, tuple):
        raise Refused(
            [Fault("not-a-number", f"said.{name}", "two numbers", "one, of an encoder or draw-wire")]
        )
    return reading


def _by_line(
    sensors: SensorSet, name: str, reading: Told, line: Level | PlumbLine, said: Mapping[str, Told], lean: Attitude | None
) -> Zeroed:  # fmt: skip
    post = ["swing_boom"] if "swing_boom" in sensors.assembly.ranges else []
    angles = _stance(sensors, said, [*(LEAN if lean is None else ()), *post])
    if lean is not None:
        angles |= {"pitch": math.radians(lean.pitch), "roll": math.radians(lean.roll)}
    return zero_by_line(
        sensors,
        name,
        reading,
        line,
        lean=(angles["pitch"], angles["roll"]),
        swing_boom=angles.get("swing_boom"),
    )


def _stance(sensors: SensorSet, said: Mapping[str, Told], wanted: Sequence[str]) -> dict[str, float]:
    """These angles, as the sensors give them."""
    needed = {sensors.by_joint[each][0] for each in wanted}
    refuse(
        Fault("missing-reading", f"said.{name}", "none", "what this sensor says, for the angles of the arm")
        for name in sorted(needed - said.keys())
    )
    faults: list[Fault] = []
    found = solve(
        sensors, {name: _numbers(said.get(name), sensor) for name, sensor in sensors.all.items()}, faults
    )
    if any(each not in found for each in wanted):
        raise Refused(fault.at("said") for fault in faults)
    return {each: found[each] for each in wanted}


def _numbers(told: Told | None, sensor: Sensor) -> tuple[float, ...]:
    """What a sensor says; of one whose angle nobody asks for anything."""
    if told is None:
        return (0.0, 0.0) if sensor.measures == Measure.PITCH_ROLL else (0.0,)
    return told if isinstance(told, tuple) else (told,)


def _text(profile: Profile, zeroed: list[Zeroed]) -> NewTextOut:
    for each in zeroed:
        profile = parse_profile(remounted(profile, each.name, each.sensor.mounting))
    return NewTextOut(kind=profile.kind, id=profile.id, toml=profile.source_text)


def _out(sensors: SensorSet, each: Zeroed) -> ZeroOut:
    wire = each.sensor.unit == "m"
    per = 1e3 if wire else math.degrees(1.0)

    def shown(mounting: Mounting | float) -> dict[str, float]:
        if isinstance(mounting, Mounting):
            return {key: getattr(mounting, key) * per for key in ("nose_up", "left_up", "to_left")}
        return {"reads_more": mounting * per}

    return ZeroOut(
        sensor=each.name, unit="mm" if wire else "deg", before=shown(sensors.all[each.name].mounting),
        after=shown(each.sensor.mounting), uncertainty=each.uncertainty * per,
        doubts=[str(doubt) for doubt in each.doubts],
    )  # fmt: skip
