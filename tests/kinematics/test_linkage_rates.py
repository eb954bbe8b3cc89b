"""Rates of cylinder triangle and four-bar: Norton's speeds, 50 digits, complex step, scaling, dead centre."""

import cmath
import math
from collections.abc import Callable, Sequence

import numpy as np
from mpmath import mp, mpf

from kinematics import linkage, rates

# Norton's linkage of Examples 4-1 and 6-7: idler 40, power link 120, bucket pin 100, pin spacing 80, open.
NORTON = (0.0, 0.0, 40.0, 120.0, 100.0, 80.0)
# Transmission angles of 10 deg or more: what rounds in the bucket's angle, 1e-16, is magnified by 1/sin^2, 33 at
# most, in a rate, and by the lengths' own ratio of some ten.
EXACT = 1e-12
LINKAGES = 60

FourBar = tuple[float, float, float, float, float, float]
Exact = Callable[..., "mpf"]


def test_norton_speeds() -> None:
    """Norton, Example 6-7: crank 25 rad/s, coupler -4.121, rocker 6.998 rad/s (from memory)."""
    crank, speed, printed = math.radians(40.0), 25.0, 0.0005
    bucket = linkage.bucket_from_idler(crank, *NORTON, 1.0)[0]
    stretch = rates.four_bar_rates(crank, bucket, *NORTON)
    assert abs(speed * rates.follows(stretch[1], stretch[0]) - 6.998) <= printed
    assert abs(speed * rates.power_link_rates(crank, bucket, *NORTON)[0] - -4.121) <= printed


def test_docstring_numbers() -> None:
    """Sides 3, 4, 5 (Euclid): the lever of side 5 about the right angle is 3 * 4 / 5; the law of cosines for the rest."""
    raised = rates.triangle_rates(math.pi / 2, 3.0, 0.0, 4.0, 0.0)
    assert np.allclose(raised, (2.4, 0.6, -0.8, 0.8, 0.6), rtol=0.0, atol=1e-15)
    # Idler pin at the origin, bucket pin 5 m ahead, link pin to the left of the way.
    square = (0.0, 0.0, 1.0, 3.0, 6.0, 4.0)
    bucket = linkage.bucket_from_idler(0.0, *square, 1.0)[0]
    assert abs(rates.transmission_rates(0.0, bucket, *square)[4] - -0.25) <= 1e-15
    assert abs(rates.follows(-1.0, 0.5) - 2.0) == 0.0


# The triangle ----------------------------------------------------------------------------------------------------


def random_triangles(seed: int) -> list[tuple[float, float, float, float, float]]:
    """(angle, foot x, foot z, eye x, eye z), foot and eye 10 deg or more off a line with the joint."""
    rng = np.random.default_rng(seed)
    found = []
    for _ in range(LINKAGES):
        foot, eye = rng.uniform(0.2, 1.5), rng.uniform(0.15, 1.2)
        foot_at, eye_at = rng.uniform(-math.pi, math.pi, size=2).tolist()
        between = rng.choice([-1.0, 1.0]) * rng.uniform(math.radians(10), math.radians(170))
        found.append((
            float(foot_at - eye_at + between), foot * math.cos(foot_at), foot * math.sin(foot_at),
            eye * math.cos(eye_at), eye * math.sin(eye_at),
        ))  # fmt: skip
    return found


def exact_length(angle: mpf, foot_x: mpf, foot_z: mpf, eye_x: mpf, eye_z: mpf) -> mpf:
    """As a distance of complex numbers."""
    return abs(mp.mpc(eye_x, eye_z) * mp.expj(angle) - mp.mpc(foot_x, foot_z))


def differentiated(f: Exact, at: Sequence[float]) -> list[float]:
    """Every partial derivative of `f`, to some 30 of 50 digits."""
    with mp.workdps(50):
        exact = [mpf(x) for x in at]
        return [
            float(mp.diff(lambda x, i=i: f(*exact[:i], x, *exact[i + 1 :]), exact[i]))
            for i in range(len(exact))
        ]


def assert_same(found: Sequence[float], expected: Sequence[float], allowed: float = EXACT) -> None:
    assert len(found) == len(expected)
    assert np.all(np.isfinite(found))
    for ours, theirs in zip(found, expected, strict=True):
        assert abs(ours - theirs) <= allowed * (1.0 + abs(theirs)), (found, expected)


