"""What the sensors saw while the receiver went through the laser plane: what a strike is judged by.

The judgement is `strikes.turned_down_because`.
"""

import contextlib
import math
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from .arm import pose
from .errors import Fault, Refused, refuse
from .reading_rates import rates
from .reading_series import LASTING, MOST_GAP_S, Floats, Told, noise_of, smooth_at, told
from .sensing import angles_from
from .sensing_solve import Angles
from .sensor_health import restless
from .sensor_set import LEAN
from .steadiness import Share, swing, wandered
from .strikes import Crossing, StrikeRules
from .striking import APART_S, InPlane
from .track import Track

# Common practice, no source: all of these.
PAIR_S, PAIR_M = 4.0, 0.1
"""One upward and one downward no further apart than this are one strike."""
ATTEMPT = 10.0
"""Times the speed rule; what goes through the plane faster is digging."""
SMOOTH_S = 0.25
"""To either side of a moment, for the parabola through the readings about it."""
_AROUND = (0.2, 0.3, 0.4, 0.5, 0.6)
LINE_S = 0.3
SURE_M_S = 0.003
LONGER_WATCH, MOST_LONGER = 0.25, 3.0
SHORT_S, WIDE_S, WIDEST_S, ENOUGH = 0.5, 1.0, 2.0, 40
"""To either side of the time in the plane, where a swing is looked for; wider, while that is fewer readings."""
MEANT_M_S = 0.3
"""What goes faster is turned down for its speed, or digging: whatever else is wrong with it is not asked."""
FEWEST_ON_LINE = 3
_PLACES = 9
_SURE_SIGMAS = 3.0


@dataclass(frozen=True, slots=True)
class CrossingSeen:
    """One time of the receiver in the plane, with the pose of its moment.

    `at_s` (s) the moment; `readings` and `angles` (rad) of it give `receiver_height_m` (m over the origin) of the place
    that was in the plane: the receiver's, and with a height receiver `above_m` along its mast from there. `up`: whether
    it rose through the plane, None for a stop, a return or a course that the readings do not tell.
    `vertical_speed_m_s`: the fastest while in the plane, without sign. `mast_angle` (rad from plumb), `tilt_spread` (rad)
    of the body, `steady_s` how long its lean had been watched.
    """

    passed: InPlane
    at_s: float
    readings: dict[str, Told]
    angles: Angles
    receiver_height_m: float
    up: bool | None
    vertical_speed_m_s: float
    mast_angle: float
    tilt_spread: float
    steady_s: float


