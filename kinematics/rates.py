"""Exact rates of cylinder triangle and bucket four-bar by every angle and dimension, as scalars that never raise.

Each linkage closes one length. How fast that length would stretch with each angle and dimension gives, by `follows`,
how any one of them moves with any other while it stays closed. Frames, signs and arguments as in `linkage`.

Source: implicit differentiation of the loop closure; velocities along a two-force link are R. L. Norton, Design of
Machinery, ch. 6, lengths differentiated like angles.
"""

import math

from .compiled import compiled

# Angles and dimensions from one solution close to 1e-15 of their size; a millionth is a mistake, or another branch.
CLOSED = 1e-6

Rates = tuple[float, float, float, float, float, float, float, float]
Followed = tuple[float, float, float, float, float, float, float]


@compiled
def follows(by_cause: float, by_answer: float) -> float:
    """d answer / d cause of two quantities that one closure ties, from the closure's rate by each.

    Implicit differentiation: -rate/rate; NaN where the answer does not move the closure (dead centre). A cylinder
    that would stretch by 0.5 m a radian of its joint turns it by 2 rad a metre: follows(-1.0, 0.5).
    """
    return math.nan if by_answer == 0.0 else -by_cause / by_answer


@compiled
def triangle_rates(
    angle: float, foot_x: float, foot_z: float, eye_x: float, eye_z: float
) -> tuple[float, float, float, float, float]:
    """Rates of a cylinder's length by (joint angle, foot x, foot z, eye x, eye z): m/rad, then m/m.

    Arguments as `linkage.cylinder_from_joint`, either side. NaN where the length is nil. Foot 3 m ahead, eye 4 m out,
    link upright: 5 m long, stretching by 2.4 m a radian raised. The joint angle that a length holds has the rates
    follows(-1, rates[0]) by that length and follows(rates[i], rates[0]) by a dimension: rad/m.
    """
    if not math.isfinite(angle):
        return math.nan, math.nan, math.nan, math.nan, math.nan
    c = math.cos(angle)
    s = math.sin(angle)
    px = c * eye_x - s * eye_z
    pz = s * eye_x + c * eye_z
    ux = px - foot_x
    uz = pz - foot_z
    length = math.hypot(ux, uz)
    if not 0.0 < length < math.inf:
        return math.nan, math.nan, math.nan, math.nan, math.nan
    ux /= length
    uz /= length
    return uz * px - ux * pz, -ux, -uz, c * ux + s * uz, c * uz - s * ux


@compiled
def along_link(wx: float, wz: float, rx: float, rz: float, lx: float, lz: float) -> tuple[float, float]:
    """How fast link pin less idler pin moves along (wx, wz), per radian of (bucket, idler).

    (rx, rz) runs from idler pivot to idler pin, (lx, lz) from bucket pin to link pin. The power link neither
    stretches nor shrinks: along it both ends move alike.
    """
    return wz * lx - wx * lz, wx * rz - wz * rx


@compiled
def four_bar_motion(
    idler: float,
    bucket: float,
    pivot_x: float,
    pivot_z: float,
    idler_length: float,
    power_link: float,
    bucket_pin_x: float,
    pin_spacing: float,
) -> tuple[Rates, Rates]:
    """(stretch, turn) of the power link, were it free to stretch, with each of what `four_bar_rates` names; m, then rad.

    NaN throughout where the links do not meet. Turning is positive from x towards z.
    """
    nothing = (math.nan, math.nan, math.nan, math.nan, math.nan, math.nan, math.nan, math.nan)
    if not (math.isfinite(idler) and math.isfinite(bucket)):
        return nothing, nothing
    cos_idler = math.cos(idler)
    sin_idler = math.sin(idler)
    cos_bucket = math.cos(bucket)
    sin_bucket = math.sin(bucket)
    rx = idler_length * cos_idler
    rz = idler_length * sin_idler
    lx = pin_spacing * cos_bucket
    lz = pin_spacing * sin_bucket
    ux = bucket_pin_x + lx - pivot_x - rx
    uz = lz - pivot_z - rz
    length = math.hypot(ux, uz)
    if not (0.0 < length < math.inf and abs(length - power_link) <= CLOSED * length):
        return nothing, nothing
    ux /= length
    uz /= length
    # Stretch is movement along the link, turn movement to its left over its length.
    vx = -uz / length
    vz = ux / length
    stretch_bucket, stretch_idler = along_link(ux, uz, rx, rz, lx, lz)
    turn_bucket, turn_idler = along_link(vx, vz, rx, rz, lx, lz)
    return (
        (stretch_bucket, stretch_idler, -ux, -uz, -(ux * cos_idler + uz * sin_idler), -1.0,
         ux, ux * cos_bucket + uz * sin_bucket),
        (turn_bucket, turn_idler, -vx, -vz, -(vx * cos_idler + vz * sin_idler), 0.0,
         vx, vx * cos_bucket + vz * sin_bucket),
    )  # fmt: skip


