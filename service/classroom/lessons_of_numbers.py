"""Lessons about what stands beside the joints: the lean, the corners, the tilt, the reference."""

import math
from collections.abc import Sequence

from kinematics.units import percent_from_ratio

from .bench import PLAIN_M, Bench, change_of, slope_to_tell, untold, up_or_down
from .lesson import Choice, Question, Stand, Step

_ORIGIN_M, _TARGET_UNDER_M = 101.5, 0.3
_OTHER_M = 0.014
"""Of two elevations, still plainly more than nothing once both are rounded to hundredths of a foot."""
_CORNERS = (
    Choice("left", "The left corner"), Choice("right", "The right corner"), Choice("neither", "Neither, both the same"),
)  # fmt: skip


def leaning(at: Bench) -> tuple[Step, ...]:
    """Body pitch and roll."""
    far, rest = at.far(), at.resting()
    nose_up = at.stand(far), at.stand(far, pitch=0.5)
    nose_down = at.stand(rest), at.stand(rest, pitch=-0.5)
    flat = at.placed(at.stance.pose.reach, (0.0, 5.0, 15.0, 25.0, 35.0))
    rolled = at.stand(flat), at.stand(flat, roll=2.0)
    reach = at.stance.pose.reach
    fell = change_of(nose_down, "height").total
    slope = percent_from_ratio(rolled[1].side.pose.cross_slope)
    return (
        Step(
            "nose-up",
            "The body pitches half a degree nose up about its origin. No joint moves.",
            nose_up, ("height", "reach"),
            up_or_down("Which way does the edge centre go?", change_of(nose_up, "height").total,
                       ("The whole machine turns with the body, and the joints say what they said before. Without the "
                        "body's sensor nobody would see it.",)),
        ),
        Step(
            "how-much",
            f"Now half a degree nose down, the edge at a reach of {at.show(reach)}. Half a degree is 0.00873 of a "
            "radius.",
            nose_down, ("height",),
            at.how_far("By how much does the height of the edge change?", fell,
                       (f"Reach times 0.00873 is {at.show(reach * math.radians(0.5))}; exact is {at.show(abs(fell))}.",)),
        ),
        Step(
            "roll",
            "The body rolls by two degrees, left side up. The cross-slope is positive with the bucket's right corner "
            "higher.",
            rolled, ("cross_slope",),
            slope_to_tell("What cross-slope does the edge have then, in percent?", slope,
                          (f"The tangent of 2 deg is {100.0 * math.tan(math.radians(2.0)):.2f} %; the edge has "
                           f"{slope:+.1f} %. The sign says which corner is higher.",)),
            "front",
        ),
    )  # fmt: skip


def corners(at: Bench) -> tuple[Step, ...]:
    """The corner is not the centre."""
    rest = at.resting()
    right_up, left_up = (
        [at.stand(rest, roll=roll, point=each) for each in ("left", "right")] for roll in (-3.0, 2.0)
    )
    apart = change_of(left_up, "height").total
    level = at.stand(rest, roll=4.0).side.pose.height("centre")
    target = at.stance.ground + _ORIGIN_M - _TARGET_UNDER_M
    on_it = [
        at.stand(rest, roll=4.0, point=point, origin=target - level, target=target) for point in ("centre", "right")
    ]  # fmt: skip
    return (
        Step(
            "which", "The body is rolled by three degrees, right side up. No joint moves; first the left corner is read, "
            "then the right.",
            (right_up[0], right_up[1]), ("height", "cross_slope"), _lower(at, right_up), "front",
        ),
        Step(
            "how-much", "Two degrees of roll, left side up. Two degrees are 0.0349 of the edge's width, "
            f"which is {at.show(_width(left_up))}.",
            (left_up[0], left_up[1]), ("height",),
            at.how_far("How far apart in height are the corners?", apart,
                       (f"The right corner less the left is {at.show(apart)}. Nothing moved: the whole change is the "
                        "choice of edge point.",)),
            "front",
        ),
        Step(
            "on-grade", "Four degrees of roll, left side up, and the edge centre on the target. Then the right corner "
            "is read.",
            (on_it[0], on_it[1]), ("above_target",), _beside_target(at, on_it), "front",
        ),
    )  # fmt: skip