def crossing_of(track: Track, passed: InPlane, rules: StrikeRules) -> CrossingSeen:
    """What the track's sensors saw while the receiver was in the plane.

    Readings at a moment are those of a parabola of least squares through the readings of 0.25 s to either side: 0.05 deg
    at 50 Hz place the receiver, 5 m ahead, within some 1.5 mm (one reading: 5 mm); through too few, as `Track.at`. With
    bits and the receiver risen or lowered meanwhile, the moment is when it stood halfway between its heights at the first
    and the last bit: the dead band goes out, and a speed that changed with it.

    The speed is the largest of two. That of lines of least squares, through 0.3 s of readings or as much more as noise
    needs, over that time and 0.2 s around it, with noise up to 0.6: the whole of it, or the steepest part less three
    standard errors. And where the receiver swings (`steadiness.swing`, over 1 s to either side, before that over 2 with
    slow readings, after that over 0.5) the swing's peak on top of the way it goes: 15 mm/s with 20 mm to either side four
    times a second are 518 mm/s. Of swings of 1 to 8 Hz noise of 0.05 deg, 5 m ahead, hides 5 mm to either side at 10
    readings a second, 3 at 50; one way is known within 12 mm at 10, 9.5 at 20, 7.5 at 50. Most of that is noise: of 1800
    without a swing the worst, at 10, was 8 mm off.

    The spread of the body's lean is that of pitch or of roll, whichever is larger (the total tilt would not show rocking
    across the lean), over the `rules.steady_s` up to the moment, and up to three times that while noise would hide what
    the rule allows: see `steadiness.wandered`. Noise is estimated from the track, but is never more than twice the
    profile's; a rocking faster than a fifth of the rate of the readings counts as noise up to that.

    What is not so fast that it is digging anyhow (0.3 m/s) is refused where it is no crossing: "hit-in-bursts" where the
    receiver left the plane and met it again (`InPlane.scattered`), "too-noisy" for each sensor whose readings scatter
    more than twice the profile's noise allows.

    Raises `Refused` with all faults: these; "not-read-then" for a sensor not read meanwhile, "too-few-readings" for a
    body sensor before it, "no-such-point" on a machine without a receiver; as `angles_from` and `pose`.
    """
    sensors = track.sensors
    refuse(_unread(track, passed))
    series = {name: track.series(name, -math.inf, math.inf) for name in sensors.sensors}
    noises = {name: noise_of(sensors.sensors[name], *each) for name, each in series.items()}

    def of_interest(angles: Angles) -> Floats:
        return np.array(
            [pose(sensors.assembly, **angles).height("receiver"), *(angles[lean] for lean in LEAN)]
        )

    moves = rates(sensors, _readings(track, passed.at_s), of_interest)
    least = {name: LASTING * sensors.sensors[name].noise for name in series}
    heights = [Share(*series[name], noises[name], moves.by[name][:, :1], least[name]) for name in series]
    speed = _speed(heights, passed)
    if speed <= MEANT_M_S:
        refuse(_unlike_a_crossing(track, passed))
    up = passed.up if passed.up is not None else _direction(track, heights, passed)
    at_s = passed.at_s if up is None or passed.above_m is not None else _halfway(track, passed)
    readings = _readings(track, at_s)
    angles = angles_from(sensors, readings)
    there = pose(sensors.assembly, **angles)
    height = there.height("receiver") + (passed.above_m or 0.0) * math.cos(there.mast_angle)
    body = [
        Share(*series[name], noises[name], moves.by[name][:, 1:])
        for name in dict.fromkeys(sensors.by_joint[lean][0] for lean in LEAN)
    ]
    watched = min(_watched(share, at_s) for share in body)
    return CrossingSeen(
        passed, at_s, readings, angles, height, up,
        speed, there.mast_angle, _spread(body, at_s, watched, rules), watched,
    )  # fmt: skip


def together(first: CrossingSeen, second: CrossingSeen) -> bool:
    """True where one went up and the other down, at most 4 s and 0.1 m apart: one strike of two crossings."""
    return (
        first.up is not None
        and second.up is not None
        and first.up != second.up
        and abs(first.at_s - second.at_s) <= PAIR_S
        and abs(first.receiver_height_m - second.receiver_height_m) <= PAIR_M
    )


def crossing(seen: CrossingSeen, other: CrossingSeen | None = None) -> Crossing:
    """One crossing, or two that go `together`, as `strikes.turned_down_because` takes them: mean height, worst rest.

    Up at 1.204 m, down at 1.196: 1.200, half the difference 0.004.
    """
    both = [seen] if other is None else [seen, other]
    heights = [each.receiver_height_m for each in both]
    return Crossing(
        receiver_height=sum(heights) / len(both),
        half_difference=None if other is None else 0.5 * abs(heights[0] - heights[1]),
        vertical_speed=max(each.vertical_speed_m_s for each in both),
        mast_angle=max(each.mast_angle for each in both),
        tilt_spread=max(each.tilt_spread for each in both),
        steady_s=min(each.steady_s for each in both),
    )


def is_attempt(seen: CrossingSeen, rules: StrikeRules, revolutions_per_s: float) -> bool:
    """True of one slow enough to be meant: 3 mm a turn, 10 turns a second, up to 0.3 m/s. Faster is digging."""
    return seen.vertical_speed_m_s <= ATTEMPT * rules.speed_per_revolution * revolutions_per_s


