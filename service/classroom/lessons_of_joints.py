"""Lessons about joints: the bucket curled, one degree each, two that cancel. What is said of directions is computed."""

import math
from collections.abc import Mapping

import numpy as np

from kinematics.columns import solve_columns
from kinematics.explain import turn_between
from kinematics.fleet import fleet

from .bench import PLAIN_M, WITHIN, Bench, change_of, farthest_from, lever, most_of, untold, up_or_down
from .lesson import Choice, Question, Stand, Step

_CURL_DEG, _SMALL_CURL_DEG = 25.0, 3.0
_CLEAR_M = 0.2
_APART_M = 0.05
_PER_DEG = "0.01745"
_STEP_DEG = 0.25
_PULLS_DEG = (3.0, 2.0, 1.0)
_STICKS_DEG = (0.0, 10.0, 20.0, 30.0)
_NEAR = (0.25, 0.4, 0.15, 0.5)
"""Of the way from near to far."""
_PINS = {"boom": "boom_foot_pin", "stick": "stick_pin", "bucket": "bucket_pin"}
_ARM = {"boom": "The boom", "stick": "The stick", "bucket": "The bucket"}


def curl(at: Bench) -> tuple[Step, ...]:
    """Hold the pin, curl the bucket."""
    hung, falls, rises = _free(at)
    ahead, behind = (at.stand(hung | {"bucket": start}) for start in (falls, rises))
    curled = [at.stand(hung | {"bucket": start - _CURL_DEG}) for start in (falls, rises)]
    little = at.stand(hung | {"bucket": rises - _SMALL_CURL_DEG})
    return (
        Step(
            "radius", "The bucket hangs free. Boom and stick stand still from here on; only the bucket will curl.",
            (ahead,), ("height", "reach"), _radius(at, ahead, curled[0]),
        ),
        Step(
            "edge-ahead",
            f"The edge stands ahead of the bucket pin. The bucket curls by {_CURL_DEG:.0f} deg; the pin stays.",
            (ahead, curled[0]), ("height",),
            _which_way(at, (ahead, curled[0])),
        ),
        Step(
            "edge-behind",
            f"Now the edge stands behind the pin. The same curl, {_CURL_DEG:.0f} deg.",
            (behind, curled[1]), ("height",),
            _which_way(at, (behind, curled[1])),
        ),
        Step(
            "how-much",
            f"The same start, but a curl of {_SMALL_CURL_DEG:.0f} deg. For a small turn the height changes by how far "
            f"the edge is ahead of the pin or behind it, times {_PER_DEG} for each degree. Here it is "
            f"{at.show(abs(lever(behind, 'bucket_pin')[0]))} behind.",
            (behind, little), ("height",), _small(at, (behind, little)),
        ),
    )  # fmt: skip


def one_degree(at: Bench) -> tuple[Step, ...]:
    """One degree at each joint."""
    far, near = at.stand(at.far()), _near(at)
    arcs = {joint: _radius_of(at, far, joint) * math.radians(1.0) for joint in _PINS}
    told = ", ".join(f"the {joint} {at.show(arc)}" for joint, arc in arcs.items())
    raised = [(each, _turned(at, each, "boom", 1.0)) for each in (far, near)]
    lifts = [change_of(pair, "height").total for pair in raised]
    ahead = [lever(each, "boom_foot_pin")[0] for each in (far, near)]
    pushed = (near, _turned(at, near, "stick", 1.0))
    lengths = f"The edge is {at.show(ahead[0])} ahead of the boom foot pin: times {_PER_DEG} that is "
    lengths += f"{at.show(abs(ahead[0]) * math.radians(1.0))}. The exact turn gives {at.show(abs(lifts[0]))}."
    return (
        Step(
            "farthest", "One degree at the boom, one at the stick, one at the bucket: each alone, the others still.",
            (far,), ("height", "reach"),
            most_of(
                "Which of the three carries the edge farthest along its arc?", arcs, _ARM,
                (f"An arc is radius times turn. One degree carries the edge along: {told}.",),
            ),
        ),
        Step(
            "boom", f"The boom alone is raised by one degree. One degree is {_PER_DEG} of the radius.",
            raised[0], ("height",),
            at.how_far("By how much does the height of the edge change?", lifts[0], (lengths,)),
        ),
        Step(
            "nearer", f"The edge stands at a reach of {at.show(near.side.pose.reach)} instead of "
            f"{at.show(far.side.pose.reach)}. Again one degree of boom.",
            raised[1], ("height", "reach"), _more_or_less(at, lifts),
        ),
        Step(
            "stick", "The same start. The stick alone is pushed out by one degree.", pushed, ("height", "reach"),
            _height_or_reach(at, pushed),
        ),
    )  # fmt: skip


