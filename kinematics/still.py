"""Whether the arm stood still, and what its sensors read meanwhile: the readings of a touch."""

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from .arm import pose
from .chain import POINTS
from .errors import Fault, refuse
from .reading_rates import Rates, rates
from .reading_series import LASTING, Floats, Told, noise_of, told
from .sensing_solve import Angles
from .sensor_health import restless
from .steadiness import FEWEST_OVER, Share, Swing, swing
from .track import Track

# Common practice, no source: these.
MOST_HEIGHT_M, MOST_REACH_M = 0.005, 0.020
"""Over a second, or to either side. An edge that rests on a benchmark neither sinks nor slides nor swings further."""
CREEP_M_S = 0.015
MOST_UNSEEN_M_S = 3.0 * CREEP_M_S
FEWEST_READINGS, LEAST_SPAN = 3, 0.7
# The widest of three differences, two directions, noise known from some twenty readings: once in a few thousand.
_NOISE_SIGMAS = 4.5
_SEEN_SIGMAS = 3.0  # a normal deviate below which one in a thousand falls
_LONGER = 0.25
_STEADILY = 1  # a swing is one about a straight line


@dataclass(frozen=True, slots=True)
class Still:
    """What the sensors read while an edge point stood still.

    `readings`: the median of each over the last `seconds`, as `sensing.angles_from` takes them; `angles` (rad) what they
    give; `counts` how many there were. `drift_m`, `drift_reach_m`: how far the point seemed to move up or down and on the
    level (m, without sign) in such a time. `unseen_m_s`: a steady creep in height (m/s) that would hardly have gone
    unseen: one in some hundred. `begun_s`: since when it was watched.
    """

    readings: dict[str, Told]
    angles: Angles
    counts: dict[str, int]
    drift_m: float
    drift_reach_m: float
    unseen_m_s: float
    begun_s: float


@dataclass(frozen=True, slots=True)
class _Row:
    """One sensor's readings up to now, their noise and the median of the last of them."""

    at_s: Floats
    values: Floats
    noise: float
    middle: Floats


def still(track: Track, now_s: float, point: str, seconds: float = 1.0) -> Still:
    """The median of every sensor over the last `seconds` before `now_s` (s), if an edge point (`chain.POINTS`) was still.

    The rule. The time watched is cut in three; the mean of each third puts the point somewhere. Two of these places
    apart, times 1.5 for what lies between first and last reading, is its drift. It moved where that is more than 5 mm
    a second in height or 20 mm on the level, and more than 4.5 times what the noise of the readings alone would make
    of it: carried to the point by how far each moves it, divided by how many there are. Noise is estimated from
    second differences (`reading_series.noise_of`) over all that is kept.

    What noise hides is not taken for rest. The time watched grows from `seconds` until a creep of 15 mm/s would be seen
    in 99 cases of 100, or to all that is kept; if then not even one of 45 mm/s would be, there is no answer. 8 m ahead
    0.05 deg at 50 Hz need little more than a second, 0.1 deg at 10 Hz some three.

    Nor is a swing whose mean stands still: over that time the point may not go to and fro by more than 5 mm to either
    side in height, or 20 on the level, where noise would not do as much (`steadiness.swing`). What passes for noise is
    bounded: readings that scatter more than twice the profile's noise allows are refused (`sensor_health.restless`).
    With 0.05 deg, 8 m ahead, no swing of 1 to 8 Hz puts the edge further off than 10 mm, noise of the median included;
    with noisier or slower sensors more in proportion.

    Raises `Refused` with all faults: "no-such-point", "not-finite", "out-of-range"; "too-few-readings" for each sensor
    with fewer than 3 in the last `seconds`, or over less than 0.7 of it, and for the point where a sensor was read fewer
    than 11 times in all; "arm-moves"; "too-noisy" for the point or, of an arm that seems to rest, for each sensor whose
    readings are no noise; as `angles_from`.
    """
    refuse(_asked(track, now_s, point, seconds))
    series = {name: track.series(name, now_s - track.keep_s, now_s) for name in track.sensors.all}
    last = {name: at_s >= now_s - seconds for name, (at_s, _) in series.items()}
    refuse(
        _few(name, at_s[last[name]], seconds)
        for name, (at_s, _) in series.items()
        if _is_few(at_s[last[name]], now_s, seconds)
    )
    noises = {name: noise_of(track.sensors.all[name], *each) for name, each in series.items()}
    rows = {
        name: _Row(at_s, values, noises[name], np.median(values[last[name]], axis=0))
        for name, (at_s, values) in series.items()
    }
    readings = {name: told(track.sensors.all[name], row.middle.tolist()) for name, row in rows.items()}
    found: list[Angles] = []

    def placed(angles: Angles) -> Floats:
        found.append(angles)
        return np.array(pose(track.sensors.assembly, **angles).level(point))

    moves = rates(track.sensors, readings, placed)
    seen, swung = _judged(rows, moves, now_s, seconds, seconds), None
    shares = [
        Share(row.at_s, row.values, row.noise, moves.by[name], LASTING * track.sensors.all[name].noise)
        for name, row in rows.items()
        if name in moves.by
    ]
    for watched in [seconds, *_longer(rows, now_s, seconds)]:
        if watched > seconds and not any(0 in _thirds(row.at_s, now_s, watched)[1] for row in rows.values()):
            seen = _judged(rows, moves, now_s, watched, seconds)
        if seen.unseen_m_s <= CREEP_M_S:
            swung = swing(shares, now_s - seen.watched_s, now_s, _STEADILY)
            if swung is not None:
                break
    swung = swung or swing(shares, now_s - seen.watched_s, now_s, _STEADILY)
    refuse(_faults(seen, swung, point))
    refuse(_unlike_noise(track, series, now_s, (seen.watched_s, seconds)))
    counts = {name: int(np.count_nonzero(each)) for name, each in last.items()}
    return Still(
        readings, found[0], counts, seen.height_m, seen.reach_m, seen.unseen_m_s, now_s - seen.watched_s
    )


