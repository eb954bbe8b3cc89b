"""The health of a job's sensors: what arrives, how regularly, how noisily, and what was refused."""

import math
from collections.abc import Iterable

from fastapi import APIRouter
from pydantic import Field

from kinematics.errors import Fault, Refused
from kinematics.sensing import angles_from
from kinematics.sensor_health import Health
from service.live.channel import ONE_KIND_S, Channel
from service.live.feed import Feed
from service.live.hub import Hub
from service.strict import Strict

from .answers import Reference, reference
from .jobs import JobId
from .live import HubDep, feed_of
from .seconds import FleetDep

router = APIRouter(prefix="/v1/jobs/{job}", tags=["live"])


class SensorOut(Strict):
    """How one sensor fares."""

    name: str
    place: str = Field(description="What it sits on.")
    measures: str
    check: bool = Field(description="It gives nothing and is held against another.")
    unit: str = Field(description="Of its readings: deg or mm.")
    quiet: bool = Field(description="No reading young enough.")
    age_s: float | None = Field(description="Of the last good reading, the sensor's latency included.")
    age_limit_s: float = Field(description="The sensor's own or the job's, whichever is less.")
    last: float | list[float] | None = Field(
        description="The last good reading, in `unit`; two of a pitch-roll."
    )
    rate_hz: float | None = Field(description="Over the last seconds.")
    jitter_ms: float | None = Field(
        description="Standard deviation of the time from one reading to the next."
    )
    noise: float | None = Field(
        description="Standard deviation of one reading over the last seconds, in `unit`."
    )
    noise_in_profile: float = Field(description="As the profile says, in `unit`.")
    taken: int = Field(description="Readings taken since the service began.")
    refused: dict[str, int] = Field(description="Readings refused, by reason.")
    words: str = Field(description="The last error that was reported of it.")
    fused: bool = Field(description="Raw frames of accelerometer and gyro came of it within the last 2 s.")
    gyro_bias_deg_s: list[float] | None = Field(
        description="Its gyro at rest, by the case's x, y, z; null without raw frames or before the first rest."
    )


class HealthOut(Strict):
    """What arrives of a job's machine."""

    job: str
    machine: Reference | None
    attachment: Reference | None
    feeders: int = Field(description="Connections that feed readings now.")
    viewers: int = Field(description="Connections that watch now.")
    sensors: list[SensorOut]
    receiver_taken: int = Field(description="Readings of the receiver.")
    receiver_refused: dict[str, int]
    strikes: dict[str, int] = Field(
        description="Passes of the receiver, by verdict: taken, turned down, no attempt."
    )
    refused: dict[str, int] = Field(
        description="All that was refused on this job, by reason; slowed: a flood."
    )
    no_sensors_because: list[str]
    angles_deg: dict[str, float] | None = Field(
        description="Joints, pitch and roll by the last good readings; null while one is too old or they give none."
    )
    no_angles_because: list[str] = Field(description="Why there are none, in words.")


@router.get("/sensors", summary="How each sensor fares")
async def health(job: JobId, hub: HubDep, fleet: FleetDep) -> HealthOut:
    """Rate, jitter, age, noise, what was refused and the last good reading of every sensor.

    curl -s localhost:8311/v1/jobs/pump-house/sensors
    """
    feed = await feed_of(hub, job)
    told = None if fleet is None else await fleet.health(job)
    if told is None:
        return health_of(hub, feed)
    keeper, document = told
    if document is not None:
        return HealthOut.model_validate(document)
    found = health_of(hub, feed)
    silent = f"the service {keeper}, which keeps this job's readings, did not answer"
    return found.model_copy(update={"no_angles_because": [*found.no_angles_because, silent]})


def health_of(hub: Hub, feed: Feed) -> HealthOut:
    """How a job's sensors fare as this service sees them."""
    now = hub.now()
    fares = {} if feed.track is None else feed.track.copy(feed.reach(now)).health()
    angles, why = _angles(feed, now)
    return HealthOut(
        job=feed.job, machine=reference(feed.state.machine), attachment=reference(feed.state.attachment),
        feeders=len(feed.links), viewers=feed.viewers,
        sensors=[_sensor(feed, each, fares.get(each.name), now) for each in feed.channels.values()],
        receiver_taken=feed.receiver.taken, strikes=dict(feed.receiver.verdicts),
        receiver_refused=dict(feed.receiver.counts), refused=dict(feed.counts),
        no_sensors_because=[str(each) for each in feed.why], angles_deg=angles,
        no_angles_because=[str(each) for each in why],
    )  # fmt: skip


def _angles(feed: Feed, now: float) -> tuple[dict[str, float] | None, Iterable[Fault]]:
    """What the readings make of the arm now, or None with the reasons."""
    if feed.sensors is None:
        return None, feed.why
    if not feed.fresh(now):
        return None, feed.silent(now)
    try:
        said = {
            name: each.value for name, each in feed.channels.items() if each.value is not None
        }  # all are fresh
        found = angles_from(feed.sensors, said)
    except Refused as refused:
        return None, refused.faults
    return {name: math.degrees(angle) for name, angle in found.items()}, ()


def _sensor(feed: Feed, channel: Channel, fares: Health | None, now: float) -> SensorOut:
    sensor, per = channel.sensor, channel.per
    zero = None if channel.fused is None else channel.fused.zero
    age = now - channel.born
    known = math.isfinite(age)
    rate, jitter, noise = (None,) * 3 if fares is None else (fares.rate_hz, fares.jitter_s, fares.noise)
    return SensorOut(
        name=channel.name, place=sensor.place, measures=sensor.measures.value,
        check=feed.sensors is not None and channel.name in feed.sensors.checks, unit=channel.unit,
        quiet=not age <= channel.limit_s, age_s=age if known else None, age_limit_s=channel.limit_s,
        last=channel.told(), rate_hz=rate, jitter_ms=None if jitter is None else 1e3 * jitter,
        noise=None if noise is None else noise * per, noise_in_profile=sensor.noise * per, taken=channel.taken,
        refused=dict(channel.counts), words=channel.words, fused=now - channel.raw_at < ONE_KIND_S,
        gyro_bias_deg_s=None if zero is None else [math.degrees(each) for each in zero],
    )  # fmt: skip