def cancelling(at: Bench) -> tuple[Step, ...]:
    """Boom up and stick in, the edge as high as before."""
    first = at.stand(at.far())
    second = _kept(at, first)
    third = _kept(at, second)
    share = change_of((second, third), "height").shares["boom"]
    booms = [each.angles_deg["boom"] for each in (first, second, third)]
    went = [change_of((first, third), quantity).total for quantity in ("height", "reach")]
    return (
        Step(
            "as-high",
            f"The boom is raised by {booms[1] - booms[0]:.0f} deg. The stick is pulled in "
            f"by {first.angles_deg['stick'] - second.angles_deg['stick']:.2f} deg.",
            (first, second), ("height", "reach"),
            up_or_down("Which way does the edge go?", change_of((first, second), "height").total,
                       ("The two joints were turned so that their shares of the height cancel: this is a level pass.",)),
        ),
        Step(
            "the-share",
            f"On along the same line: the boom up by another {booms[2] - booms[1]:.0f} deg, the stick in until the edge "
            f"is as high as before. The edge stands some {at.show(lever(second, 'boom_foot_pin')[0])} ahead of the boom "
            "foot pin.",
            (second, third), ("height",),
            at.how_far("How much of the height is the boom's share, without its sign?", share,
                       ("The stick's share is as large and has the other sign: together they are nothing. In which order "
                        "they were made has no say in it: a share is the mean over all orders.",)),
        ),
        Step(
            "what-else", "The first pose against the last: two joints turned, and the edge is as high as before.",
            (first, third), ("height", "reach"),
            most_of("Has anything changed?", {"reach": abs(went[1]), "nothing": 0.0},
                    {"reach": "Yes, the reach", "nothing": "No, nothing"},
                    (f"The reach changed by {at.show(went[1])}. A height that stays does not say that the joints "
                     "stayed.",)),
        ),
    )  # fmt: skip


def _free(at: Bench) -> tuple[dict[str, float], float, float]:
    """A pose with the bucket hanging free, and starts (deg) on both sides of the pin; the stick pushed out if need be."""
    for by in _STICKS_DEG:
        rest = at.resting()
        hung = _hung(at, rest | {"stick": min(rest["stick"] + by, at.span_deg("stick").high)})
        found = _starts(at, hung)
        if found is not None:
            return hung, *found
    raise untold(
        "a bucket whose edge stays on one side of its pin", "one that curls from before to behind it"
    )


def _hung(at: Bench, joints: dict[str, float]) -> dict[str, float]:
    """The boom raised until the bucket swings clear of the ground."""
    while joints["boom"] <= at.span_deg("boom").high:
        stand = at.stand(joints)
        pin = stand.side.pose.pins()["bucket_pin"]
        if pin[2] - farthest_from(stand, "bucket_pin") >= at.stance.ground + _CLEAR_M:
            return joints
        joints = joints | {"boom": joints["boom"] + 1.0}
    raise untold("a boom that cannot lift the bucket clear of the ground", "room for the bucket to swing")


