"""Measured pins to the text of a machine's profile: lengths, and places in each link's frame."""

import math
from typing import Any

from kinematics.errors import Fault, refuse
from kinematics.linkage import wrapped

from .link_text import Flat, Frame, Writer, plain
from .pin_frame import InBody, in_body
from .pin_needs import Told, joints_missing, machine_pins_missing, view_faults
from .pin_table import PinTable

ANGLE_SLACK_RAD = math.radians(0.5)
"""A posture at a stop, measured to some millimetres on half a metre."""
_MOST_MAST_LEAN_RAD = math.radians(1.0)


def machine_text(table: PinTable, told: Told) -> str:
    """TOML of a machine, in the table's unit. The posture may be any that reaches out.

    A boom cylinder's eye 0.42 m above the line of the boom's pins gives `eye = { ..., z = 420 }` in a table of mm.
    Raises `Refused` with every fault: "missing-pin", "half-described", "no-side-view", "not-both", "missing-joint",
    "no-such-joint"; those of `in_body`; "mirrored" where a cylinder turns its link the other way than stated,
    "out-of-stroke", "beyond-joint", "out-of-plane" for a mast.
    """
    there = frozenset(table.places)
    refuse([*machine_pins_missing(table), *joints_missing(there, told), *view_faults(table, told)])
    at = in_body(table, told.attitude, told.tolerance, told.boom_foot_left)
    return _Machine(at, table, told).text()


