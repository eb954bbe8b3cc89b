"""From the staff readings of a laser test to the entry it becomes: least squares, tests, and what they say in
sentences."""

import math
from collections.abc import Iterator
from functools import partial

from kinematics.laser_test import MOST_APART_M, Deviation, LaserTest, Sight, laser_test
from kinematics.units import LengthUnit, to_metres

from .decide import same_units, together
from .lengths import metres_within
from .staff import LONGEST_STAFF_M
from .staff_payloads import LaserTested, SightRecord
from .staff_requests import LaserTestIn
from .state import JobState

_FULL = "full"


def tested(state: JobState, asked: LaserTestIn) -> LaserTested:
    """A test of the laser, reckoned and kept with its readings. Changes nothing: estimates are set by who reads it.

    Raises `Refused` with every fault: "wrong-units", and what `laser_test` and lengths are refused for.
    """
    same_units(state, asked.units)
    apart = partial(metres_within, asked.apart, asked.units, "apart", MOST_APART_M)
    lengths = {
        f"sights.{i}.{name}": (getattr(sight, name), most)
        for i, sight in enumerate(asked.sights)
        for name, most in (
            ("along", 2.0 * MOST_APART_M), ("reading_a", LONGEST_STAFF_M), ("reading_b", LONGEST_STAFF_M),
        )
    }  # fmt: skip
    read = {
        where: partial(metres_within, value, asked.units, where, most)
        for where, (value, most) in lengths.items()
    }
    together(apart, *read.values())
    sights = [
        Sight(
            sight.series, read[f"sights.{i}.along"](), math.radians(sight.heading_deg),
            read[f"sights.{i}.reading_a"](), read[f"sights.{i}.reading_b"](),
        )
        for i, sight in enumerate(asked.sights)
    ]  # fmt: skip
    before = _before(state, asked)
    claimed = None if asked.claimed_mm is None else to_metres(asked.claimed_mm, LengthUnit.MM)
    found = laser_test(
        sights,
        apart(),
        full=asked.procedure == _FULL,
        claimed=claimed,
        before=None if before is None else before[1],
    )
    return LaserTested(
        procedure=asked.procedure, laser=asked.laser, apart_m=apart(),
        sights=tuple(
            SightRecord(
                series=each.series, along_m=each.along, heading_deg=given.heading_deg, reading_a_m=each.reading_a,
                reading_b_m=each.reading_b,
            )
            for each, given in zip(sights, asked.sights, strict=True)
        ),
        claimed_m=claimed, freedom=found.freedom, reading_spread_m=found.reading_spread, height_m=found.height,
        ahead_arcsec=arcsec(found.ahead.value), ahead_standard_arcsec=_maybe(found.ahead),
        left_arcsec=arcsec(found.left.value), left_standard_arcsec=_maybe(found.left),
        cone_arcsec=None if found.cone is None else arcsec(found.cone.value),
        cone_standard_arcsec=None if found.cone is None else _maybe(found.cone),
        spread_as_claimed=None if found.as_claimed is None else found.as_claimed.passed,
        variance_ratio=None if found.as_before is None else found.as_before[0],
        same_as_before=found.same_as_before, before_seq=None if before is None else before[0],
        statements=tuple(_statements(found, state.estimates.laser_level_arcsec, claimed)), note=asked.note,
    )  # fmt: skip


def arcsec(angle: float) -> float:
    """Arc seconds of an angle (rad)."""
    return math.degrees(angle) * 3600.0


def _maybe(deviation: Deviation) -> float | None:
    return None if deviation.standard is None else arcsec(deviation.standard)


def _before(state: JobState, asked: LaserTestIn) -> tuple[int, tuple[float, int]] | None:
    """The job's last full test of the same laser that counts: (entry, (spread m, freedom)), for a full test."""
    if asked.procedure != _FULL:
        return None
    for entry in reversed(state.entries):
        of = entry.payload
        if (
            isinstance(of, LaserTested) and entry.seq not in state.void and of.laser == asked.laser
            and of.procedure == _FULL and of.reading_spread_m
        ):  # fmt: skip
            return entry.seq, (of.reading_spread_m, of.freedom)
    return None


def _statements(found: LaserTest, estimate: float, claimed: float | None) -> Iterator[str]:
    """What the tests say, a sentence with numbers each."""
    tilt = arcsec(found.tilt)
    yield (
        f"the plane tilts by {tilt:.1f} arc seconds, {1e3 * 30 * math.tan(found.tilt):.1f} mm at 30 m, rising "
        f"{math.degrees(found.rises_towards):.0f} deg anticlockwise from the mark on the laser"
    )
    named = [("towards its mark", found.ahead), ("to its left", found.left)]
    for where, deviation in (*named, *([("alike all round (cone)", found.cone)] if found.cone else [])):
        yield _deviation(where, deviation)
    if found.reading_spread is None:
        yield f"{found.freedom} to spare of all readings, too few to say how readings scatter, or what is chance"
    else:
        yield (
            f"one staff reading scatters by {1e3 * found.reading_spread:.2f} mm (standard deviation, {found.freedom} "
            "degrees of freedom)"
        )
    if found.as_claimed is not None and claimed is not None:
        word = "no more than" if found.as_claimed.passed else "more than"
        yield (
            f"that is {word} the claimed {1e3 * claimed:.2f} mm allow at 95 %: up to "
            f"{1e3 * found.as_claimed.limit:.2f} mm"
        )
    if found.as_before is not None:
        ratio, low, high = found.as_before
        word = "as before" if found.same_as_before else "otherwise than before"
        yield f"it scatters {word}: variances stand {ratio:.2f} to 1, {low:.2f} to {high:.2f} would be chance at 95 %"
    word = "within" if tilt <= 1.96 * estimate else "beyond"
    yield f"{tilt:.1f} arc seconds are {word} 1.96 times the job's estimate of {estimate:g} arc seconds"


def _deviation(where: str, deviation: Deviation) -> str:
    size = f"it rises {where} by {arcsec(deviation.value):+.1f} arc seconds"
    if deviation.test is None or deviation.standard is None:
        return size
    word = "may be chance" if deviation.test.passed else "is no chance"
    return (
        f"{size}, standard {arcsec(deviation.standard):.1f}: {word} at 95 % (t test, {deviation.test.freedom:.0f} "
        "degrees of freedom)"
    )
