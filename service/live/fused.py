"""Raw frames of one case, accelerometer and gyro, to plumb in the case, moving or not.

The maintained filter `vqf` carries plumb by the gyro and draws it to what the accelerometer feels, seen in a frame that
the gyro holds still (D. Laidig, T. Seel, Information Fusion 91, 2023, 187-204, without magnetometer). What is done here,
because a machine swings and stops and its engine shakes: the accelerometer is heard as means over a quarter of a
second, at once only while nothing turns, else as one mean over three seconds, in which speeds gained are lost again; and
the gyro's zero error is taken from rests (`stillness`), for the filter's own look-out sees no rest over an engine.

Time is the sender's. A frame counts from the one before it, the rates between them straight, so the turn is right
under jitter and where frames are lost. An axis of the gyro is believed while it turns once it was seen right (`trust`).
"""

import math
from collections import deque
from itertools import pairwise
from statistics import median

import numpy as np
from vqf import VQF

from kinematics.errors import Fault
from kinematics.machine import Point
from kinematics.units import STANDARD_GRAVITY_M_S2

from .stillness import BLOCK_S, FEWEST_IN_BLOCK, REST_S, Rest, Stillness, between, unit
from .trust import LOOSE_RAD, Trust

MOST_GAP_S = 0.5
LEARNT_FROM = 20
"""Steps of time, of which the median is the filter's own."""
SLOWEST_S, SHORTEST_S = 0.055, 0.002
"""Of that step. A bucket may turn by 160 deg/s."""
TAU_S = 0.75
MOST_CALM_RAD_S = math.radians(1.0)
MOST_CHANGE_M_S2 = 0.6
"""From one quarter of a second to the next while nothing turns; a machine that begins to travel does more."""
MOVING_S = 3.0
"""In motion so long a mean counts as much as a quarter of a second of rest."""
MOST_ZERO_CHANGE_RAD_S = math.radians(0.3)
"""From one rest to the next; a slow even swing about plumb passes for more."""
SURE_AFTER_S = 6.0
LEAST_TURN_RAD = math.radians(5.0)
MOST_OFF_RAD, MOST_OFF = math.radians(2.0), 0.1
"""Between gyro and accelerometer after a turn: at least, and as a part of it."""
GRAVITY_M_S2, MOST_GRAVITY_OFF = STANDARD_GRAVITY_M_S2, 0.04
"""What an accelerometer at rest feels in all, and as a part how far off: half a percent is the place on earth."""
PACE_PART = 0.05
SCALE, DRIFT_RAD_S = 0.01, math.radians(0.03)
"""What a sound gyro is off (from memory): of all that it turned meanwhile, and for every second."""

_Frame = tuple[float, Point, Point]
_Block = tuple[Point, Point, float, bool]
"""(mean force in the frame that the gyro holds, and in the case, span in s, whether nothing turned)."""


