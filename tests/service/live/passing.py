"""Machines whose receiver passes through the laser's plane, or whose edge rests, played in real time."""

import asyncio
import math
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

from kinematics.arm import pose
from kinematics.striking import APART_S
from service.live.receiver import GRACE_S
from tests.kinematics.streams import UPRIGHT, boom_at
from tests.service.api.doing import JobDoer

from .making import Door, Feeder, Json, Said, Viewer, dated, said, sensed

HZ, BITS_HZ = 20.0, 10.0
BAND_M = 0.006
LATENCY_S = 0.03  # of the arm's sensors
Motion = Callable[[float], Mapping[str, float]]
SETTLED_WITHIN_S = 20.0
PLANE_M = 1.0
"""Height of the plane over the machine's origin where nothing else is said; the receiver is near it with `UPRIGHT`."""


def through(
    speed: float,
    *,
    plane: float = PLANE_M,
    rest_s: float = 1.4,
    reach: float = 0.02,
    back: bool = True,
    **start: float,
) -> tuple[Motion, float]:
    """The receiver at rest below the plane, up through it, and back; with how long that takes (s)."""
    angles = UPRIGHT | start
    up_s, wait_s = 2.0 * reach / speed, 0.5
    ends = [rest_s, rest_s + up_s, rest_s + up_s + wait_s, rest_s + (2.0 if back else 1.0) * up_s + wait_s]

    def height(t: float) -> float:
        way = min(max(t - ends[0], 0.0), up_s) - (max(t - ends[2], 0.0) if back else 0.0)
        return plane - reach + speed * max(way, 0.0)

    return lambda t: boom_at("receiver", height(t), angles), ends[3] + 0.9


@dataclass
class Played:
    """What came of a scenario."""

    job: JobDoer
    strikes: list[Json]
    shown: list[Json] = field(default_factory=list)
    before: int = 0

    def entries(self) -> list[Json]:
        """Strikes on the log since it began."""
        return [each for each in self.job.events() if each["type"] == "struck" and each["seq"] > self.before]

    def told(self, verdict: str) -> list[Json]:
        return [each for each in self.strikes if each["verdict"] == verdict]


def readings(motion: Motion, seconds: float, hz: float = HZ) -> list[tuple[float, Said, float]]:
    """(time, what the sensors say, how far the beam is over the receiver's centre along its mast)."""
    found = []
    for k in range(math.ceil(seconds * hz)):
        here = pose(sensed().assembly, **motion(k / hz))
        above = (PLANE_M - here.height("receiver")) / math.cos(here.mast_angle)
        found.append((k / hz, said(pose(sensed().assembly, **motion(k / hz - LATENCY_S))), above))
    return found


async def play(
    door: Door, job: JobDoer, motion: Motion, seconds: float, *, plane: float = PLANE_M, bits: bool = True,
    band: float = BAND_M, token: str | None = None,
) -> Played:  # fmt: skip
    """Feed all sensors and the receiver as the machine moves so, in real time; then what was told once all is settled."""
    track = await asyncio.to_thread(readings, motion, seconds)
    before = (await asyncio.to_thread(job.get))["seq"]
    async with Feeder(door, job, token=token) as feeder, Viewer(door, job, token=token) as viewer:
        begun, samples = time.monotonic(), 0
        for k, (t, all_said, above) in enumerate(track):
            await asyncio.sleep(begun + t - time.monotonic())
            at_s = begun + t + feeder.zero  # a test that is late by a few ms is no unsteady machine
            many = dated(all_said, at_s)
            if k % round(HZ / BITS_HZ) == 0:
                off = above + plane - PLANE_M
                samples += 1
                many.append(
                    {"at_s": at_s}
                    | ({"receiver_hit": abs(off) <= 0.5 * band} if bits else {"receiver_above_mm": 1e3 * off})
                )
            await feeder.send({"readings": many})
        strikes = await _settled(door, job, feeder, viewer, samples)
        told = _strikes(feeder)
        # One that is settled later is told at once all the same.
        assert all(each["seq"] is None and not each["because"] for each in told if each not in strikes), told
        assert not [each for each in feeder.told.all if "refused" in each], feeder.told.all
        return Played(job, strikes, [each for each in viewer.told.all if each["strike"]], before)


def _strikes(feeder: Feeder) -> list[Json]:
    return [each["strike"] for each in feeder.told.all if "strike" in each]


async def _settled(door: Door, job: JobDoer, feeder: Feeder, viewer: Viewer, samples: int) -> list[Json]:
    """What came of every crossing, once all samples have come, none can be part of another crossing, what waited for its
    counterpart waits no longer, and feeder and viewer were told of all of it."""
    receiver, hub = door.known(job.id).receiver, door.hub
    async with asyncio.timeout(SETTLED_WITHIN_S):
        while True:
            strikes = [each for each in _strikes(feeder) if each["verdict"] != "crossed once"]
            judged = receiver.verdicts.total()
            over = receiver.taken >= samples and receiver.looked_s >= receiver.arrived + APART_S + GRACE_S
            busy = job.id in hub._judging or job.id in hub._passed or receiver.pending is not None
            shown = not strikes or any(each.get("strike") == strikes[-1] for each in viewer.told.all)
            if over and not busy and judged == len(strikes) and shown:
                return strikes
            assert feeder.told.closed is None, feeder.told.closed
            await asyncio.sleep(0.02)


def together(work: dict[str, Any]) -> Any:
    """Several at the same time, by name."""

    async def all_of() -> dict[str, Any]:
        return dict(zip(work, await asyncio.gather(*work.values()), strict=True))

    return all_of()