def _asked(track: Track, now_s: float, point: str, seconds: float) -> Iterator[Fault]:
    if point not in POINTS:
        yield Fault("no-such-point", "point", repr(point), "one of " + ", ".join(POINTS))
    if not math.isfinite(now_s):
        yield Fault("not-finite", "now_s", str(now_s), "a finite time in seconds")
    if not 0.0 < seconds <= track.keep_s:
        yield Fault(
            "out-of-range", "seconds", f"{seconds} s", f"more than 0, at most {track.keep_s:g} s, as is kept"
        )


def _is_few(at_s: Floats, now_s: float, seconds: float) -> bool:
    return (
        len(at_s) < FEWEST_READINGS
        or not at_s[-1] - at_s[0] >= LEAST_SPAN * seconds
        or 0 in _thirds(at_s, now_s, seconds)[1]
    )


def _thirds(at_s: Floats, now_s: float, watched: float) -> tuple[list[int], list[int]]:
    """Where the thirds of the time watched begin in readings up to now, and where the last ends; how many are in each."""
    starts = np.searchsorted(at_s, now_s - watched * np.array([1.0, 2.0 / 3.0, 1.0 / 3.0]))
    ends = [*starts.tolist(), len(at_s)]
    return ends, [b - a for a, b in pairwise(ends)]


def _few(name: str, at_s: Floats, seconds: float) -> Fault:
    span = float(at_s[-1] - at_s[0]) if len(at_s) else 0.0
    return Fault(
        "too-few-readings", name, f"{len(at_s)} over {span:.2f} s of the last {seconds:g} s",
        f"at least {FEWEST_READINGS}, over {LEAST_SPAN * seconds:g} s of it and in each third of it",
        "wait, or look at the sensor's wiring and at what feeds it", {"count": len(at_s), "span_s": span},
    )  # fmt: skip


def _longer(rows: dict[str, _Row], now_s: float, seconds: float) -> list[float]:
    """How much further back (s) to look, shortest first, as far as every sensor was read."""
    most = now_s - max(float(row.at_s[0]) for row in rows.values())
    steps = max(math.floor((most / seconds - 1.0) / _LONGER), 0)
    return [
        *(seconds * (1.0 + _LONGER * (step + 1)) for step in range(steps)),
        *([most] if most > seconds else []),
    ]


@dataclass(frozen=True, slots=True)
class _Judged:
    """What one time watched shows: drift over `seconds`, what it may be (both m), what would be seen (m/s)."""

    watched_s: float
    height_m: float
    reach_m: float
    most_height_m: float
    most_reach_m: float
    unseen_m_s: float


