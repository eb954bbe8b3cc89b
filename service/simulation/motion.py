"""The steps of a dig to its true course: smooth, within joints and their pace; what cannot be reached is refused."""

import math
from collections.abc import Callable, Iterator
from dataclasses import replace

import numpy as np
from scipy.interpolate import CubicSpline
from scipy.optimize import brentq

from kinematics.assembly import JOINTS, ROUNDING_RAD
from kinematics.errors import Fault, Refused, refuse
from kinematics.linkage import wrapped
from kinematics.reach import place_edge
from kinematics.sensing_gravity import plumb_of, swung

from . import tables
from .course import Course, Event, Leg, Mark, Stance
from .dig import Dig
from .ramp import Ramp, at_pace, within

KNOT_M = 0.05
"""Between knots of a line the joints follow a cubic: on an arm of metres it leaves the line by less than 10 um."""
ABOVE_M = 0.15
DOWN_M_S = 0.08
# The body rests before a strike, longer than the second that is asked for (common practice, no source).
REST_S = 1.6
BETWEEN_S = 0.3
Way = Callable[[float], Stance]


def plan(dig: Dig) -> Course:
    """The true course of a dig.

    Raises `Refused` with every step that cannot be done, at its number: what `kinematics.reach.place_edge` refuses,
    "beyond-joint", and "too-fast" where a stated speed asks more of a joint than its pace.
    """
    planner = _Planner(dig)
    faults: list[Fault] = []
    try:
        planner.begin()
    except Refused as refused:
        refuse(dig.places.put(fault, "start") for fault in refused.faults)
    for i, step in enumerate(dig.document.steps):
        try:
            planner.do(i + 1, step)
        except Refused as refused:
            faults += [dig.places.put(fault, f"steps.{i}") for fault in refused.faults]
    refuse(faults)
    return planner.course()