class Fused:
    """One case, from its first raw frame. `zero`: the gyro's zero error in rad/s, None before the first rest."""

    __slots__ = (
        "_blocks", "_count", "_filter", "_force", "_held", "_last", "_learning", "_longest", "_moving", "_moving_s",
        "_pace", "_path", "_rates", "_reference", "_rows", "_since", "_span", "_step", "_still", "_up", "_weight",
        "trust", "zero",
    )  # fmt: skip

    def __init__(self) -> None:
        self.zero: Point | None = None
        self.trust = Trust()
        self._longest = 0.0
        self._begin()

    def _begin(self) -> None:
        """Nothing is known of where plumb is; the zero error stays, and whether the rates can be believed."""
        self._filter: VQF | None = None
        self._learning: list[_Frame] = []
        self._last: _Frame | None = None
        self._step = self._pace = 0.0
        self._weight = GRAVITY_M_S2
        self._still = Stillness()
        self._up: Point | None = None
        self._rows: tuple[Point, Point, Point] = (1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0)
        self._blocks: deque[_Block] = deque(maxlen=3)
        self._reference: tuple[Point, Point, float] | None = None
        self._path = 0.0
        self._since = math.nan
        self.trust.begin()
        self._no_motion()
        self._new_block()

    def _no_motion(self) -> None:
        self._moving, self._moving_s = (0.0, 0.0, 0.0), 0.0

    def _new_block(self) -> None:
        self._count, self._span = 0, 0.0
        self._force = self._rates = self._held = 0.0, 0.0, 0.0

    def add(self, at_s: float, force: Point, rates: Point) -> Point | Fault:
        """Plumb in the case (unit) after a frame: specific force (m/s2) and rates (rad/s) by its axes, at the sender's
        `at_s`. At rest on the level (0, 0, 9.81) gives (0, 0, 1). Or a `Fault`: "duplicate-reading", which changes
        nothing, "settling", "too-seldom", "gyro-disagrees", "gyro-unproved", "gravity-off"."""
        frame, last = (at_s, force, rates), self._last
        if last is not None:
            dt = at_s - last[0]
            if dt == 0.0:
                return Fault("duplicate-reading", "at_s", f"{at_s:g} s a second time", "each reading once")
            if not 0.0 < dt <= MOST_GAP_S:
                self._begin()
                last = None
        if last is None:
            self._since = at_s
        self._last = frame
        if last is None or self._filter is None:
            self._learn(frame)
        else:
            self._pace += PACE_PART * (at_s - last[0] - self._pace)
            self._advance(self._filter, last, frame)
        if self.trust.wrong:
            return _disagreeing(self.trust.wrong)
        if self._still.contradicted:
            turning = math.degrees(self._still.contradicted)
            return _disagreeing(f"rates of {turning:.1f} deg/s across plumb, which stands still")
        if self._filter is not None and self._pace > SLOWEST_S:
            return Fault(
                "too-seldom", "at_s", f"a frame every {self._pace * 1e3:.0f} ms",
                f"one every {SLOWEST_S * 1e3:.0f} ms or oftener",
                "send every frame that the sensor gives, fifty a second or more",
            )  # fmt: skip
        if self._up is None:
            return Fault(
                "settling", "", f"{at_s - self._since:.1f} s of frames without a rest in them",
                f"{REST_S:g} s in which nothing moves", "hold the arm still for two seconds",
            )  # fmt: skip
        if abs(self._weight / GRAVITY_M_S2 - 1.0) > MOST_GRAVITY_OFF:
            return Fault(
                "gravity-off", "accelerometer_m_s2", f"{self._weight:.2f} m/s2 in all at rest",
                f"{GRAVITY_M_S2:.2f} within {MOST_GRAVITY_OFF:.0%}",
                "check its unit, range and axes, and calibrate it; then hold the arm still for two seconds",
            )  # fmt: skip
        if self.trust.lost:
            return Fault(
                "gyro-unproved", "gyro_rad_s", "a turn about an axis that was not seen to be right yet",
                f"at most {math.degrees(LOOSE_RAD):g} deg, or one turn seen by gyro and accelerometer alike",
                "hold still for two seconds, then there is a number; once each way of moving was seen, moving too",
            )  # fmt: skip
        return _turned(self._rows, self._up)

    def _learn(self, frame: _Frame) -> None:
        known = self._learning
        known.append(frame)
        if len(known) <= LEARNT_FROM:
            return
        steps = [b[0] - a[0] for a, b in pairwise(known)]
        self._step = self._pace = max(median(steps), SHORTEST_S)
        self._filter = VQF(
            self._step, BLOCK_S, tauAcc=TAU_S, motionBiasEstEnabled=False, restBiasEstEnabled=False
        )
        self._learning = []
        for before, each in pairwise(known):
            self._advance(self._filter, before, each)

    def _advance(self, filter_: VQF, last: _Frame, frame: _Frame) -> None:
        """Turn by the rates since the last frame, and add the frame to its block."""
        at_s, force, rates = frame
        before_s, _, before = last
        dt = at_s - before_s
        steps = max(1, round(dt / self._step))
        scale = dt / (steps * self._step)
        a, b, c = self.zero or (0.0, 0.0, 0.0)
        for k in range(steps):
            new = (k + 0.5) / steps
            old = 1.0 - new
            filter_.updateGyr(np.array((
                (old * before[0] + new * rates[0] - a) * scale, (old * before[1] + new * rates[1] - b) * scale,
                (old * before[2] + new * rates[2] - c) * scale,
            )))  # fmt: skip
        if self._up is not None:
            self.trust.turn(
                (
                    0.5 * (before[0] + rates[0]) - a,
                    0.5 * (before[1] + rates[1]) - b,
                    0.5 * (before[2] + rates[2]) - c,
                ),
                dt,
            )
        rows = self._rows = _rows(filter_)
        x, y, z = force
        held = self._held
        self._held = (
            held[0] + rows[0][0] * x + rows[1][0] * y + rows[2][0] * z,
            held[1] + rows[0][1] * x + rows[1][1] * y + rows[2][1] * z,
            held[2] + rows[0][2] * x + rows[1][2] * y + rows[2][2] * z,
        )  # fmt: skip
        w, f = self._rates, self._force
        # One after a gap counts no more than another: it is shaken as much.
        self._force = f[0] + x, f[1] + y, f[2] + z
        self._rates = w[0] + rates[0], w[1] + rates[1], w[2] + rates[2]
        self._count += 1
        self._span += dt
        if self._span >= BLOCK_S and self._count >= FEWEST_IN_BLOCK:
            self._end_block(filter_, at_s)

    def _end_block(self, filter_: VQF, at_s: float) -> None:
        span = self._span
        force, rates, held = (_over(each, self._count) for each in (self._force, self._rates, self._held))
        self._new_block()
        self._still.add(force, rates, span)
        rest = self._still.rest
        if rest is not None:
            self._weight = rest.weight
            self._take_zero(rest)
            if self._up is None:
                # What came before was turned by the zero error too.
                self._blocks.clear()
                self._no_motion()
                self._hear(filter_, rest.plumb)
                self.trust.begin()
                self.trust.stands(rest.plumb)
                self._refer(unit(_back(self._rows, rest.plumb)), rest.plumb, at_s)
                return
        if self._up is None or self.zero is None:
            return
        self.trust.stands(_turned(self._rows, self._up))
        turning = math.dist(rates, self.zero)
        self._path += turning * span
        calm = turning <= MOST_CALM_RAD_S
        self._blocks.append((held, force, span, calm))
        if len(self._blocks) < 3:
            return
        one, two, three = self._blocks
        # The block between two that are calm as well: neither what began after it nor what ended before is in it.
        if (one[3] and two[3] and three[3] and math.dist(one[0], two[0]) <= MOST_CHANGE_M_S2
                and math.dist(two[0], three[0]) <= MOST_CHANGE_M_S2):  # fmt: skip
            self._no_motion()
            self._judge(two[0], at_s)
            self.trust.rest()
            self._hear(filter_, _turned(self._rows, two[0]))
            return
        m = self._moving
        self._moving = m[0] + two[2] * two[0][0], m[1] + two[2] * two[0][1], m[2] + two[2] * two[0][2]
        self._moving_s += two[2]
        if self._moving_s >= MOVING_S:
            mean = _over(self._moving, self._moving_s)
            self._no_motion()
            self._hear(filter_, _turned(self._rows, mean))

    def _take_zero(self, rest: Rest) -> None:
        near = self.zero is not None and math.dist(self.zero, rest.rates) <= MOST_ZERO_CHANGE_RAD_S
        if near or rest.lasted_s >= min(self._longest, SURE_AFTER_S):
            self.zero = rest.rates
            self._longest = max(self._longest, rest.lasted_s) if near else rest.lasted_s

    def _hear(self, filter_: VQF, force: Point) -> None:
        """Draw plumb to what the accelerometer felt, in the case as it stands now."""
        filter_.updateAcc(np.array(force))
        w, x, y, z = filter_.getQuat6D().tolist()
        plumb = 2.0 * (x * z - w * y), 2.0 * (y * z + w * x), 1.0 - 2.0 * (x * x + y * y)
        self._up = unit(_back(self._rows, plumb))

    def _judge(self, held: Point, at_s: float) -> None:
        """Whether gyro and accelerometer say the same of how plumb turned in the case since the reference was taken."""
        up = unit(held)
        plumb = _turned(self._rows, up)
        if self._reference is None:
            self._refer(up, plumb, at_s)
            return
        up_then, plumb_then, then_s = self._reference
        by_gyro = between(plumb_then, _turned(self._rows, up_then))
        by_gravity = between(plumb_then, plumb)
        turn, off = max(by_gyro, by_gravity), between(up_then, up)
        sound = SCALE * self._path + DRIFT_RAD_S * (at_s - then_s)
        alike = max(MOST_OFF_RAD, MOST_OFF * turn)
        # Of a small turn the accelerometer may have been pushed as far by a machine that begins to travel.
        if off > (alike if turn >= LEAST_TURN_RAD else 2.0 * MOST_OFF_RAD) + sound:
            self.trust.disagree(plumb_then, plumb, (
                f"a turn of plumb by {math.degrees(by_gyro):.1f} deg by the gyro, {math.degrees(by_gravity):.1f} deg by "
                f"the accelerometer, {math.degrees(off):.1f} deg apart"
            ))  # fmt: skip
        elif turn >= LEAST_TURN_RAD or self.trust.turned_enough(plumb_then, plumb):
            if off <= alike and sound <= MOST_OFF_RAD:
                self.trust.agree(plumb_then, plumb)
        elif off >= MOST_OFF_RAD or self._still.rest is None:
            return
        self._refer(up, plumb, at_s)

    def _refer(self, up: Point, plumb: Point, at_s: float) -> None:
        self._reference = up, plumb, at_s
        self._path = 0.0
        self.trust.refer()