class _Machine:
    """A machine's links in their measured posture, and what is written of them."""

    def __init__(self, at: InBody, table: PinTable, told: Told) -> None:
        self.at, self.told, self.there = at, told, frozenset(table.places)
        self.write = Writer(table.unit, "machine", told)
        self.faults: list[Fault] = []
        knee = "fore_boom_pin" if "fore_boom_pin" in self.there else "stick_pin"
        self.frames = {"boom": Frame(at, "boom_foot_pin", knee)}
        if knee == "fore_boom_pin":
            self.frames["fore_boom"] = Frame(at, "fore_boom_pin", "stick_pin")
        self.frames["stick"] = Frame(at, "stick_pin", "bucket_pin")

    def text(self) -> str:
        before: Frame | None = None
        for joint, frame in self.frames.items():
            made = self.write.table()
            if before is None:
                made["foot"] = self._boom_foot()
            made["length"] = self.write.number(frame.length)
            self._held(joint, before, frame, made)
            self.write.doc[joint] = made
            before = frame
        self.write.doc["bucket"] = self._bucket(self.frames["stick"])
        if "receiver" in self.there:
            self.write.doc["receiver"] = self._receiver(self.frames["stick"])
        refuse(self.faults)
        return self.write.text()

    def _boom_foot(self) -> Any:
        """Its forward place too is seen from the post of a swing boom, where there is one."""
        x, left = self.at.places["boom_foot_pin"][0], self.at.plane_y
        if "swing_post" in self.there:
            post_x, post_y, _ = self.at.places["swing_post"]
            post = self.write.inline(forward=self.write.number(post_x), left=self.write.number(post_y))
            made = self.write.table()
            made["post"] = post
            made["range"] = self.write.span(self.told.ranges["swing_boom"])
            self.write.doc["swing_boom"] = made
            x, left = x - post_x, left - post_y
        return self.write.inline(forward=self.write.number(x), left=self.write.number(left))

    def _held(self, joint: str, before: Frame | None, frame: Frame, made: Any) -> None:
        turned = frame.angle - (0.0 if before is None else before.angle)
        if joint in self.told.ranges:
            made["range"] = self.write.span(self.told.ranges[joint])
            self._within(joint, turned)
            return
        foot_name, eye_name = f"{joint}_cylinder_foot", f"{joint}_cylinder_eye"
        if before is None:
            x, z = self.at.xz(foot_name)
            foot = x - frame.x, z - frame.z
        else:
            foot = before.flat(foot_name)
        pin = 0.0 if before is None else before.length
        seen = _turned((foot[0] - pin, foot[1]), -turned)
        stroke = self.told.strokes[joint]
        eye = frame.flat(eye_name)
        raises = _cross(seen, eye) > 0.0
        if stroke.extending is not None and raises != (stroke.extending > 0):
            words = ("lowers", "raises")
            self.faults.append(Fault(
                "mirrored", joint, f"pins by which a longer cylinder {words[raises]} the link",
                f"one that {words[not raises]} it, as stated", "z leads up, and x forward; or correct what was stated",
            ))  # fmt: skip
        made["cylinder"] = self._cylinder(joint, foot, eye, math.dist(seen, eye), raises=raises)

    def _cylinder(self, joint: str, foot: Flat, eye: Flat | None, length: float, *, raises: bool) -> Any:
        stroke = self.told.strokes[joint]
        if not stroke.shortest - self.told.tolerance <= length <= stroke.longest + self.told.tolerance:
            self.faults.append(Fault(
                "out-of-stroke", joint, f"{length * 1e3:.1f} mm between its pins",
                f"{stroke.shortest * 1e3:.1f} to {stroke.longest * 1e3:.1f} mm, within {self.told.tolerance * 1e3:g} mm",
                "measure its pins again, or its shortest and longest length", {"length_mm": length * 1e3},
            ))  # fmt: skip
        made = self.write.table(shortest=stroke.shortest, longest=stroke.longest)
        made["foot"] = self.write.point(foot)
        if eye is not None:
            made["eye"] = self.write.point(eye)
        made["extending"] = "raises" if raises else "lowers"
        return made

    def _within(self, joint: str, angle: float) -> None:
        span = self.told.ranges[joint]
        angle = wrapped(angle, 0.5 * (span.low + span.high))
        if not span.low - ANGLE_SLACK_RAD <= angle <= span.high + ANGLE_SLACK_RAD:
            low, high, found = (math.degrees(each) for each in (span.low, span.high, angle))
            self.faults.append(Fault(
                "beyond-joint", joint, f"{found:.2f} deg between its pins", f"{low:.2f} to {high:.2f} deg",
                "z leads up, and x forward; or correct the range", {"angle_deg": found, "low_deg": low, "high_deg": high},
            ))  # fmt: skip

    def _bucket(self, stick: Frame) -> Any:
        made = self.write.table()
        if "idler_pivot" not in self.there:
            made["range"] = self.write.span(self.told.ranges["bucket"])
            if "link_pin" in self.there:
                x, z = stick.flat("link_pin")
                self._within("bucket", math.atan2(z, x - stick.length))
            return made
        pivot, outer, link = (stick.flat(name) for name in ("idler_pivot", "idler_pin", "link_pin"))
        reach = _less(outer, pivot)
        bar = self.write.table(idler=math.hypot(*reach), power_link=math.dist(outer, link))
        bar["idler_pivot"] = self.write.point(pivot)
        left = _cross(_less((stick.length, 0.0), outer), _less(link, outer)) > 0.0
        bar["branch"] = "open" if left else "crossed"
        made["linkage"] = bar
        if "idler" in self.told.ranges:
            bar["idler_range"] = self.write.span(self.told.ranges["idler"])
            self._within("idler", math.atan2(reach[1], reach[0]))
        else:
            foot = stick.flat("bucket_cylinder_foot")
            raises = _cross(_less(foot, pivot), reach) > 0.0
            made["cylinder"] = self._cylinder("bucket", foot, None, math.dist(foot, outer), raises=raises)
        return made

    def _receiver(self, stick: Frame) -> Any:
        x, y, z = stick.space("receiver", self.at.plane_y)
        tx, ty, tz = stick.space("mast_top", self.at.plane_y)
        lean = math.atan2(abs(ty - y), math.hypot(tx - x, tz - z))
        if lean > _MOST_MAST_LEAN_RAD:
            self.faults.append(Fault(
                "out-of-plane", "mast_top", f"a mast that leans {math.degrees(lean):.1f} deg out of the arm's plane",
                f"at most {math.degrees(_MOST_MAST_LEAN_RAD):g} deg", "set the mast in the arm's plane",
                {"lean_deg": math.degrees(lean)},
            ))  # fmt: skip
        made = self.write.table()
        made["place"] = self.write.inline(
            x=self.write.number(x), y=self.write.number(y), z=self.write.number(z)
        )
        made["mast_angle"] = plain(math.degrees(math.atan2(tz - z, tx - x)), 9)
        return made


def _turned(point: Flat, angle: float) -> Flat:
    c, s = math.cos(angle), math.sin(angle)
    return c * point[0] - s * point[1], s * point[0] + c * point[1]


def _less(a: Flat, b: Flat) -> Flat:
    return a[0] - b[0], a[1] - b[1]


def _cross(a: Flat, b: Flat) -> float:
    return a[0] * b[1] - a[1] * b[0]
