"""What every sensor of a job says while the arm rests, whether or not it lies in its range: for fitting and zeroing."""

import math
from dataclasses import dataclass

import numpy as np

from kinematics.errors import Fault, Refused, refuse
from kinematics.reading_series import Floats, Told, noise_of, unrolled
from kinematics.sensor import TURN, Measure, Sensor

from .channel import Channel
from .feed import KEEP_S, Feed

# Common practice, no source: these.
MOST_RAD, MOST_M = math.radians(0.3), 0.003
FEWEST_READINGS, LEAST_SPAN = 3, 0.7
_NOISE_SIGMAS = 4.5


@dataclass(frozen=True, slots=True)
class Posture:
    """What the sensors said: of each the median as it says it (rad or m, two numbers of a pitch-roll; its sign and
    mounting not taken off), how many readings, and their standard deviation (of a pair the larger)."""

    readings: dict[str, Told]
    counts: dict[str, int]
    spreads: dict[str, float]


def posture(feed: Feed, now: float, seconds: float = 1.0) -> Posture:
    """The readings of the last `seconds`, older by each sensor's latency; `now` by the feed's clock.

    A boom read at 200.1, 200.2, 200.4 deg, its range ending at 180: 200.2 deg. Raises `Refused` with all faults: why no
    sensor is on the job; "out-of-range" for `seconds`; of each sensor "sensor-quiet" without a reading,
    "too-few-readings" with fewer than three or over less than 0.7 of the time, "arm-moves" where the means of the first
    and the last third lie apart by more than 0.3 deg or 3 mm beyond what noise makes of it.
    """
    if not 0.0 < seconds <= KEEP_S:
        raise Refused(
            [Fault("out-of-range", "seconds", f"{seconds} s", f"more than 0, at most {KEEP_S:g} s")]
        )
    faults = list(feed.why)
    found = Posture({}, {}, {})
    for name, channel in feed.channels.items():
        at_s, values, last = _read(feed, channel, now, seconds)
        fault = (
            _quiet(channel, len(at_s), seconds)
            or _few(channel, at_s, seconds)
            or _moving(channel, at_s, values)
        )
        if fault is not None or last is None:
            faults += [] if fault is None else [fault]
            continue
        found.readings[name] = _as_said(channel.sensor, np.median(values, axis=0), last)
        found.counts[name] = len(at_s)
        found.spreads[name] = float(np.max(np.std(values, axis=0)))
    refuse(faults)
    return found


def _read(feed: Feed, channel: Channel, now: float, seconds: float) -> tuple[Floats, Floats, Told | None]:
    """Times, values without jumps, and the last reading as it was said."""
    since = now - seconds - channel.sensor.latency_s
    inside = [] if feed.track is None else feed.track.window(channel.name, since, now)
    both = sorted(
        [*inside, *(each for each in channel.beyond if since <= each[0] <= now)], key=lambda each: each[0]
    )
    if not both:
        return np.empty(0), np.empty((0, 1)), None
    values = [value for _, value in both]
    return np.array([at_s for at_s, _ in both]), unrolled(channel.sensor, values), values[-1]


def _quiet(channel: Channel, count: int, seconds: float) -> Fault | None:
    if count:
        return None
    return Fault(
        "sensor-quiet", channel.name, f"no reading within the last {seconds:g} s", "a reading of every sensor",
        channel.error or "look at its wiring and at what feeds it",
    )  # fmt: skip


def _few(channel: Channel, at_s: Floats, seconds: float) -> Fault | None:
    span = float(at_s[-1] - at_s[0])
    if len(at_s) >= FEWEST_READINGS and span >= LEAST_SPAN * seconds:
        return None
    return Fault(
        "too-few-readings", channel.name, f"{len(at_s)} over {span:.2f} s",
        f"at least {FEWEST_READINGS} over {LEAST_SPAN * seconds:.2f} s", channel.error or "wait, or feed them oftener",
    )  # fmt: skip


def _moving(channel: Channel, at_s: Floats, values: Floats) -> Fault | None:
    third = (at_s[-1] - at_s[0]) / 3.0
    first, last = values[at_s <= at_s[0] + third], values[at_s >= at_s[-1] - third]
    noise = noise_of(channel.sensor, at_s, values) * math.sqrt(1.0 / len(first) + 1.0 / len(last))
    moved = float(np.max(np.abs(last.mean(axis=0) - first.mean(axis=0))))
    length = channel.sensor.measures == Measure.LENGTH
    most = (MOST_M if length else MOST_RAD) + _NOISE_SIGMAS * noise
    if moved <= most:
        return None
    return Fault(
        "arm-moves", channel.name, f"{moved * channel.per:.2f} {channel.unit} within {at_s[-1] - at_s[0]:.1f} s",
        f"at most {most * channel.per:.2f} {channel.unit}", "hold still and try again",
    )  # fmt: skip


def _as_said(sensor: Sensor, middle: Floats, last: Told) -> Told:
    """A median of angles without jumps, at the turn of the last reading; a length as it is."""
    if sensor.measures == Measure.LENGTH:
        return float(middle[0])
    near = last if isinstance(last, tuple) else (last,)
    told = [
        each - TURN * round((each - said) / TURN) for each, said in zip(middle.tolist(), near, strict=True)
    ]
    return (told[0], told[1]) if len(told) == 2 else told[0]