# The pose of a moment.


def _readings(track: Track, t: float) -> dict[str, Told]:
    found = track.at(t)
    for name, sensor in track.sensors.all.items():
        smooth = smooth_at(*track.series(name, t - SMOOTH_S, t + SMOOTH_S), t)
        if smooth is not None:
            found[name] = told(sensor, smooth.tolist())
    return found


def _height(track: Track, t: float) -> float:
    sensors = track.sensors
    return pose(sensors.assembly, **angles_from(sensors, _readings(track, t))).height("receiver")


def _course(track: Track, start: float, end: float) -> list[tuple[float, float]]:
    """(time, receiver height) at some places from start to end, where the readings give one."""
    found = []
    for t in np.linspace(start, end, _PLACES).tolist():
        with contextlib.suppress(Refused):
            found.append((t, _height(track, t)))
    return found


def _unread(track: Track, passed: InPlane) -> Iterator[Fault]:
    faults: dict[str, Fault] = {}
    for t in (passed.at_s, passed.first_s, passed.last_s):
        try:
            track.at(t)
        except Refused as refused:
            faults = {fault.where: fault for fault in refused.faults} | faults
    yield from faults.values()


def _halfway(track: Track, passed: InPlane) -> float:
    """When the receiver stood halfway between its heights at the first and the last bit; of several such times the one
    nearest to the middle."""
    course = _course(track, passed.first_s, passed.last_s)
    middle = 0.5 * (course[0][1] + course[-1][1]) if course else 0.0
    times = [
        t0 + (t1 - t0) * (middle - h0) / (h1 - h0)
        for (t0, h0), (t1, h1) in pairwise(course)
        if h0 != h1 and min(h0, h1) <= middle <= max(h0, h1)
    ]
    return min(times, key=lambda t: abs(t - passed.at_s), default=passed.at_s)


# How it moved.


def _line(shares: list[Share], start: float, end: float) -> tuple[float, float] | None:
    """Slope (m/s) of the height by lines of least squares through each reading, and its standard deviation; None where
    one was read fewer than three times."""
    slope, variance = 0.0, 0.0
    for share in shares:
        inside = (share.at_s >= start) & (share.at_s <= end)
        if np.count_nonzero(inside) < FEWEST_ON_LINE:
            return None
        since = share.at_s[inside] - share.at_s[inside].mean()
        square = float(since @ since)
        slope += float((since @ share.values[inside] / square) @ share.by[:, 0])
        variance += share.noise**2 * float((share.by**2).sum()) / square
    return slope, math.sqrt(variance)


def _direction(track: Track, shares: list[Share], passed: InPlane) -> bool | None:
    """Whether it rose: by more than noise, and not there and back."""
    if not passed.left:
        return None
    for around in _AROUND:
        start, end = passed.first_s - around, passed.last_s + around
        line = _line(shares, start, end)
        if line is None or abs(line[0]) <= _SURE_SIGMAS * line[1]:
            continue
        heights = [h for _, h in _course(track, start, end)]
        net = heights[-1] - heights[0]
        return net > 0.0 if abs(net) > 0.5 * (max(heights) - min(heights)) else None
    return None


