"""Why a number changed, in sentences made from the numbers."""

import math
from collections.abc import Iterator, Mapping, Sequence

from kinematics.explain import LEAN, Change, Explanation, Side, Turn, other_start
from kinematics.units import RESOLUTION_M, LengthUnit, show

from .corrections import part

FACTOR = {
    "pitch": "body pitch", "roll": "body roll", "swing_boom": "swing boom", "boom": "boom", "fore_boom": "fore boom",
    "stick": "stick", "bucket": "bucket", "tilt": "tilt", "rotate": "rotation", "edge_point": "choice of edge point",
    "reference": "reference", "target": "target",
}  # fmt: skip
_PIN = {
    "boom": "the boom foot pin", "fore_boom": "the pin between the booms", "stick": "the pin between boom and stick",
    "bucket": "the bucket pin", "tilt": "the tilt axis", "rotate": "the rotation axis",
    "swing_boom": "the boom's swing post", "pitch": "a level line across the body through its origin",
    "roll": "a level line along the body through its origin",
}  # fmt: skip
_UP, _DOWN = (
    {"boom": "was raised", "fore_boom": "was raised", "stick": "was pushed out", "bucket": "was uncurled",
     "pitch": "pitched nose up", "roll": "rolled left side up"},
    {"boom": "was lowered", "fore_boom": "was lowered", "stick": "was pulled in", "bucket": "was curled",
     "pitch": "pitched nose down", "roll": "rolled right side up"},
)  # fmt: skip
_QUANTITY = {
    "height": ("height over the body's origin", "rose", "fell"), "elevation": ("elevation", "rose", "fell"),
    "reach": ("reach", "grew", "shrank"), "lateral": ("place to the left", "grew", "shrank"),
    "above_target": ("height above the target", "rose", "fell"),
}  # fmt: skip
"""In words, and what it does upwards and downwards."""
TENTH_OF_A_PERCENT = 0.001
_SAME_DEG = 0.005
Counted = Mapping[str, int]


def steps_of(change: Change, units: LengthUnit) -> tuple[int, int, Counted]:
    """(before, after, each share) of a length in whole steps of `RESOLUTION_M`: the shares add up to after - before.

    Rounded each for itself they would not: a step or so left over goes to those cut off most (largest remainders).
    """
    return whole_steps(change, RESOLUTION_M[units])


def whole_steps(change: Change, step: float) -> tuple[int, int, Counted]:
    """The same for any step."""
    before, after = round(change.before / step), round(change.after / step)
    exact = {name: share / step for name, share in change.shares.items()}
    floors = {name: math.floor(value) for name, value in exact.items()}
    left = after - before - sum(floors.values())
    by_rest = sorted(exact, key=lambda name: floors[name] - exact[name])
    return before, after, {name: floors[name] + (name in by_rest[:left]) for name in exact}


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
    before, after, shares = whole_steps(change, TENTH_OF_A_PERCENT)
    if before == after:
        head = f"The cross-slope is as before, {after / 10:+.1f} %"
    else:
        head = f"The cross-slope went from {before / 10:+.1f} % to {after / 10:+.1f} %"
    told = [f"{FACTOR[name]} {count / 10:+.1f} %" for name, count in largest_first(shares) if count]
    return f"{head}: {', '.join(told)}." if told else f"{head}."


def largest_first(shares: Counted) -> list[tuple[str, int]]:
    """Factors with their steps."""
    return sorted(shares.items(), key=lambda each: -abs(each[1]))


def signed(metres: float, units: LengthUnit) -> str:
    """With its sign: "+0.120 m"."""
    return f"{'+' if metres >= 0.0 else '-'}{show(abs(metres), units)}"


def reasons(told: Explanation, before: Side, after: Side, units: LengthUnit) -> Iterator[str]:
    """What turned about what, what stayed, why it went that way, and what the same would do elsewhere."""
    if not told.changed:
        yield "Nothing changed between the two."
        return
    yield from _still(told)
    if told.turn is not None:
        joint = next(name for name in told.changed if name in _PIN)
        yield from _turned(joint, told.turn, before, after, units)
    elif len(told.changed) > 1:
        yield (
            "Several things changed at once. Each share is what that one did, averaged over every order in which they "
            "could have been made; so they add up, whichever came first."
        )