def test_triangle_at_fifty_digits() -> None:
    for triangle in random_triangles(1):
        assert_same(rates.triangle_rates(*triangle), differentiated(exact_length, triangle))


def test_angle_that_a_length_holds_at_fifty_digits() -> None:
    """By the plain law of cosines, on both sides of the line from joint to foot."""
    for triangle in random_triangles(2):
        angle, *pins = triangle
        foot_x, foot_z, eye_x, eye_z = pins
        side = math.copysign(1.0, foot_x * (math.sin(angle) * eye_x + math.cos(angle) * eye_z)
                             - foot_z * (math.cos(angle) * eye_x - math.sin(angle) * eye_z))  # fmt: skip

        def held(length: mpf, foot_x: mpf, foot_z: mpf, eye_x: mpf, eye_z: mpf, *, side: float = side) -> mpf:
            a, b = mp.hypot(foot_x, foot_z), mp.hypot(eye_x, eye_z)
            between = mp.acos((a * a + b * b - length * length) / (2 * a * b))
            return mp.arg(mp.mpc(foot_x, foot_z) / mp.mpc(eye_x, eye_z)) + side * between

        with mp.workdps(50):
            length = exact_length(*(mpf(x) for x in triangle))
        found = rates.triangle_rates(*triangle)
        ours = [rates.follows(-1.0, found[0]), *(rates.follows(found[i], found[0]) for i in range(1, 5))]
        assert_same(ours, differentiated(held, [length, *pins]))
        # A longer cylinder raises the link where the eye stands to the left of the foot, and lowers it elsewhere.
        assert ours[0] * side > 0.0


def test_triangle_by_complex_step() -> None:
    """Squire and Trapp, SIAM Review 40, 1998: f(x + ih) has h f'(x) as its imaginary part, with no difference taken."""
    step = 1e-30
    for triangle in random_triangles(3):
        expected = []
        for i in range(5):
            angle, fx, fz, ex, ez = (x + 1j * step * (i == k) for k, x in enumerate(triangle))
            c, s = cmath.cos(angle), cmath.sin(angle)
            length = cmath.sqrt((c * ex - s * ez - fx) ** 2 + (s * ex + c * ez - fz) ** 2)
            expected.append(length.imag / step)
        assert_same(rates.triangle_rates(*triangle), expected)


def test_cylinder_moves_its_joint_ever_faster_towards_dead_centre() -> None:
    """Foot 1 m ahead, eye 0.5 m out: longest at 180 deg, 1.5 m; the lever is foot * eye * sin / length."""
    speeds = []
    for degrees in (90.0, 120.0, 150.0, 170.0, 179.0, 179.9):
        stretch = rates.triangle_rates(math.radians(degrees), 1.0, 0.0, 0.5, 0.0)[0]
        length = math.sqrt(1.25 - math.cos(math.radians(degrees)))
        # At 179.9 deg the sine has lost three digits.
        assert abs(stretch - 0.5 * math.sin(math.radians(degrees)) / length) <= 1e-15
        speeds.append(rates.follows(-1.0, stretch))
    assert speeds == sorted(speeds)
    assert speeds[0] > 0.0
    # 3 / sin(0.1 deg) rad a metre: 0.1 mm of the cylinder is 10 deg.
    assert abs(speeds[-1] * math.sin(math.radians(0.1)) - 3.0) <= 1e-4
    assert rates.follows(-1.0, rates.triangle_rates(math.radians(-90.0), 1.0, 0.0, 0.5, 0.0)[0]) < 0.0


# The four-bar ----------------------------------------------------------------------------------------------------


def random_four_bars(seed: int) -> list[tuple[float, FourBar, float]]:
    """(idler angle, dimensions, branch); each closes by construction, transmission angle 10 to 170 deg."""
    rng = np.random.default_rng(seed)
    found: list[tuple[float, FourBar, float]] = []
    while len(found) < LINKAGES:
        pin = rng.uniform(1.0, 4.0)
        pivot_x, pivot_z = pin - rng.uniform(0.05, 0.8), rng.uniform(-0.3, 0.3)
        idler_length, idler = rng.uniform(0.1, 0.8), rng.uniform(-math.pi, math.pi)
        way = math.hypot(
            pin - pivot_x - idler_length * math.cos(idler), pivot_z + idler_length * math.sin(idler)
        )
        if way < 0.1:
            continue
        spacing = rng.uniform(0.3, 0.9) * way
        angle = rng.uniform(math.radians(10), math.radians(170))
        power = spacing * math.cos(angle) + math.sqrt(way**2 - (spacing * math.sin(angle)) ** 2)
        if power > 0.1:
            bar = (pivot_x, pivot_z, idler_length, power, pin, spacing)
            found.append((idler, bar, float(rng.choice([-1.0, 1.0]))))
    assert {branch for _, _, branch in found} == {-1.0, 1.0}
    return found


