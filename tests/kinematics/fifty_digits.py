"""The whole chain once more, in mpmath at 50 digits: a referee for values and for derivatives.

Written from the rules of the trade: a body that leans, then one homogeneous 4 x 4 matrix a pin, and each reading from
level-frame places. It shares no line with `kinematics`, only the names of parameters, joints and points.
"""

from collections.abc import Mapping, Sequence

import mpmath
from mpmath import mp, mpf

DIGITS = 50
JOINTS = ("pitch", "roll", "swing_boom", "boom", "fore_boom", "stick", "bucket", "tilt", "rotate")
"""The order of q."""

EDGE, TEETH = ("left", "centre", "right"), ("tooth_left", "tooth_centre", "tooth_right")
HEEL = ("heel_left", "heel_right")
ON_BUCKET = (*EDGE, *TEETH, *HEEL)
AXES = ("reach", "lateral", "height")
# A central difference at 50 digits: its error is the third derivative times 1e-30, its rounding 1e-35.
STEP = mpf(10) ** -15

Parameters = Mapping[str, float]
Row = list[mpf]
Matrix = list[Row]
Outputs = dict[str, mpf]


def product(a: Matrix, b: Matrix) -> Matrix:
    """Matrix product; plain lists, a tenth of the time of `mpmath.matrix`."""
    columns = list(zip(*b, strict=True))
    return [[mpmath.fdot(zip(row, column, strict=True)) for column in columns] for row in a]


def chained(*links: Matrix) -> Matrix:
    """The product of all, outermost first."""
    found = links[0]
    for link in links[1:]:
        found = product(found, link)
    return found


def carried(a: Matrix, x: mpf, y: mpf, z: mpf, *, place: bool = True) -> Row:
    """A place, or a direction, of the inner frame in the outer one."""
    inner = [x, y, z, mpf(1) if place else mpf(0)]
    return [mpmath.fdot(zip(row, inner, strict=True)) for row in a[:3]]


def moved(x: mpf, y: mpf, z: mpf) -> Matrix:
    """A step without a turn."""
    return [[mpf(i == j) for j in range(3)] + [(x, y, z)[i]] for i in range(3)] + [[mpf(0)] * 3 + [mpf(1)]]


def about(axis: Sequence[mpf], angle: mpf) -> Matrix:
    """Rodrigues' formula by the right hand, with the axis as it is given: cos I + (1 - cos) u u' + sin [u]."""
    c, s = mp.cos(angle), mp.sin(angle)
    ux, uy, uz = axis
    cross = ((0, -uz, uy), (uz, 0, -ux), (-uy, ux, 0))
    turn = [
        [c * (i == j) + (1 - c) * axis[i] * axis[j] + s * cross[i][j] for j in range(3)] + [mpf(0)]
        for i in range(3)
    ]
    return [*turn, [mpf(0)] * 3 + [mpf(1)]]


UP, AHEAD, RAISING = (0, 0, 1), (1, 0, 0), (0, -1, 0)
"""Axes of the swing boom, of roll, and of all that is positive from x towards z."""


def level_from_body(pitch: mpf, roll: mpf) -> Matrix:
    """The body rolls left side up about its own x, then pitches nose up; the heading is what is left over.

    The level x lies along the horizontal trace of the body's x-z plane: square to plumb and to the body's y.
    """
    leaned = product(about(RAISING, pitch), about(AHEAD, roll))
    left_x, left_y, _ = carried(leaned, mpf(0), mpf(1), mpf(0), place=False)
    trace = left_y, -left_x  # left x up
    return product(about(UP, -mp.atan2(trace[1], trace[0])), leaned)


def frames(p: Parameters, q: Sequence[float]) -> tuple[Matrix, Matrix]:
    """(level from stick, level from bucket)."""
    value = {name: mpf(p[name]) for name in p}
    pitch, roll, swing_boom, boom, fore_boom, stick, bucket, tilt, rotate = (mpf(angle) for angle in q)

    def step(name: str) -> Matrix:
        there = moved(value[f"{name}_x"], mpf(0), value[f"{name}_z"])
        return product(there, about(RAISING, value[f"{name}_angle"]))

    def turn(name: str, angle: mpf) -> Matrix:
        point = [value[f"{name}_point_{axis}"] for axis in "xyz"]
        turned = about([value[f"{name}_axis_{axis}"] for axis in "xyz"], angle)
        return chained(moved(*point), turned, moved(*(-x for x in point)))

    def link(angle: mpf, length: mpf) -> Matrix:
        return product(about(RAISING, angle), moved(length, mpf(0), mpf(0)))

    stick_frame = chained(
        level_from_body(pitch, roll),
        moved(value["swing_post_x"], value["swing_post_y"], mpf(0)),
        about(UP, swing_boom),
        moved(value["boom_foot_x"], value["boom_foot_y"], mpf(0)),
        link(boom, value["boom_length"]),
        link(fore_boom, value["fore_boom_length"]),
        about(RAISING, stick),
    )
    bucket_frame = chained(
        stick_frame,
        moved(value["stick_length"], mpf(0), mpf(0)),
        about(RAISING, bucket),
        step("coupler"),
        turn("tilt", tilt),
        turn("rotate", rotate),
        step("mount"),
    )
    return stick_frame, bucket_frame


