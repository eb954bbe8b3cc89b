"""Why a number changed, in sentences made from the numbers."""

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from itertools import pairwise

from kinematics.assembly import JOINTS
from kinematics.explain import LEAN, Change, Explanation, Side, Turn, other_start
from kinematics.units import RESOLUTION_M, LengthUnit, percent_from_ratio, show, show_number, to_metres

from .corrections import part

FACTOR = {
    "pitch": "body pitch", "roll": "body roll", "swing_boom": "swing boom", "boom": "boom", "fore_boom": "fore boom",
    "stick": "stick", "bucket": "bucket", "tilt": "tilt", "rotate": "rotation", "edge_point": "choice of edge point",
    "reference": "reference", "target": "target",
}  # fmt: skip
_PIN = {
    "boom": "the boom foot pin", "fore_boom": "the pin between the booms", "stick": "the pin between boom and stick",
    "bucket": "the bucket pin", "tilt": "the tilt axis", "rotate": "the rotation axis",
    "swing_boom": "the boom's swing post",
}  # fmt: skip
DOING = {
    "boom": ("was raised", "was lowered"), "fore_boom": ("was raised", "was lowered"),
    "stick": ("was pushed out", "was pulled in"), "bucket": ("was uncurled", "was curled"),
    "tilt": ("was tilted left corner up", "was tilted right corner up"),
    "rotate": ("was turned anticlockwise from above", "was turned clockwise from above"),
    "swing_boom": ("was swung to the left", "was swung to the right"),
    "pitch": ("pitched nose up", "pitched nose down"), "roll": ("rolled left side up", "rolled right side up"),
}  # fmt: skip
"""By an angle that grows, and by one that falls."""
_QUANTITY = {
    "height": ("height over the body's origin", "rose", "fell"), "elevation": ("elevation", "rose", "fell"),
    "reach": ("reach", "grew", "shrank"), "lateral": ("place to the left", "grew", "shrank"),
    "above_target": ("height above the target", "rose", "fell"),
}  # fmt: skip
"""In words, and what it does upwards and downwards."""
_TENTHS = 1000.0
_STEEP = 1.0
Counted = Mapping[str, int]
Count = Callable[[float], int]


def steps_of(change: Change, units: LengthUnit) -> tuple[int, int, Counted]:
    """(before, after, each share) of a length in whole steps of `RESOLUTION_M`, both ends as `show` rounds them: the
    shares add up to after - before.

    Rounded each for itself they would not: what is left over goes to those cut off most (largest remainders).
    """
    step = RESOLUTION_M[units]
    return whole_steps(change, step, lambda metres: round(to_metres(_read(metres, units), units) / step))


def _read(metres: float, units: LengthUnit) -> float | str:
    shown = show_number(metres, units)
    return shown if units is LengthUnit.FTIN else float(shown)


def tenths_of(change: Change) -> tuple[int, int, Counted]:
    """The same of a slope, in tenths of a percent."""
    return whole_steps(
        change, 1.0 / _TENTHS, lambda ratio: round(float(f"{percent_from_ratio(ratio):.1f}") * 10.0)
    )


def whole_steps(change: Change, step: float, count: Count) -> tuple[int, int, Counted]:
    """The same for any step, `count` rounding a value to steps."""
    before, after = count(change.before), count(change.after)
    exact = {name: share / step for name, share in change.shares.items()}
    told = {name: math.floor(value) for name, value in exact.items()}
    left = after - before - sum(told.values())
    by_rest = sorted(exact, key=lambda name: told[name] - exact[name])
    if left < 0:
        by_rest.reverse()
    for i in range(abs(left) if exact else 0):
        told[by_rest[i % len(by_rest)]] += 1 if left > 0 else -1
    return before, after, told


def change_words(quantity: str, points: Sequence[str], change: Change, units: LengthUnit) -> str:
    """ "The elevation of the edge centre fell by 0.120 m, from 98.920 m to 98.800 m: boom -0.100 m, bucket -0.020 m."

    `points`: which was read before, and after.
    """
    step = RESOLUTION_M[units]
    before, after, shares = steps_of(change, units)
    first, second = (part(each) for each in points)
    name, more, less = _QUANTITY[quantity]
    what = f"The {name} of the {second}" if first == second else f"The {name}"
    ends = [f"{show(count * step, units)}" for count in (before, after)]
    if first != second:
        ends = [f"{end} ({each})" for end, each in zip(ends, (first, second), strict=True)]
    if after == before:
        head = f"{what} is as before, {ends[1]}"
    else:
        head = f"{what} {more if after > before else less} by {show(abs(after - before) * step, units)}"
        head += f", from {ends[0]} to {ends[1]}"
    told = [f"{FACTOR[each]} {signed(count * step, units)}" for each, count in largest_first(shares) if count]
    return f"{head}: {', '.join(told)}." if told else f"{head}."


def slope_words(change: Change) -> str:
    """The same of the cross-slope, in tenths of a percent."""
    before, after, shares = tenths_of(change)
    if before == after:
        head = f"The cross-slope is as before, {after / 10:+.1f} %"
    else:
        head = f"The cross-slope went from {before / 10:+.1f} % to {after / 10:+.1f} %"
    told = [f"{FACTOR[name]} {count / 10:+.1f} %" for name, count in largest_first(shares) if count]
    words = f"{head}: {', '.join(told)}." if told else f"{head}."
    if max(map(abs, (change.before, change.after, *change.shares.values()))) > _STEEP:
        words += " Near plumb a cross-slope says little, and its shares less."
    return words