def exact_closure(*at: mpf, branch: float) -> tuple[mpf, mpf, mpf]:
    """(bucket, power link, transmission angle), the link pin by base point and height instead of by angles."""
    idler, pivot_x, pivot_z, idler_length, power, pin, spacing = at
    h = mp.mpc(pivot_x, pivot_z) + idler_length * mp.expj(idler)
    way = pin - h
    d = abs(way)
    base = (power * power - spacing * spacing + d * d) / (2 * d)
    height = mp.sqrt(power * power - base * base)
    k = h + (base + mp.mpc(0, branch) * height) * way / d
    between = mp.acos((power * power + spacing * spacing - d * d) / (2 * power * spacing))
    return mp.arg(k - pin), mp.arg(k - h), between


def test_four_bar_at_fifty_digits() -> None:
    """Bucket, power link and transmission angle by idler and every dimension, on both branches."""
    for idler, bar, branch in random_four_bars(4):
        bucket = linkage.bucket_from_idler(idler, *bar, branch)[0]
        stretch = rates.four_bar_rates(idler, bucket, *bar)
        found = (
            tuple(rates.follows(stretch[i], stretch[0]) for i in range(1, 8)),
            rates.power_link_rates(idler, bucket, *bar),
            rates.transmission_rates(idler, bucket, *bar),
        )
        for which, ours in enumerate(found):

            def angle(*at: mpf, which: int = which, branch: float = branch) -> mpf:
                return exact_closure(*at, branch=branch)[which]

            assert_same(ours, differentiated(angle, (idler, *bar)))


def test_stretch_at_fifty_digits() -> None:
    """The closure itself, by bucket angle and all the rest, as the distance of two complex numbers."""

    def gap(*at: mpf) -> mpf:
        bucket, idler, pivot_x, pivot_z, idler_length, power, pin, spacing = at
        link_pin = pin + spacing * mp.expj(bucket)
        return abs(link_pin - mp.mpc(pivot_x, pivot_z) - idler_length * mp.expj(idler)) - power

    for idler, bar, branch in random_four_bars(5):
        bucket = linkage.bucket_from_idler(idler, *bar, branch)[0]
        assert_same(rates.four_bar_rates(idler, bucket, *bar), differentiated(gap, (bucket, idler, *bar)))


def test_ratio_is_the_same_rate() -> None:
    """One source: the ratio of `bucket_from_idler` is the closure's own."""
    for idler, bar, branch in random_four_bars(6):
        bucket, _, _, ratio, _, _ = linkage.bucket_from_idler(idler, *bar, branch)
        stretch = rates.four_bar_rates(idler, bucket, *bar)
        # The bucket's angle went through arctangent, sine and cosine: 1e-16, magnified by 1/sin(10 deg).
        assert abs(rates.follows(stretch[1], stretch[0]) - ratio) <= 1e-14 * (1.0 + abs(ratio))
        rx, rz = bar[2] * math.cos(idler), bar[2] * math.sin(idler)
        # As it stood before: moments of idler and pin line about the power link.
        kx, kz = bar[5] * math.cos(bucket), bar[5] * math.sin(bucket)
        ex, ez = bar[4] + kx - bar[0] - rx, kz - bar[1] - rz
        before = (rx * ez - rz * ex) / (kx * ez - kz * ex)
        assert abs(before - ratio) <= 1e-14 * (1.0 + abs(ratio))


def test_a_larger_linkage_has_the_same_angles() -> None:
    """Euler: an angle does not change when all lengths grow alike, nor when both pins on the stick move alike."""
    for idler, bar, branch in random_four_bars(7):
        bucket = linkage.bucket_from_idler(idler, *bar, branch)[0]
        stretch = rates.four_bar_rates(idler, bucket, *bar)
        followed = tuple(rates.follows(stretch[i], stretch[0]) for i in range(1, 8))
        for rate in (
            followed, rates.power_link_rates(idler, bucket, *bar), rates.transmission_rates(idler, bucket, *bar),
        ):  # fmt: skip
            size = max(abs(x) for x in rate)
            assert abs(sum(length * x for length, x in zip(bar, rate[1:], strict=True))) <= EXACT * (1 + size)
            assert abs(rate[1] + rate[5]) <= EXACT * (1 + size)