def _still(told: Explanation) -> Iterator[str]:
    if "reference" not in told.changed and "elevation" in told.changes:
        yield "The reference did not change: the same body origin carries both numbers."
    if "reference" in told.changed:
        yield (
            "The reference changed: the body origin was given another elevation, by a touch, a strike or a withdrawal, "
            "and every point of the machine with it."
        )


def _turned(joint: str, turn: Turn, before: Side, after: Side, units: LengthUnit) -> Iterator[str]:
    q = [float(side.pose.q[_place(joint)]) for side in (before, after)]
    by = math.degrees(q[1] - q[0])
    doing = (_UP if by > 0.0 else _DOWN).get(joint, "turned")
    stayed = (
        "the body's origin is taken to stay where the reference has it" if joint in LEAN
        else "that and everything before it did not move"
    )  # fmt: skip
    yield (
        f"Only the {FACTOR[joint]} changed: it {doing} by {abs(by):.2f} deg. The {part(before.point)} turned about "
        f"{_PIN[joint]}, {show(turn.radius, units)} away, along an arc of {show(turn.arc, units)}; {stayed}."
    )
    yield from _why(turn, before, after, units)
    if joint not in LEAN:
        yield from _elsewhere(joint, q, before, after, units)


def _why(turn: Turn, before: Side, after: Side, units: LengthUnit) -> Iterator[str]:
    first, second = (
        tuple(a - b for a, b in zip(side.pose.level(side.point), turn.at, strict=True))
        for side in (before, after)
    )
    if abs(turn.axis[2]) > _UPRIGHT:
        yield "It turned about an upright axis, so hardly any of the turn goes up or down."
        return
    yield f"Seen from that axis it went from {_where(first, units)} to {_where(second, units)}."
    lowest, highest = _passed(turn, first)
    if lowest:
        yield "On the way it went through the lowest point of its circle: the number first fell, then rose."
    if highest:
        yield "On the way it went through the highest point of its circle: the number first rose, then fell."


_UPRIGHT = math.cos(math.radians(2.0))


def _where(lever: Sequence[float], units: LengthUnit) -> str:
    x, _, z = lever
    ahead = f"{show(abs(x), units)} {'ahead' if x > 0.0 else 'behind'}"
    return f"{ahead} and {show(abs(z), units)} {'above' if z > 0.0 else 'below'}"


def _passed(turn: Turn, lever: Sequence[float]) -> tuple[bool, bool]:
    """Whether the arc goes through the lowest, and the highest, point of its circle, well before either end."""
    k, r = turn.axis, lever
    across = k[1] * r[2] - k[2] * r[1], k[2] * r[0] - k[0] * r[2], k[0] * r[1] - k[1] * r[0]
    # z = a cos t + b sin t + c over the turn: its turning points at tan t = b / a.
    along = sum(one * other for one, other in zip(k, r, strict=True))
    a, b = r[2] - along * k[2], across[2]
    top = math.atan2(b, a) % (2.0 * math.pi)
    bottom = (top + math.pi) % (2.0 * math.pi)
    least = math.radians(_SAME_DEG)
    return (least < bottom < turn.angle - least, least < top < turn.angle - least)


def _elsewhere(
    joint: str, q: Sequence[float], before: Side, after: Side, units: LengthUnit
) -> Iterator[str]:  # fmt: skip
    found = other_start(before.pose, joint, q[1] - q[0], before.point)
    if found is None:
        return
    start, rise = found
    own = after.pose.height(after.point) - before.pose.height(before.point)
    step = RESOLUTION_M[units]
    if round(rise / step) == round(own / step):
        return
    verb = "as high as it was" if round(rise / step) == 0 else (
        f"{show(abs(rise), units)} {'higher' if rise > 0.0 else 'lower'}"
    )  # fmt: skip
    yield (
        f"It is the posture that decides: the same turn begun with the {FACTOR[joint]} at {math.degrees(start):.1f} deg "
        f"instead of {math.degrees(q[0]):.1f} deg would have left the {part(before.point)} {verb}."
    )


def _place(joint: str) -> int:
    return (*LEAN, "swing_boom", "boom", "fore_boom", "stick", "bucket", "tilt", "rotate").index(joint)