def largest_first(shares: Counted) -> list[tuple[str, int]]:
    """Factors with their steps."""
    return sorted(shares.items(), key=lambda each: -abs(each[1]))


def signed(metres: float, units: LengthUnit) -> str:
    """With its sign: "+0.120 m"."""
    return f"{'+' if metres >= 0.0 else '-'}{show(abs(metres), units)}"


def reasons(
    told: Explanation, before: Side, after: Side, units: LengthUnit, aside: Sequence[str] = ()
) -> Iterator[str]:
    """What turned about what, what stayed, why it went that way, and what the same would do elsewhere. `aside`: what else
    happened between the two, in sentences."""
    yield from aside
    if not told.changed:
        yield "Nothing else changed between the two." if aside else "Nothing changed between the two."
    elif len(told.changed) > 1:
        yield (
            "Several things changed at once. Each share is what that one did, averaged over every order in which they "
            "could have been made; so they add up, whichever came first."
        )
    elif told.turn is not None:
        yield from _turned(told.changed[0], told.turn, before, after, units)
    elif told.changed[0] in DOING:
        yield f"Only the {FACTOR[told.changed[0]]} changed: {_did(told.changed[0], before, after)}."
        if told.changed[0] in LEAN:
            yield "The body's origin is taken to stay where the reference has it."


def _did(joint: str, before: Side, after: Side) -> str:
    place = (*LEAN, *JOINTS).index(joint)
    by = math.degrees(float(after.pose.q[place] - before.pose.q[place]))
    return f"it {DOING[joint][by < 0.0]} by {abs(by):.2f} deg"


def _turned(joint: str, turn: Turn, before: Side, after: Side, units: LengthUnit) -> Iterator[str]:
    yield (
        f"Only the {FACTOR[joint]} changed: {_did(joint, before, after)}. The {part(before.point)} turned about "
        f"{_PIN[joint]}, {show(turn.radius, units)} away, along an arc of {show(turn.arc, units)}; that and everything "
        "before it did not move."
    )
    levers = [
        [a - b for a, b in zip(side.pose.level(side.point), turn.at, strict=True)] for side in (before, after)
    ]
    yield f"Seen from there it went from {_where(levers, 0, units)} to {_where(levers, 1, units)}."
    yield from _passed(turn, levers[0], units)
    by = float(after.pose.joint(joint) - before.pose.joint(joint))
    yield from _elsewhere(joint, by, before, after, units)


_SIDES = (("ahead", "behind"), ("to the left", "to the right"), ("above", "below"))


def _where(levers: Sequence[Sequence[float]], which: int, units: LengthUnit) -> str:
    """Where a point is, by what the turn changes."""
    step = RESOLUTION_M[units]
    told = [
        f"{show(abs(levers[which][i]), units)} {words[levers[which][i] < 0.0]}"
        for i, words in enumerate(_SIDES) if abs(levers[0][i] - levers[1][i]) >= step
    ]  # fmt: skip
    return ", ".join(told[:-1]) + (" and " if len(told) > 1 else "") + told[-1] if told else "where it was"


def _passed(turn: Turn, lever: Sequence[float], units: LengthUnit) -> Iterator[str]:
    """Where the point's height turned back on the way by more than is shown."""
    k, r = turn.axis, lever
    along = sum(one * other for one, other in zip(k, r, strict=True))
    # Rodrigues: the height over the turn is base + a cos t + b sin t.
    base, a, b = along * k[2], r[2] - along * k[2], k[0] * r[1] - k[1] * r[0]
    size, first = math.hypot(a, b), math.atan2(b, a)

    def height(angle: float) -> float:
        return base + a * math.cos(angle) + b * math.sin(angle)

    stops = sorted(
        (angle, word, value)
        for start, word, value in ((first, "highest", base + size), (first + math.pi, "lowest", base - size))
        for angle in [start % (2.0 * math.pi)]
        if angle < turn.angle
    )
    heights = [height(0.0), *(value for _, _, value in stops), height(turn.angle)]
    step = RESOLUTION_M[units]
    if stops and all(abs(one - other) >= step for one, other in pairwise(heights)):
        way = [
            f"{'rose' if other > one else 'fell'} by {show(abs(other - one), units)}"
            for one, other in pairwise(heights)
        ]
        through = " and ".join(word for _, word, _ in stops)
        yield f"On the way its height {', then '.join(way)}: it went through the {through} point of its circle."


def _elsewhere(joint: str, by: float, before: Side, after: Side, units: LengthUnit) -> Iterator[str]:
    found = other_start(before.pose, joint, by, before.point)
    if found is None:
        return
    start, rise = found
    own = after.pose.height(after.point) - before.pose.height(before.point)
    step = RESOLUTION_M[units]
    if abs(rise - own) < step:
        return
    if abs(rise) < 0.5 * step:
        does = f"would have left the {part(before.point)} as high as it was"
    else:
        does = f"would have {'raised' if rise > 0.0 else 'lowered'} the {part(before.point)} by {show(abs(rise), units)}"
    head = "It is the posture that decides: the" if rise * own <= 0.0 else "The"
    yield (
        f"{head} same turn begun with the {FACTOR[joint]} at {math.degrees(start):.1f} deg instead of "
        f"{math.degrees(before.pose.joint(joint)):.1f} deg {does}."
    )