def _starts(at: Bench, hung: Mapping[str, float]) -> tuple[float, float] | None:
    """Starts (deg) from which the curl lowers and raises the edge most, without turning back on the way; None where it
    does not plainly do both."""
    span = at.span_deg("bucket")
    starts = np.arange(span.low + _CURL_DEG, span.high + 1.0)
    pin = at.stand(hung).side.pose.pins()["bucket_pin"][0]
    angles = {name: np.full(len(starts), math.radians(angle)) for name, angle in hung.items()}
    lean = {"pitch": np.zeros(len(starts)), "roll": np.zeros(len(starts))}
    ends = [
        solve_columns(
            fleet([at.fitted]), {**lean, **angles, "bucket": np.radians(starts - turned)},
            ["centre_height", "centre_reach"],
        ).values
        for turned in (0.0, _CURL_DEG)
    ]  # fmt: skip
    rises = ends[1]["centre_height"] - ends[0]["centre_height"]
    ahead = [each["centre_reach"] - pin for each in ends]
    down, up = (
        np.where(np.minimum(*sides) > 0.0, gain, np.nan)
        for sides, gain in ((ahead, -rises), ([-each for each in ahead], rises))
    )
    if not ((down >= PLAIN_M).any() and (up >= PLAIN_M).any()):
        return None
    return float(starts[np.nanargmax(down)]), float(starts[np.nanargmax(up)])


def _radius(at: Bench, stand: Stand, curled: Stand) -> Question:
    turn = turn_between(stand.side, curled.side)
    assert turn is not None  # noqa: S101  # one joint alone
    other = {
        "stick": (at.fitted.machine.stick_length, "the length of the stick"),
        "stick-pin-to-edge": (math.hypot(*lever(stand, "stick_pin")), "the way from the pin between boom and stick"),
        "boom-foot-to-edge": (math.hypot(*lever(stand, "boom_foot_pin")), "the way from the boom foot pin"),
    }  # fmt: skip
    lengths = {"pin-to-edge": turn.radius}
    for name, (length, _) in other.items():
        if len(lengths) < 3 and min(abs(length - each) for each in lengths.values()) >= _APART_M:
            lengths[name] = length
    if len(lengths) < 3:
        raise untold("lengths that are much alike", "a radius that can be told from others of the machine")
    told = " and ".join(
        f"{at.show(lengths[name])} {words}" for name, (_, words) in other.items() if name in lengths
    )
    return Question(
        "choice", "On which radius will the edge centre turn?", "pin-to-edge",
        (f"It turns about the bucket pin, and that is {at.show(turn.radius)} away. The others: {told}.",),
        tuple(Choice(name, at.show(lengths[name])) for name in sorted(lengths, key=lambda name: lengths[name])),
    )  # fmt: skip


def _which_way(at: Bench, stands: tuple[Stand, Stand]) -> Question:
    return up_or_down(
        "Which way does the edge centre go?", change_of(stands, "height").total,
        (f"About its pin the edge goes round in a circle. Curling in takes it down while it is ahead of the pin and up "
         f"while it is behind. It began {at.show(abs(lever(stands[0], 'bucket_pin')[0]))} "
         f"{_ahead(stands[0], 'bucket_pin')} the pin.",),
    )  # fmt: skip


def _small(at: Bench, stands: tuple[Stand, Stand]) -> Question:
    exact = change_of(stands, "height").total
    ahead = lever(stands[0], "bucket_pin")[0]
    about = abs(ahead) * math.radians(_SMALL_CURL_DEG)
    if abs(about - abs(exact)) > 0.5 * WITHIN * abs(exact):  # the rule that is taught must be judged right
        raise untold(
            f"a circle that bends from {at.show(about)} to {at.show(abs(exact))}", "one that bends less"
        )
    return at.how_far(
        "By how much does the height of the edge change?", exact,
        (f"{at.show(abs(ahead))} times {_SMALL_CURL_DEG:.0f} times {_PER_DEG} is {at.show(about)}. The circle bends on "
         f"the way; exact is {at.show(abs(exact))}.",),
    )  # fmt: skip