class _Planner:
    """Where the machine stands after the steps so far, and the legs that brought it there."""

    def __init__(self, dig: Dig) -> None:
        self.dig, self.assembly, self.pace = dig, dig.assembly, dig.document.pace
        self.fastest = math.radians(self.pace.joint_deg_s)
        self.now = 0.0
        self.number = 1
        self.legs: list[Leg] = []
        self.marks: list[Mark] = []
        self.events: list[Event] = []
        self.stance = Stance((0.0,) * len(JOINTS), 0.0, 0.0, 0.0)

    def begin(self) -> None:
        start = self.dig.document.start
        angles = {name: math.radians(angle) for name, angle in start.joints_deg.items()}
        self.stance = self._standing(start.stand).having(**angles)
        self.stance.pose(self.assembly)

    def do(self, number: int, step: tables.Step) -> None:
        """Add one step; nothing is added of a step that is refused."""
        self.number = number
        before = self.stance, self.now, len(self.legs)
        try:
            self._do(step)
        except Refused:
            self.stance, self.now = before[:2]
            del self.legs[before[2] :]
            raise

    def course(self) -> Course:
        self._still(0.0)
        return Course(self.assembly, tuple(self.legs), tuple(self.marks), tuple(self.events), self.now)

    def _do(self, step: tables.Step) -> None:
        match step:
            case tables.Travel():
                self._mark(step, recorded=step.recorded)
                there = self._standing(step.stand)
                self._between(replace(there, swing=self.stance.swing), within(step.seconds, self.pace.ramp_s))
            case tables.Place():
                self._to(self._edge_at(step, step.reach_m, step.height_m, step.floor_deg))
            case tables.Strike():
                self._strike(step)
            case tables.Touch():
                self._touch(step)
            case tables.Pass():
                self._pass(step)
            case tables.TurnJoint():
                turned = self.stance.joint(step.joint) + math.radians(step.by_deg)
                self._to(self.stance.having(**{step.joint: turned}))
            case tables.Swing():
                self._mark(step, recorded=step.recorded)
                angle = math.radians(step.by_deg)
                ramp = at_pace(abs(angle), math.radians(self.pace.swing_deg_s), self.pace.ramp_s)
                self._between(replace(self.stance, swing=self.stance.swing + angle), ramp)
            case tables.Knock():
                self.events.append(Event(self.now, math.inf, self.number, step))
            case tables.Quiet():
                self.events.append(Event(self.now, self.now + step.seconds, self.number, step))
            case tables.Wait():
                self._still(step.seconds)

    def _mark(self, step: tables.Step, *, recorded: bool) -> None:
        if recorded:
            self.marks.append(Mark(self.now, self.number, step))

    def _standing(self, name: str) -> Stance:
        stand = self.dig.stands[name]
        return Stance(
            self.stance.joints,
            stand.origin_over_slab_m,
            math.radians(stand.pitch_deg),
            math.radians(stand.roll_deg),
        )

    # Legs

    def _add(self, way: Way, ramp: Ramp | None, seconds: float) -> None:
        self.legs.append(Leg(self.number, self.now, seconds, ramp, way))
        self.now += seconds
        self.stance = way(1.0)

    def _still(self, seconds: float) -> None:
        here = self.stance
        self._add(lambda _: here, None, seconds)

    def _between(self, there: Stance, ramp: Ramp) -> None:
        """Everything evenly from here to there; a box of joint ranges holds all that lies between."""
        there.pose(self.assembly)
        here = self.stance

        def way(share: float) -> Stance:
            def mix(a: float, b: float) -> float:
                return a + share * (b - a)

            return Stance(
                tuple(map(mix, here.joints, there.joints)), mix(here.origin, there.origin),
                mix(here.pitch, there.pitch), mix(here.roll, there.roll), mix(here.swing, there.swing),
            )  # fmt: skip

        if ramp.seconds > 0.0:
            self._add(way, ramp, ramp.seconds)

    def _to(self, there: Stance) -> None:
        """All joints at once, the one with the longest way at its pace."""
        most = max(abs(b - a) for a, b in zip(self.stance.joints, there.joints, strict=True))
        if most > ROUNDING_RAD:
            self._between(there, at_pace(most, self.fastest, self.pace.ramp_s))

    def _along(self, stances: list[Stance], length: float, pace: float, where: str) -> None:
        """Through these stances, evenly spaced on a way of `length` at `pace` (the same unit a second)."""
        shares = np.linspace(0.0, 1.0, len(stances))
        joints = CubicSpline(shares, np.array([stance.joints for stance in stances]))
        first = stances[0]
        ramp = at_pace(length, pace, self.pace.ramp_s)
        slopes = np.abs(joints(np.linspace(0.0, 1.0, 4 * len(stances)), 1)).max(axis=0)
        asked = float(slopes.max()) * ramp.pace / length
        if asked > self.fastest:
            name = JOINTS[int(slopes.argmax())]
            raise Refused([
                Fault("too-fast", where, f"{math.degrees(asked):.1f} deg/s of the {name}",
                      f"at most {self.pace.joint_deg_s:g} deg/s", "go slower, or allow the joints more under [pace]",
                      {"asked_deg_s": math.degrees(asked), "limit_deg_s": self.pace.joint_deg_s})
            ])  # fmt: skip

        def way(share: float) -> Stance:
            return replace(first, joints=tuple(joints(share).tolist()))

        self._add(way, ramp, ramp.seconds)

    # Places of the edge

    def _edge_at(
        self, edge: tables.Edge, reach: float, height: float, floor_deg: float, near: Stance | None = None
    ) -> Stance:
        here = self.stance if near is None else near
        pitch, roll = here.lean()
        held = {
            n: here.joint(n)
            for n in ("swing_boom", "fore_boom", "tilt", "rotate")
            if n in self.assembly.ranges
        }
        if edge.tilt_deg is not None:
            held["tilt"] = math.radians(edge.tilt_deg)
        found = place_edge(
            self.assembly, pitch=pitch, roll=roll, point=edge.point, reach=reach,
            height=self.dig.over_slab(edge.over, height) - here.origin, floor_angle=math.radians(floor_deg),
            near=here.pose(self.assembly), **held,
        )  # fmt: skip
        return here.having(**held, **found.joints)

    def _line(
        self,
        edge: tables.Edge,
        start: tuple[float, float, float],
        end: tuple[float, float, float],
        length: float,
    ) -> list[Stance]:
        """Stances on the straight way between two (reach m, height m, floor deg)."""
        stances: list[Stance] = []
        for share in np.linspace(0.0, 1.0, max(8, 1 + math.ceil(length / KNOT_M))).tolist():
            reach, height, floor = (a + share * (b - a) for a, b in zip(start, end, strict=True))
            stances.append(self._edge_at(edge, reach, height, floor, stances[-1] if stances else None))
        return stances

    def _touch(self, step: tables.Touch) -> None:
        up = (step.reach_m, step.height_m + ABOVE_M, step.floor_deg)
        down = (step.reach_m, step.height_m, step.floor_deg)
        stances = self._line(step, up, down, ABOVE_M)
        self._to(stances[0])
        self._along(stances, ABOVE_M, DOWN_M_S, "")
        self._still(step.still_s)
        self._mark(step, recorded=step.record is not None)

    def _pass(self, step: tables.Pass) -> None:
        length = abs(step.to_reach_m - step.from_reach_m)
        if length < KNOT_M:
            raise Refused([
                Fault("too-short", "to_reach_m", f"{length * 1e3:.0f} mm of pass", f"at least {KNOT_M * 1e3:.0f} mm")
            ])  # fmt: skip
        rise = step.slope_percent / 100 * (step.to_reach_m - step.from_reach_m)
        floor = step.floor_deg if step.floor_to_deg is None else step.floor_to_deg
        start = (step.from_reach_m, step.height_m, step.floor_deg)
        stances = self._line(step, start, (step.to_reach_m, step.height_m + rise, floor), length)
        self._to(stances[0])
        self._along(stances, length, step.speed_m_s, "speed_m_s")

    # The receiver

    def _strike(self, step: tables.Strike) -> None:
        laser = self.dig.document.laser
        assert laser is not None  # noqa: S101 - held against the machine in `dig`
        plane, beyond = laser.plane_over_slab_m, step.beyond_mm / 1e3
        length = 2.0 * beyond
        rising = np.linspace(plane - beyond, plane + beyond, max(8, 1 + math.ceil(length / KNOT_M))).tolist()
        up = [self._receiver_at(height, math.radians(step.lean_deg)) for height in rising]
        for i, way in enumerate(step.ways):
            stances = up if way == "up" else up[::-1]
            self._to(stances[0])
            self._still(BETWEEN_S if i else REST_S)
            self._along(stances, length, step.speed_mm_s / 1e3, "speed_mm_s")
        self._still(BETWEEN_S)

    def _receiver_at(self, over_slab: float, lean: float) -> Stance:
        """The receiver this high over the slab (m), its mast plumb in the arm's plane but for `lean` (rad) forward."""
        receiver = self.assembly.machine.receiver
        assert receiver is not None  # noqa: S101 - held against the machine in `dig`
        here = self.stance
        x, _, z = swung(plumb_of(*here.lean()), here.joint("swing_boom"))
        mast = math.atan2(receiver.mast[2], receiver.mast[0])
        stick_in_plane = 0.5 * math.pi - lean - mast - math.atan2(x, z)
        boom, stick = self.assembly.ranges["boom"], self.assembly.ranges["stick"]
        fore = here.joint("fore_boom")

        def stance(angle: float) -> Stance:
            turned = wrapped(stick_in_plane - angle - fore, 0.5 * (stick.low + stick.high))
            return here.having(boom=angle, stick=turned)

        def off(angle: float) -> float:
            return stance(angle).pose(self.assembly).height("receiver") + here.origin - over_slab

        allowed = [a for a in np.linspace(boom.low, boom.high, 181).tolist()
                   if stick.low <= stance(a).joint("stick") <= stick.high]  # fmt: skip
        for low, high in _crossings(allowed, off):
            return stance(float(brentq(off, low, high, xtol=1e-12)))
        raise Refused([
            Fault("out-of-reach", "", f"a receiver {over_slab:.3f} m over the slab, its mast plumb", "one in reach",
                  "set the laser higher or lower, or let the mast lean")
        ])  # fmt: skip


def _crossings(angles: list[float], off: Callable[[float], float]) -> Iterator[tuple[float, float]]:
    """Neighbours between which `off` changes sign."""
    values = [off(angle) for angle in angles]
    for i in range(len(angles) - 1):
        if values[i] * values[i + 1] <= 0.0 and angles[i + 1] - angles[i] < 0.05:
            yield angles[i], angles[i + 1]
