"""Where the edge truly was, as a file, and how far readouts were from it."""

import json
import math
from bisect import bisect_left
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from kinematics.errors import Fault, Refused
from kinematics.parameters import EDGE_POINTS

from .course import Course, Moment
from .dig import Dig

RATE_HZ = 50.0
# Between two lines the edge goes on a curve: 20 ms apart and at 5 m/s2 it is off by a quarter of a millimetre.
MOST_GAP_S = 0.1


@dataclass(frozen=True, slots=True)
class Truth:
    """The edge at one time: elevation (m, in the slab's datum) of its left corner, centre and right corner."""

    t_s: float
    elevations: Mapping[str, float]


@dataclass(frozen=True, slots=True)
class Score:
    """Height errors (m), shown minus true: `mean` with its sign, `mean_absolute`, `rms`, `greatest` with its sign, where
    (`point`) and when (`worst_s`); `count` numbers compared and `outside` that the truth does not span."""

    count: int
    outside: int
    mean: float
    mean_absolute: float
    rms: float
    greatest: float
    worst_s: float
    point: str

    def as_json(self) -> dict[str, Any]:
        """For programs, in m and s."""
        return {
            "count": self.count, "outside": self.outside, "mean_m": self.mean,
            "mean_absolute_m": self.mean_absolute, "rms_m": self.rms, "greatest_m": self.greatest,
            "worst_at_s": self.worst_s, "worst_point": self.point,
        }  # fmt: skip


def true_lines(dig: Dig, course: Course, rate_hz: float = RATE_HZ) -> Iterator[dict[str, Any]]:
    """The truth as objects, one a line: `t_s`, `step`, elevations (m) of the edge, joints, attitude, swing (deg)."""
    slab = dig.document.slab.elevation_m
    count = math.floor(course.seconds * rate_hz)
    for t in (
        *(i / rate_hz for i in range(count + 1)),
        *((course.seconds,) if count < course.seconds * rate_hz else ()),
    ):
        yield _line(dig, course.at(t), slab)


def _line(dig: Dig, moment: Moment, slab: float) -> dict[str, Any]:
    pitch, roll = moment.stance.lean()
    return {
        "t_s": round(moment.t_s, 6), "step": moment.step,
        "elevations_m": {point: round(slab + moment.over_slab(point), 7) for point in EDGE_POINTS},
        "reach_m": round(moment.pose.reach, 6),
        "joints_deg": {name: _deg(moment.pose.joint(name)) for name in dig.assembly.ranges},
        "attitude_deg": {"pitch": _deg(pitch), "roll": _deg(roll)}, "swing_deg": _deg(moment.stance.swing),
        "origin_m": round(slab + moment.stance.origin, 7),
    }  # fmt: skip


def _deg(angle: float) -> float:
    return round(math.degrees(angle), 6) + 0.0


def write_truth(dig: Dig, course: Course, file: Path, rate_hz: float = RATE_HZ) -> int:
    """Write the truth as NDJSON; how many lines."""
    count = 0
    with file.open("x", encoding="utf-8") as out:
        for line in true_lines(dig, course, rate_hz):
            out.write(json.dumps(line, allow_nan=False, separators=(",", ":")) + "\n")
            count += 1
    return count


def read_truth(file: Path) -> list[Truth]:
    """The truth of a file. `Refused` "broken-truth" with each line that is none, at most 20."""
    found: list[Truth] = []
    faults: list[Fault] = []
    for number, text in enumerate(file.read_text(encoding="utf-8").splitlines(), 1):
        try:
            line = json.loads(text)
            heights = {point: float(line["elevations_m"][point]) for point in EDGE_POINTS}
            found.append(Truth(float(line["t_s"]), heights))
            good = all(math.isfinite(each) for each in (found[-1].t_s, *heights.values()))
        except (ValueError, KeyError, TypeError):
            good = False
        if not good or (len(found) > 1 and found[-1].t_s <= found[-2].t_s):
            faults.append(
                Fault("broken-truth", f"{file}:{number}", text[:60], "a line of a truth, in order of time")
            )
            if len(faults) == 20:
                break
    if faults or not found:
        raise Refused(faults or [Fault("broken-truth", str(file), "no line", "at least one")])
    return found


def score(truth: Sequence[Truth], readouts: Iterable[tuple[float, Mapping[str, float]]]) -> Score:
    """How far shown elevations (t s, m by edge point) are from the truth, between whose lines they lie evenly.

    An edge shown at 98.48 that is at 98.47 is 10 mm too high: +0.010. Raises `Refused`: "not-finite" for a number shown
    that is none, "no-such-point", "nothing-to-score" where no readout lies within the truth.
    """
    times = [each.t_s for each in truth]
    errors: list[tuple[float, float, str]] = []
    outside = 0
    for t, shown in readouts:
        after = bisect_left(times, t)
        for point, height in shown.items():
            if point not in EDGE_POINTS:
                expected = "one of " + ", ".join(EDGE_POINTS)
                raise Refused([Fault("no-such-point", f"readout at {t} s", point, expected)])
            if not (math.isfinite(t) and math.isfinite(height)):
                raise Refused(
                    [Fault("not-finite", f"readout at {t} s", f"{point} {height}", "a finite number")]
                )
            true = _between(truth, after, t, point)
            if true is None:
                outside += 1
            else:
                errors.append((height - true, t, point))
    if not errors:
        raise Refused([
            Fault("nothing-to-score", "readouts", f"{outside} numbers, all outside", "times of the truth's clock")
        ])  # fmt: skip
    greatest, when, point = max(errors, key=lambda each: abs(each[0]))
    off = [each[0] for each in errors]
    return Score(
        len(off), outside, math.fsum(off) / len(off), math.fsum(map(abs, off)) / len(off),
        math.sqrt(math.fsum(e * e for e in off) / len(off)), greatest, when, point,
    )  # fmt: skip


def _between(truth: Sequence[Truth], after: int, t: float, point: str) -> float | None:
    """The true height at a time, None where no two lines near enough hold it between them."""
    if after < len(truth) and truth[after].t_s == t:
        return truth[after].elevations[point]
    if after in (0, len(truth)):
        return None
    one, two = truth[after - 1], truth[after]
    if two.t_s - one.t_s > MOST_GAP_S:
        return None
    share = (t - one.t_s) / (two.t_s - one.t_s)
    return one.elevations[point] + share * (two.elevations[point] - one.elevations[point])