def _judged(rows: dict[str, _Row], moves: Rates, now_s: float, watched: float, seconds: float) -> _Judged:
    places, variances = np.zeros((3, 3)), np.zeros((3, 3))
    for name, by in moves.by.items():
        row = rows[name]
        ends, counts = _thirds(row.at_s, now_s, watched)
        for third, (first, end) in enumerate(pairwise(ends)):
            places[third] += (row.values[first:end].mean(axis=0) - row.middle) @ by
            variances[third] += row.noise**2 * (by**2).sum(axis=0) / counts[third]
    per_second = 1.5 / watched
    pairs = [(0, 1), (1, 2), (0, 2)]
    apart = np.array([places[b] - places[a] for a, b in pairs]) * per_second
    unsure = np.sqrt(np.max([variances[a] + variances[b] for a, b in pairs], axis=0)) * per_second
    up, level = float(unsure[2]), float(math.hypot(unsure[0], unsure[1]))
    return _Judged(
        watched,
        float(np.max(np.abs(apart[:, 2]))) * seconds,
        float(np.max(np.hypot(apart[:, 0], apart[:, 1]))) * seconds,
        max(MOST_HEIGHT_M, _NOISE_SIGMAS * up) * seconds,
        max(MOST_REACH_M, _NOISE_SIGMAS * level) * seconds,
        max(MOST_HEIGHT_M, _NOISE_SIGMAS * up) + _SEEN_SIGMAS * up,
    )


def _faults(seen: _Judged, swung: Swing | None, point: str) -> Iterator[Fault]:
    again = f"hold still for {seen.watched_s:.1f} s, then again"
    for what, moved, most in (
        ("height", seen.height_m, seen.most_height_m), ("reach", seen.reach_m, seen.most_reach_m),
    ):  # fmt: skip
        if not moved <= most:
            yield Fault(
                "arm-moves", f"{point}_{what}", f"{moved * 1e3:.0f} mm, watched for {seen.watched_s:.1f} s",
                f"at most {most * 1e3:.0f} mm", again,
                {"moved_mm": moved * 1e3, "limit_mm": most * 1e3, "watched_s": seen.watched_s},
            )  # fmt: skip
        elif swung is not None:
            yield from _swings(swung, point, what, again)
    if not seen.unseen_m_s <= MOST_UNSEEN_M_S:
        yield Fault(
            "too-noisy", point, f"a creep of {seen.unseen_m_s * 1e3:.0f} mm/s would not show in {seen.watched_s:.1f} s",
            f"readings that show one of {MOST_UNSEEN_M_S * 1e3:.0f} mm/s",
            "hold still for longer; if that does not help, look at the health of the sensors",
            {"unseen_mm_s": seen.unseen_m_s * 1e3, "limit_mm_s": MOST_UNSEEN_M_S * 1e3},
        )  # fmt: skip
    elif swung is None:
        yield Fault(
            "too-few-readings", point, f"{seen.watched_s:.1f} s of readings too seldom to show a swing",
            f"at least {FEWEST_OVER + _STEADILY} of each sensor", "hold still for longer",
        )  # fmt: skip


def _swings(swung: Swing, point: str, what: str, again: str) -> Iterator[Fault]:
    x, y, z = swung.amplitude.tolist()
    wide, most = (z, MOST_HEIGHT_M) if what == "height" else (math.hypot(x, y), MOST_REACH_M)
    if not wide <= most:
        often = float(swung.hz[2] if what == "height" else swung.hz[0 if x >= y else 1])
        yield Fault(
            "arm-moves", f"{point}_{what}", f"swinging {wide * 1e3:.0f} mm to either side, {often:.1f} times a second",
            f"at most {most * 1e3:.0f} mm", again, {"swing_mm": wide * 1e3, "limit_mm": most * 1e3, "hz": often},
        )  # fmt: skip


def _unlike_noise(
    track: Track, series: Mapping[str, tuple[Floats, Floats]], now_s: float, spans: tuple[float, ...]
) -> Iterator[Fault]:
    for name, (at_s, values) in series.items():
        for span in spans:
            first = int(np.searchsorted(at_s, now_s - span))
            fault = restless(name, track.sensors.all[name], at_s[first:], values[first:], at_rest=True)
            if fault is not None:
                yield fault
                break
