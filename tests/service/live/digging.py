"""A 14 t machine in MuJoCo that digs, with an accelerometer and a gyro on every link: what they feel is MuJoCo's.

Lengths and masses of the class, from memory. Joint courses are hand-made: even speeds with smooth ramps of 0.8 s.
"""

from dataclasses import dataclass
from types import ModuleType

import numpy as np
from numpy.typing import NDArray

from .shaken import Floats

JOINTS = ("swing", "boom", "stick", "bucket")
LINKS = ("body", "boom", "stick", "bucket")
REST_S, CYCLE_S, END_S = 4.0, 16.0, 5.0
BEGIN_S = 20.0
"""Of the work; before it the gyros are seen to be right: the boom raised, a swing there and back, rest between."""
RAMP_S = 0.8

# Sites stand off the pins; quat is that of the case on its link (w, x, y, z).
_MACHINE = """
<mujoco><compiler angle="radian"/><option gravity="0 0 -9.81"/><worldbody>
<body name="body"><joint name="swing" axis="0 0 1"/><inertial pos="0 0 1" mass="9000" diaginertia="9e3 9e3 9e3"/>
<site name="body" pos="-0.6 0.4 1.2" quat="{body}"/>
<body name="boom" pos="0.25 -0.06 0.9"><joint name="boom" axis="0 -1 0"/>
<inertial pos="2.2 0 0.4" mass="1100" diaginertia="1e2 2e3 2e3"/><site name="boom" pos="1.6 0.15 0.45" quat="{boom}"/>
<body name="stick" pos="4.6 0 0"><joint name="stick" axis="0 -1 0"/>
<inertial pos="0.9 0 0.1" mass="600" diaginertia="5e1 4e2 4e2"/><site name="stick" pos="0.5 0.12 0.25" quat="{stick}"/>
<body name="bucket" pos="2.5 0 0"><joint name="bucket" axis="0 -1 0"/>
<inertial pos="0.5 0 0.3" mass="500" diaginertia="8e1 8e1 8e1"/><site name="bucket" pos="0.2 0.1 0.3" quat="{bucket}"/>
</body></body></body></body></worldbody><sensor>{sensors}</sensor></mujoco>
"""


@dataclass(frozen=True, slots=True)
class Felt:
    """Of one case, by its axes, each (n, 3): specific force (m/s2), rates (rad/s), plumb; `turn` (n,): its link's angle
    in the arm's plane above the level (rad)."""

    force: Floats
    rates: Floats
    plumb: Floats
    turn: Floats


@dataclass(frozen=True, slots=True)
class Dig:
    """`at_s` (n,), what each case feels by its link, and the joints' peak speeds (rad/s)."""

    at_s: Floats
    felt: dict[str, Felt]
    peaks: dict[str, float]

    @property
    def moving(self) -> NDArray[np.bool_]:
        """Where the work goes on, (n,) of bool."""
        return np.asarray((self.at_s >= BEGIN_S) & (self.at_s < self.at_s[-1] - END_S))


def _course(
    at_s: Floats, start: float, moves: list[tuple[float, float, float]]
) -> tuple[Floats, Floats, Floats]:
    """Angle, rate and acceleration, each (n,), of moves (begin s, end s, by deg) at an even speed between ramps."""
    angle, rate, gain = np.full_like(at_s, np.radians(start)), np.zeros_like(at_s), np.zeros_like(at_s)
    for begin, end, by in moves:
        ramp = min(RAMP_S, 0.5 * (end - begin))
        top, often = np.radians(by) / (end - begin - ramp), np.pi / ramp
        up = np.clip(at_s - begin, 0.0, ramp)
        down = np.clip(at_s - (end - ramp), 0.0, ramp)
        even = np.clip(at_s - begin - ramp, 0.0, end - begin - 2.0 * ramp)
        angle += 0.5 * top * (up - np.sin(often * up) / often) + top * even
        angle += 0.5 * top * (down + np.sin(often * down) / often)
        rate += 0.5 * top * (np.cos(often * down) - np.cos(often * up))
        gain += 0.5 * top * often * (np.sin(often * up) - np.sin(often * down))
    return angle, rate, gain


def _cycles(count: int) -> dict[str, tuple[float, list[tuple[float, float, float]]]]:
    """Dig, lift, swing by 92 deg, dump, swing back, and half a second until the next."""
    moves: dict[str, list[tuple[float, float, float]]] = {name: [] for name in JOINTS}
    moves["boom"] += [(REST_S, REST_S + 2, 20), (BEGIN_S - 4, BEGIN_S - 2, -20)]
    moves["swing"] += [(REST_S + 4, REST_S + 7, 60), (REST_S + 9, REST_S + 12, -60)]
    for k in range(count):
        t = BEGIN_S + k * CYCLE_S
        moves["boom"] += [
            (t, t + 1.5, -20),
            (t + 1.5, t + 4.5, 7),
            (t + 4.5, t + 6.5, 23),
            (t + 11, t + 14.4, -10),
        ]
        moves["stick"] += [(t + 1.5, t + 4.5, -60), (t + 6.5, t + 9, 50), (t + 11, t + 13.5, 10)]
        moves["bucket"] += [(t + 2, t + 4.5, -90), (t + 8.5, t + 10, 120), (t + 11, t + 14, -30)]
        moves["swing"] += [(t + 5, t + 9, 92), (t + 10.2, t + 14.2, -92)]
    return dict(zip(JOINTS, zip((0.0, 35.0, -70.0, -60.0), moves.values(), strict=True), strict=True))


def dig(mujoco: ModuleType, hz: float, cycles: int = 4, mounted: dict[str, str] | None = None) -> Dig:
    """What the cases feel; `mounted`: the quaternions of those that are turned on their links."""
    sensors = "".join(
        f'<accelerometer name="force {link}" site="{link}"/><gyro name="rates {link}" site="{link}"/>'
        for link in LINKS
    )
    turns = dict.fromkeys(LINKS, "1 0 0 0") | (mounted or {})
    model = mujoco.MjModel.from_xml_string(_MACHINE.format(sensors=sensors, **turns))
    data = mujoco.MjData(model)
    at_s = np.arange(round((BEGIN_S + cycles * CYCLE_S + END_S) * hz)) / hz
    courses = [_course(at_s, *each) for each in _cycles(cycles).values()]
    n = len(at_s)
    felt = {link: Felt(np.empty((n, 3)), np.empty((n, 3)), np.empty((n, 3)), np.empty(n)) for link in LINKS}
    for i in range(len(at_s)):
        for j, (angle, rate, gain) in enumerate(courses):
            data.qpos[j], data.qvel[j], data.qacc[j] = angle[i], rate[i], gain[i]
        mujoco.mj_inverse(model, data)  # and with it what its sensors feel
        for link, each in felt.items():
            each.force[i] = data.sensor(f"force {link}").data
            each.rates[i] = data.sensor(f"rates {link}").data
            each.plumb[i] = data.site(link).xmat.reshape(3, 3)[2]
            ahead = data.body(link).xmat.reshape(3, 3)[:, 0]
            each.turn[i] = np.arctan2(ahead[2], np.hypot(ahead[0], ahead[1]))
    peaks = {name: float(np.max(np.abs(rate))) for name, (_, rate, _) in zip(JOINTS, courses, strict=True)}
    return Dig(at_s, felt, peaks)