def _speed(shares: list[Share], passed: InPlane) -> float:
    """The fastest vertical speed (m/s), without sign: of lines, or of a swing. Raises `Refused` "too-few-readings"."""
    start, end, whole = 0.0, 0.0, None
    for around in _AROUND:
        start, end = passed.first_s - around, passed.last_s + around
        whole = _line(shares, start, end)
        if whole is not None and _is_sure(*whole):
            break
    if whole is None:
        raise Refused([
            Fault("too-few-readings", "vertical_speed", "a sensor read fewer than three times around it",
                  f"at least {FEWEST_ON_LINE} readings of each within {_AROUND[-1]:g} s", "cross again")
        ])  # fmt: skip
    length = LINE_S
    while length < end - start:
        lines = [_line(shares, t, t + length) for t in np.arange(start, end - length + 1e-9, 0.05).tolist()]
        sure = [line for line in lines if line is not None and _is_sure(*line)]
        if len(sure) == len(lines):
            fastest = max(abs(slope) - _SURE_SIGMAS * unsure for slope, unsure in sure)
            return max(abs(whole[0]), _swing_speed(shares, passed), fastest)
        length += 0.1
    return max(abs(whole[0]), _swing_speed(shares, passed))


def _swing_speed(shares: list[Share], passed: InPlane) -> float:
    """The fastest (m/s) of a swing about the time in the plane, on top of the way it goes; 0 without one. If none lasts
    for long enough, that of a short one."""
    read = max(float(each.at_s[0]) for each in shares), min(float(each.at_s[-1]) for each in shares)
    for around, course in dict.fromkeys([(_wide(shares, passed), 3), (WIDE_S, 3), (SHORT_S, 2)]):
        start, end = max(passed.first_s - around, read[0]), min(passed.last_s + around, read[1])
        swung = swing(shares, start, end, course)
        if swung is not None and swung.amplitude[0] > 0.0:
            along = _line(shares, start, end)
            peak = 2.0 * math.pi * float(swung.hz[0] * swung.amplitude[0])
            return peak + (0.0 if along is None else abs(along[0]))
    return 0.0


def _wide(shares: list[Share], passed: InPlane) -> float:
    """How far around it (s) to look for a swing: 1 s, and up to 2 for enough readings of each sensor."""
    around = WIDE_S
    while around < WIDEST_S:
        start, end = passed.first_s - around, passed.last_s + around
        if all(np.count_nonzero((each.at_s >= start) & (each.at_s <= end)) >= ENOUGH for each in shares):
            break
        around += 0.25
    return around


def _unlike_a_crossing(track: Track, passed: InPlane) -> Iterator[Fault]:
    if passed.scattered:
        yield Fault(
            "hit-in-bursts", "receiver", "the plane heard in bursts, left and met again",
            f"once through it, and nothing heard for {APART_S:g} s before and after",
            "let the boom come to rest, then cross slowly, once",
        )  # fmt: skip
    start, end = passed.first_s - WIDE_S, passed.last_s + WIDE_S
    for name, sensor in track.sensors.all.items():
        fault = restless(name, sensor, *track.series(name, start, end), at_rest=False)
        if fault is not None:
            yield fault


def _is_sure(slope: float, unsure: float) -> bool:
    return unsure <= max(SURE_M_S, 0.1 * abs(slope))


# How the body stood.


def _watched(share: Share, at_s: float) -> float:
    """How long (s) before a moment a sensor was read without a gap."""
    times = share.at_s[share.at_s <= at_s]
    gaps = np.flatnonzero(np.diff(times) > MOST_GAP_S)
    return at_s - float(times[gaps[-1] + 1 if len(gaps) else 0])


def _spread(body: list[Share], at_s: float, watched: float, rules: StrikeRules) -> float:
    """Spread (rad) of the lean. Raises `Refused` "too-few-readings"."""
    found = None
    steps = math.floor((min(watched / rules.steady_s, MOST_LONGER) - 1.0) / LONGER_WATCH)
    for step in range(max(steps, 0) + 1):
        back = min(rules.steady_s * (1.0 + LONGER_WATCH * step), watched)
        found = wandered(body, at_s - back, at_s) or found
        if found is not None and found[1] <= rules.steady:
            break
    if found is None:
        raise Refused([
            Fault("too-few-readings", "steady", f"a body sensor read too seldom in the {rules.steady_s:g} s before",
                  "at least two readings in each quarter of it", "look at the health of the sensors")
        ])  # fmt: skip
    return found[0]
