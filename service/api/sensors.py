"""The health of a job's sensors: what arrives, how regularly, how noisily, and what was refused."""

import math

from fastapi import APIRouter
from pydantic import Field

from kinematics.sensor_health import Health
from service.live.channel import ONE_KIND_S, Channel
from service.live.feed import Feed
from service.strict import Strict

from .answers import Reference, reference
from .jobs import JobId
from .live import HubDep, feed_of

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


@router.get("/sensors", summary="How each sensor fares")
async def health(job: JobId, hub: HubDep) -> HealthOut:
    """Rate, jitter, age, noise, what was refused and the last good reading of every sensor.

    curl -s localhost:8311/v1/jobs/pump-house/sensors
    """
    feed = await feed_of(hub, job)
    now, fares = hub.now(), {} if feed.track is None else feed.track.health()
    return HealthOut(
        job=job, machine=reference(feed.state.machine), attachment=reference(feed.state.attachment),
        feeders=len(feed.links), viewers=feed.viewers,
        sensors=[_sensor(feed, each, fares.get(each.name), now) for each in feed.channels.values()],
        receiver_taken=feed.receiver.taken, strikes=dict(feed.receiver.verdicts),
        receiver_refused=dict(feed.receiver.counts), refused=dict(feed.counts),
        no_sensors_because=[str(each) for each in feed.why],
    )  # fmt: skip


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