def reference(at: Bench) -> tuple[Step, ...]:
    """The number changed, the machine did not."""
    rest = at.resting()
    target = at.stance.ground + _ORIGIN_M - _TARGET_UNDER_M

    def read(by: float, deeper: float = 0.0) -> Stand:
        return at.stand(rest, origin=_ORIGIN_M + by, target=target - deeper)

    lower, higher, deeper = (
        (read(0.0), read(-_OTHER_M)),
        (read(0.0), read(_OTHER_M)),
        (read(0.0), read(0.0, _OTHER_M)),
    )
    changed = {
        name: change_of(stands, "elevation").total for name, stands in (("lower", lower), ("higher", higher))
    }
    return (
        Step(
            "lower", "The machine stands still. A check at the benchmark finds the body's origin "
            f"{at.show(abs(changed['lower']))} lower than was thought.",
            lower, ("elevation", "above_target"),
            up_or_down("What does the elevation of the edge do?", changed["lower"],
                       ("Every elevation is the origin's plus a height over it; the height is as it was.",)),
        ),
        Step(
            "which-joint", "Another check puts the origin higher, and the readout of the edge is now "
            f"{at.show(changed['higher'])} more.",
            higher, ("elevation",),
            Question(
                "choice", "Which joint moved?", "none",
                ("The pose is the same to the last digit: the whole change is the reference's share.",),
                (Choice("boom", "The boom"), Choice("stick", "The stick"), Choice("bucket", "The bucket"),
                 Choice("none", "None of them")),
            ),
        ),
        Step(
            "whose", "The origin stays. The readout's height above the target changes, the edge's elevation does not.",
            deeper, ("elevation", "above_target"),
            Question(
                "choice", "Whose share is the change of the height above the target?", "target",
                (f"The edge is where it was; the target is {at.show(change_of(deeper, 'above_target').total)} deeper.",),
                (Choice("reference", "The reference's"), Choice("lean", "The body's lean"),
                 Choice("edge_point", "The choice of edge point"), Choice("target", "The target's")),
            ),
        ),
    )  # fmt: skip


def tilting(at: Bench) -> tuple[Step, ...]:
    """The tilt and the cross-slope."""
    if "tilt" not in at.fitted.ranges:
        raise untold("an attachment without a tilt axis", "one that tilts")
    flat = at.placed(at.stance.pose.reach, (0.0, 5.0, 15.0, 25.0, 35.0))
    if flat["tilt"] != 0.0:
        raise untold("a tilt that cannot stand square", "one whose range has zero in it")
    tilts = (flat["tilt"], flat["tilt"] + 5.0, flat["tilt"] - 4.0)
    left, raised = (at.stand(flat | {"tilt": each}, point="left") for each in tilts[:2])
    square, tilted = (at.stand(flat | {"tilt": each}) for each in (tilts[0], tilts[2]))
    slope = percent_from_ratio(tilted.side.pose.cross_slope)
    return (
        Step(
            "left-corner", "The tilt turns by five degrees, left corner up. Everything before it stands still.",
            (left, raised), ("height", "cross_slope"),
            up_or_down("Which way does the left corner go?", change_of((left, raised), "height").total,
                       ("It turns about the tilt axis, on a circle as wide as its way to that axis.",)),
            "front",
        ),
        Step(
            "slope", "From square the tilt turns by four degrees, right corner up. The cross-slope is positive with the "
            "bucket's right corner higher.",
            (square, tilted), ("cross_slope",),
            slope_to_tell("What cross-slope does the edge have then, in percent?", slope,
                          (f"The tangent of 4 deg is {100.0 * math.tan(math.radians(4.0)):.2f} %; the edge has "
                           f"{slope:+.1f} %. Where the tilt axis does not lie level it is not the same.",)),
            "front",
        ),
    )  # fmt: skip


def _width(stands: Sequence[Stand]) -> float:
    return math.dist(*(each.side.pose.level(each.edge_point) for each in stands))


def _lower(at: Bench, stands: Sequence[Stand]) -> Question:
    rise = change_of(stands, "height").total
    if abs(rise) < PLAIN_M:
        raise untold(f"corners {at.show(abs(rise))} apart", "a plain difference")
    return Question(
        "choice", "Which corner is lower?", "left" if rise > 0.0 else "right",
        (f"The corners are {at.show(abs(rise))} apart in height, and the centre tells of neither.",), _CORNERS,
    )  # fmt: skip


def _beside_target(at: Bench, stands: Sequence[Stand]) -> Question:
    above = change_of(stands, "above_target").after
    if abs(above) < PLAIN_M:
        raise untold(f"a corner {at.show(abs(above))} from the target", "a plain difference")
    side = "above" if above > 0.0 else "below"
    return Question(
        "choice", "Where is the right corner?", side,
        (f"It is {at.show(abs(above))} {side} the target. Where a corner matters, read the corner.",),
        (Choice("above", "Above the target"), Choice("on", "On the target"), Choice("below", "Below the target")),
    )  # fmt: skip