def _disagreeing(found: str) -> Fault:
    return Fault(
        "gyro-disagrees", "gyro_rad_s", found, "the same turn of plumb by both, seen at rest before and after it",
        "check the gyro's unit, and axes and signs of both; then make the same move again, 20 deg or more, between two "
        "rests of two seconds, a swing with the arm raised",
    )  # fmt: skip


def _rows(filter_: VQF) -> tuple[Point, Point, Point]:
    """The case's axes in the frame that the gyro holds still: unit x, y, z."""
    w, x, y, z = filter_.getQuat3D().tolist()
    return (
        (1.0 - 2.0 * (y * y + z * z), 2.0 * (x * y + w * z), 2.0 * (x * z - w * y)),
        (2.0 * (x * y - w * z), 1.0 - 2.0 * (x * x + z * z), 2.0 * (y * z + w * x)),
        (2.0 * (x * z + w * y), 2.0 * (y * z - w * x), 1.0 - 2.0 * (x * x + y * y)),
    )


def _turned(rows: tuple[Point, Point, Point], v: Point) -> Point:
    """A vector of the held frame in the case."""
    (a, b, c), (d, e, f), (g, h, i) = rows
    x, y, z = v
    return a * x + b * y + c * z, d * x + e * y + f * z, g * x + h * y + i * z


def _back(rows: tuple[Point, Point, Point], v: Point) -> Point:
    """A vector of the case in the held frame."""
    (a, b, c), (d, e, f), (g, h, i) = rows
    x, y, z = v
    return a * x + d * y + g * z, b * x + e * y + h * z, c * x + f * y + i * z


def _over(sums: Point, span: float) -> Point:
    return sums[0] / span, sums[1] / span, sums[2] / span