def outputs(p: Parameters, q: Sequence[float]) -> Outputs:
    """Every output of one pose by name, at 50 digits; none for a point that `p` does not give (NaN).

    `p`: parameter name to value, m and rad; `q`: the angles of `JOINTS`, rad, 0 where a joint is missing. Places in
    the level frame as `POINT_reach`, `_lateral`, `_height`, m; `cross_slope` a ratio, `floor_angle` and
    `mast_angle` in rad, `heel_clearance` in m. Nose up 1 deg lifts an edge 10 m ahead by 0.175 m.
    """
    with mp.workdps(DIGITS):
        stick, bucket = frames(p, q)
        places: dict[str, Row] = {}
        for name in (*ON_BUCKET, "receiver"):
            point = [mpf(p[f"{name}_{axis}"]) for axis in "xyz"]
            if not any(mp.isnan(x) for x in point):
                places[name] = carried(stick if name == "receiver" else bucket, *point)
        found = {
            f"{name}_{axis}": x for name, place in places.items() for axis, x in zip(AXES, place, strict=True)
        }
        ahead = [carried(bucket, *_ahead_of(p, heel))[2] for heel in HEEL]
        found |= _readings(places)
        found["heel_clearance"] = min(places[heel][2] - z for heel, z in zip(HEEL, ahead, strict=True))
        if "receiver" in places:
            mast = carried(stick, *(mpf(p[f"mast_{axis}"]) for axis in "xyz"), place=False)
            found["mast_angle"] = mp.atan2(mp.hypot(mast[0], mast[1]), mast[2])
        return found


def _readings(places: dict[str, Row]) -> Outputs:
    left, centre, right = (places[name] for name in EDGE)
    along = [right[i] - left[i] for i in range(2)]
    run = mp.hypot(*along)
    # Level, square to the edge, away from the seat where the bucket's left is to the left: (left less right) x up.
    forward = -along[1] / run, along[0] / run
    heel = [
        (a + b) / 2 - c for a, b, c in zip(places["heel_left"], places["heel_right"], centre, strict=True)
    ]
    return {
        "cross_slope": (right[2] - left[2]) / run,
        "floor_angle": mp.atan2(heel[2], heel[0] * forward[0] + heel[1] * forward[1]),
    }


def _ahead_of(p: Parameters, heel: str) -> list[mpf]:
    """The point of the line left, centre, right of the edge at a heel end's y, in the bucket's frame; no further out
    than a corner."""
    y, middle = mpf(p[f"{heel}_y"]), mpf(p["centre_y"])
    corner = "left" if y > middle else "right"
    share = min(mpf(1), (y - middle) / (mpf(p[f"{corner}_y"]) - middle))
    return [mpf(p[f"centre_{a}"]) + share * (mpf(p[f"{corner}_{a}"]) - mpf(p[f"centre_{a}"])) for a in "xyz"]


def derivatives(p: Parameters, q: Sequence[float], with_respect_to: str) -> Outputs:
    """Partial derivative of every output by one joint angle or one parameter, all others held; 30 digits are good."""
    with mp.workdps(DIGITS):
        ahead, behind = (outputs(*_varied(p, q, with_respect_to, step)) for step in (STEP, -STEP))
        return {name: (ahead[name] - behind[name]) / (2 * STEP) for name in ahead}


def derivative(p: Parameters, q: Sequence[float], output: str, with_respect_to: str) -> mpf:
    """As `derivatives`, for one output by name."""
    return derivatives(p, q, with_respect_to)[output]


def _varied(
    p: Parameters, q: Sequence[float], name: str, step: mpf
) -> tuple[Mapping[str, mpf], Sequence[mpf]]:
    if name in JOINTS:
        return p, [mpf(x) + step if joint == name else mpf(x) for joint, x in zip(JOINTS, q, strict=True)]
    return {**p, name: mpf(p[name]) + step}, q