@compiled
def four_bar_rates(
    idler: float,
    bucket: float,
    pivot_x: float,
    pivot_z: float,
    idler_length: float,
    power_link: float,
    bucket_pin_x: float,
    pin_spacing: float,
) -> Rates:
    """Rates of the closure, distance of link pin from idler pin less `power_link`, by each that it hangs on.

    In order: (bucket, idler, pivot x, pivot z, idler length, power link, bucket pin x, pin spacing); m/rad, then m/m.
    Either branch. NaN where the links do not meet at these angles (`CLOSED`). Positive opens: the bucket pin 1 mm
    further out along the power link leaves a gap of 1 mm. While closed, follows(rates[i], rates[0]) is d bucket by the
    i-th, follows(rates[0], rates[1]) d idler / d bucket. Norton, Example 6-7: 25 rad/s of the idler turn the bucket
    by 6.998 rad/s.
    """
    stretch, _ = four_bar_motion(
        idler, bucket, pivot_x, pivot_z, idler_length, power_link, bucket_pin_x, pin_spacing
    )
    return stretch


@compiled
def power_link_rates(
    idler: float,
    bucket: float,
    pivot_x: float,
    pivot_z: float,
    idler_length: float,
    power_link: float,
    bucket_pin_x: float,
    pin_spacing: float,
) -> Followed:
    """Rates of the power link angle, the bucket following, by each that turns it.

    In order: (idler, pivot x, pivot z, idler length, power link, bucket pin x, pin spacing); rad/rad, then rad/m. NaN
    where the links do not meet, and at dead centre. Norton, Example 6-7: 25 rad/s of the idler turn the power
    link by -4.121 rad/s.
    """
    stretch, turn = four_bar_motion(
        idler, bucket, pivot_x, pivot_z, idler_length, power_link, bucket_pin_x, pin_spacing
    )
    by_bucket = stretch[0]
    turned = turn[0]
    return (
        turn[1] + turned * follows(stretch[1], by_bucket),
        turn[2] + turned * follows(stretch[2], by_bucket),
        turn[3] + turned * follows(stretch[3], by_bucket),
        turn[4] + turned * follows(stretch[4], by_bucket),
        turn[5] + turned * follows(stretch[5], by_bucket),
        turn[6] + turned * follows(stretch[6], by_bucket),
        turn[7] + turned * follows(stretch[7], by_bucket),
    )


@compiled
def transmission_rates(
    idler: float,
    bucket: float,
    pivot_x: float,
    pivot_z: float,
    idler_length: float,
    power_link: float,
    bucket_pin_x: float,
    pin_spacing: float,
) -> Followed:
    """Rates of the transmission angle, the bucket following, in the order and units of `power_link_rates`.

    NaN where the links do not meet, and at dead centre. Power link 3 m, spacing 4 m, square to each other: a power link
    1 mm longer closes the angle by 0.25 mrad.
    """
    stretch, turn = four_bar_motion(
        idler, bucket, pivot_x, pivot_z, idler_length, power_link, bucket_pin_x, pin_spacing
    )
    by_bucket = stretch[0]
    # The pin line stands to the left of the power link (open) where turning it left shortens the way.
    left = -1.0 if by_bucket > 0.0 else 1.0
    opened = 1.0 - turn[0]
    return (
        left * (opened * follows(stretch[1], by_bucket) - turn[1]),
        left * (opened * follows(stretch[2], by_bucket) - turn[2]),
        left * (opened * follows(stretch[3], by_bucket) - turn[3]),
        left * (opened * follows(stretch[4], by_bucket) - turn[4]),
        left * (opened * follows(stretch[5], by_bucket) - turn[5]),
        left * (opened * follows(stretch[6], by_bucket) - turn[6]),
        left * (opened * follows(stretch[7], by_bucket) - turn[7]),
    )