def test_stick_turned_about_the_bucket_pin() -> None:
    """Pivot, idler and bucket turned alike about the bucket pin: nothing stretches, all angles turn alike."""
    for idler, bar, branch in random_four_bars(8):
        bucket = linkage.bucket_from_idler(idler, *bar, branch)[0]
        s = rates.four_bar_rates(idler, bucket, *bar)
        pivot_turns = -bar[1] * s[2] + (bar[0] - bar[4]) * s[3]
        assert abs(s[0] + s[1] + pivot_turns) <= EXACT


def test_bucket_runs_ever_faster_towards_dead_centre() -> None:
    """Idler 0.6, power link 0.8, spacing 0.6, pins 1 m apart: in one line at 120 deg (law of cosines)."""
    bar = (0.0, 0.0, 0.6, 0.8, 1.0, 0.6)
    turned = []
    for degrees in (90.0, 100.0, 110.0, 118.0, 119.9, 119.999):
        idler = math.radians(degrees)
        bucket, power_link, transmission, ratio, _, _ = linkage.bucket_from_idler(idler, *bar, 1.0)
        stretch = rates.four_bar_rates(idler, bucket, *bar)
        # The lever of the bucket: spacing times the sine of the transmission angle, on this branch against the link.
        assert abs(stretch[0] + 0.6 * math.sin(transmission)) <= 1e-10
        assert abs(stretch[0] - 0.6 * math.sin(power_link - bucket)) <= EXACT
        turned.append(abs(rates.follows(stretch[1], stretch[0])))
        assert abs(turned[-1] - abs(ratio)) <= 1e-9 * turned[-1]
    assert turned == sorted(turned)
    # A fold: the speed grows as one over the root of what is left, from 0.1 to 0.001 deg tenfold.
    assert abs(turned[-1] / turned[-2] - 10.0) <= 0.5


# No answer -------------------------------------------------------------------------------------------------------


def test_no_rate_where_there_is_none() -> None:
    assert all(math.isnan(x) for x in rates.triangle_rates(0.0, 1.0, 0.0, 1.0, 0.0))
    for bad in (math.nan, math.inf, -math.inf):
        for i in range(5):
            at = [0.3, 1.0, 0.2, 0.4, 0.1]
            at[i] = bad
            assert all(math.isnan(x) for x in rates.triangle_rates(*at)), (bad, i)
    assert math.isnan(rates.follows(1.0, 0.0))
    assert math.isnan(rates.follows(0.0, 0.0))


def test_no_rate_where_the_links_do_not_meet() -> None:
    idler, bar, branch = random_four_bars(9)[0]
    bucket = linkage.bucket_from_idler(idler, *bar, branch)[0]
    formulas = (rates.four_bar_rates, rates.power_link_rates, rates.transmission_rates)
    good = [idler, bucket, *bar]
    stretch = rates.four_bar_rates(*good)
    for formula in formulas:
        assert all(math.isfinite(x) for x in formula(*good))
        for i, rate in enumerate((stretch[1], stretch[0], *stretch[2:])):
            # 1 mm or 1 mrad amiss; across the power link it would not stretch it.
            if abs(rate) > 0.05:
                amiss = [*good[:i], good[i] + 1e-3, *good[i + 1 :]]
                assert all(math.isnan(x) for x in formula(*amiss)), (formula, i)
            for bad in (math.nan, math.inf, -math.inf):
                broken = [*good[:i], bad, *good[i + 1 :]]
                assert all(math.isnan(x) for x in formula(*broken)), (formula, i, bad)


def test_no_rate_at_dead_centre() -> None:
    """All in one line, in numbers without rounding: pivot 0, idler pin 1, link pin 3, bucket pin 2 or 4 m ahead."""
    for pin, spacing, bucket in ((2.0, 1.0, 0.0), (4.0, -1.0, 0.0)):
        at = (0.0, bucket, 0.0, 0.0, 1.0, 2.0, pin, spacing)
        stretch = rates.four_bar_rates(*at)
        assert stretch[0] == 0.0
        assert math.isnan(rates.follows(stretch[1], stretch[0]))
        assert all(math.isnan(x) for x in rates.power_link_rates(*at))
        assert all(math.isnan(x) for x in rates.transmission_rates(*at))
