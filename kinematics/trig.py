"""Sine, cosine and arctangent without a branch, so that a loop over poses stays in vector registers.

Sources: argument reduction by pi/2 in three parts (W. Cody and W. Waite, Software Manual for the Elementary
Functions, 1980) and the kernel polynomials of fdlibm (`k_sin.c`, `k_cos.c`, Sun Microsystems, 1993); the rational
arctangent of Cephes (`atan.c`, S. Moshier). Coefficients are facts of approximation; the arrangement is ours.
Held against 50-digit values: sine and cosine within 1 ulp up to `WIDEST_RAD`, arctangent within 3 ulp.
"""

import math

from .compiled import compiled

WIDEST_RAD = 1e5
"""No sum of joint angles comes near; the reduction would lose digits from some 1e6 on."""

# Adding and subtracting it rounds to the nearest whole number: 1.5 * 2^52.
_ROUNDS = 6755399441055744.0
# pi/2 in parts of 33 bits, so that a whole number below 2^20 times the first two is exact.
_HALF_PI_1 = 1.57079632673412561417e00
_HALF_PI_2 = 6.07710050630396597660e-11
_HALF_PI_3 = 2.02226624879595063154e-21
_TAN_EIGHTH_PI = 0.41421356237309503
_QUARTER_PI, _HALF_PI, _PI = 0.7853981633974483, 1.5707963267948966, 3.141592653589793
_HALF_PI_REST = 6.123233995736766e-17


@compiled
def sincos(angle: float) -> tuple[float, float]:
    """(sine, cosine) of an angle (rad) up to `WIDEST_RAD` either way, NaN beyond. 0.5236 rad: 0.5, 0.866."""
    angle = angle if abs(angle) <= WIDEST_RAD else math.nan
    k = (angle * 0.6366197723675814 + _ROUNDS) - _ROUNDS
    r = angle - k * _HALF_PI_1
    w = k * _HALF_PI_2
    h = r - w
    t = ((r - h) - w) - k * _HALF_PI_3
    y = h + t
    rest = (h - y) + t
    z = y * y
    w = z * y
    p = 8.33333333332248946124e-03 + z * (
        -1.98412698298579493134e-04
        + z
        * (2.75573137070700676789e-06 + z * (-2.50507602534068634195e-08 + z * 1.58969099521155010221e-10))
    )
    s = y - ((z * (0.5 * rest - w * p) - rest) + w * 1.66666666666666324348e-01)
    p = 4.16666666666666019037e-02 + z * (
        -1.38888888888741095749e-03
        + z
        * (
            2.48015872894767294178e-05
            + z
            * (
                -2.75573143513906633035e-07
                + z * (2.08757232129817482790e-09 + z * -1.13596475577881948265e-11)
            )
        )
    )
    half = 0.5 * z
    head = 1.0 - half
    c = head + (((1.0 - head) - half) + (z * (z * p) - y * rest))
    quadrant = k - 4.0 * ((0.25 * k - 0.375 + _ROUNDS) - _ROUNDS)
    odd = (quadrant == 1.0) | (quadrant == 3.0)
    sine = c if odd else s
    cosine = s if odd else c
    sine = -sine if quadrant >= 2.0 else sine
    cosine = -cosine if (quadrant == 1.0) | (quadrant == 2.0) else cosine
    return sine, cosine


@compiled
def arctan2(y: float, x: float) -> float:
    """Angle (rad, -pi to pi) of the direction (x, y); 0 where both are 0, NaN where either is NaN.

    arctan2(1, -1) is 2.3562: three quarters of pi. The sign of a zero y is not looked at.
    """
    across = abs(x)
    up = abs(y)
    steep = up > across
    far = up if steep else across
    near = across if steep else up
    wide = near > _TAN_EIGHTH_PI * far
    above = near - far if wide else near
    below = near + far if wide else far
    t = above / (1.0 if below == 0.0 else below)
    z = t * t
    p = (
        ((-8.750608600031904122785e-1 * z - 1.615753718733365076637e1) * z - 7.500855792314704667340e1) * z
        - 1.228866684490136173410e2
    ) * z - 6.485021904942025371773e1
    q = (
        (((z + 2.485846490142306297962e1) * z + 1.650270098316988542046e2) * z + 4.328810604912902668951e2)
        * z
        + 4.853903996359136964868e2
    ) * z + 1.945506571482613964425e2
    angle = t * (z * p / q) + t
    angle = (angle + 0.5 * _HALF_PI_REST) + _QUARTER_PI if wide else angle
    angle = (_HALF_PI - angle) + _HALF_PI_REST if steep else angle
    angle = (_PI - angle) + 2.0 * _HALF_PI_REST if x < 0.0 else angle
    return -angle if y < 0.0 else angle