def _turned(at: Bench, stand: Stand, joint: str, by_deg: float) -> Stand:
    return at.stand({**stand.angles_deg, joint: stand.angles_deg[joint] + by_deg})


def _radius_of(at: Bench, stand: Stand, joint: str) -> float:
    """Of the circle (m) on which a joint alone carries the edge."""
    turn = turn_between(stand.side, _turned(at, stand, joint, -1.0).side)
    assert turn is not None  # noqa: S101  # one joint alone
    return turn.radius


def _near(at: Bench) -> Stand:
    """The edge on the ground near by, where a degree of stick plainly does more to one of height and reach."""
    for part in _NEAR:
        near = at.stand(at.placed(at.stance.near + part * (at.stance.far - at.stance.near)))
        _, gap = _changes(near, _turned(at, near, "stick", 1.0))
        if gap >= PLAIN_M:
            return near
    raise untold("height and reach that change much alike", "one that plainly changes more")


def _changes(*stands: Stand) -> tuple[dict[str, float], float]:
    """What height and reach change by (m), without sign, and how far these are apart."""
    sizes = {quantity: abs(change_of(stands, quantity).total) for quantity in ("height", "reach")}
    return sizes, abs(sizes["height"] - sizes["reach"])


def _height_or_reach(at: Bench, pushed: tuple[Stand, Stand]) -> Question:
    ahead, above = lever(pushed[0], "stick_pin")
    return most_of(
        "What changes more, height or reach?", _changes(*pushed)[0], {"height": "The height", "reach": "The reach"},
        ("An edge below its pin swings along, an edge ahead of its pin swings up and down. Here it is "
         f"{at.show(abs(ahead))} {_ahead(pushed[0], 'stick_pin')} and {at.show(abs(above))} "
         f"{_above(pushed[0], 'stick_pin')} the pin between boom and stick.",),
    )  # fmt: skip


def _more_or_less(at: Bench, lifts: list[float]) -> Question:
    far, near = (abs(each) for each in lifts)
    if abs(far - near) < PLAIN_M:
        raise untold("much the same far and near", "a plain difference")
    return Question(
        "choice", "Does that degree change the height by more than before, by less, or by as much?",
        "more" if near > far else "less",
        (f"Here {at.show(near)}, before {at.show(far)}: what counts is how far the edge is ahead of the boom foot pin.",),
        (Choice("more", "By more"), Choice("less", "By less"), Choice("same", "By as much")),
    )  # fmt: skip


def _kept(at: Bench, stand: Stand) -> Stand:
    """The boom raised, and the stick pulled in until the edge is as high as before."""
    for by in _PULLS_DEG:
        joints = {**stand.angles_deg, "boom": stand.angles_deg["boom"] + by}
        low = at.span_deg("stick").low
        above = joints["stick"]
        while above - _STEP_DEG >= low:
            if _over(at, joints | {"stick": above - _STEP_DEG}, stand) <= 0.0:
                return at.stand(joints | {"stick": _bisected(at, joints, above - _STEP_DEG, above, stand)})
            above -= _STEP_DEG
    raise untold("a stick that cannot take back what the boom lifts", "one that can")


def _over(at: Bench, joints: Mapping[str, float], stand: Stand) -> float:
    return at.stand(joints).side.pose.height("centre") - stand.side.pose.height("centre")


def _bisected(at: Bench, joints: Mapping[str, float], under: float, above: float, stand: Stand) -> float:
    """The stick's angle (deg) between two at which the edge is as high as in `stand`, to 1e-12 deg."""
    for _ in range(40):
        middle = 0.5 * (under + above)
        if _over(at, {**joints, "stick": middle}, stand) > 0.0:
            above = middle
        else:
            under = middle
    return under


def _ahead(stand: Stand, pin: str) -> str:
    return "ahead of" if lever(stand, pin)[0] >= 0.0 else "behind"


def _above(stand: Stand, pin: str) -> str:
    return "above" if lever(stand, pin)[1] >= 0.0 else "below"
