"""SI readings and raw frames through the WebSocket, to the readout that deg and mm give."""

import asyncio
import math
import time
from itertools import count

import numpy as np

from kinematics.sensing import readings_of

from .making import Door, Feeder, Json, Viewer, at_rest, differences, run, said, sensed
from .shaken import GRAVITY, frame, shaken
from .test_readouts import by_post, same

HZ = 100.0


def in_si() -> dict[str, Json]:
    """What every sensor says at rest, in rad and m."""
    return {
        name: {sensed().all[name].unit: list(value) if isinstance(value, tuple) else value}
        for name, value in readings_of(sensed(), at_rest()).items()
    }


def test_si_gives_the_same(door: Door) -> None:
    job = door.dug()

    async def go() -> None:
        async with Feeder(door, job) as feeder, Viewer(door, job) as viewer:
            await asyncio.gather(viewer.readout(), feeder.say(in_si()))
            same(viewer.told.all[-1]["readout"], by_post(job, at_rest()))
            for said_twice in ({"deg": 1.0, "rad": 0.01}, {"m": 0.1}):
                await feeder.say({"boom": said_twice})
            told = await feeder.refused("bad-reading")
            assert told["expected"] == "sensor, at_s and deg or rad, nothing else"

    run(go())


def test_the_welcome(door: Door) -> None:
    job = door.dug()

    async def go() -> None:
        async with Feeder(door, job) as feeder:
            for name, sensor in sensed().all.items():
                assert feeder.welcome["sensors"][name] == {
                    "unit": "mm" if sensor.unit == "m" else "deg", "numbers": 2 if sensor.side_sign else 1,
                    "age_limit_s": sensor.age_limit_s, "place": sensor.place, "measures": sensor.measures.value,
                    "latency_s": sensor.latency_s, "raw": sensor.by_gravity,
                }  # fmt: skip

    run(go())


def test_raw_frames_give_a_readout(door: Door) -> None:
    """Of the boom, the rest as ever: told why not while it settles, then the readout of its angle; health and counts."""
    job = door.dug()
    rest = said(at_rest())
    true = float(readings_of(sensed(), at_rest())["boom"])  # type: ignore[arg-type]
    assert sensed().all["boom"].sign == 1
    n = 2000
    at_s = np.arange(n) / HZ
    plumb = GRAVITY * np.array([math.sin(true), 0.0, math.cos(true)])
    force, rates = shaken(np.random.default_rng(1), at_s, np.tile(plumb, (n, 1)), np.zeros((n, 3)), shake=0.2)
    others = {name: each for name, each in rest.items() if name != "boom"}

    async def go() -> None:
        async with Feeder(door, job) as feeder, Viewer(door, job) as viewer:
            begun = feeder.clock()

            async def send() -> None:
                sent = 0
                while sent < n:
                    await asyncio.sleep(0.04)
                    now = feeder.clock()
                    many: list[Json] = []
                    while sent < n and begun + sent / HZ <= now:
                        many.append(frame("boom", force[sent], rates[sent]) | {"at_s": begun + sent / HZ})
                        sent += 1
                    await feeder.send({"readings": many})
                    await feeder.say(others, now)

            sending = asyncio.create_task(send())
            told = await viewer.told.next(
                lambda m: any(each["found"].startswith("boom") for each in m["no_number_because"])
            )
            why = {each["found"].split(":")[0]: each for each in told["no_number_because"]}
            assert why["boom"]["code"] == "sensor-quiet"
            assert (await feeder.refused("settling"))["advice"] == "hold the arm still for two seconds"
            await viewer.readout(within=6.0)
            await feeder.say({"boom": {"deg": 1.0}})
            assert "one kind" in (await feeder.refused("bad-reading"))["expected"]
            await asyncio.sleep(0.5)
            told = await viewer.readout()
            health = (await asyncio.to_thread(door.health, job))["sensors"]["boom"]
            sending.cancel()
            await asyncio.gather(sending, return_exceptions=True)
            assert health["fused"] is True
            assert abs(health["last"] - math.degrees(true)) <= 0.1
            # 0.08 deg/s from sample to sample over two seconds, and the shaking's rest.
            assert np.allclose(health["gyro_bias_deg_s"], [0.4, -0.6, 0.3], atol=0.06)
            assert health["refused"].keys() >= {"settling", "bad-reading"}
            # 0.1 deg at some 8 m.
            height = by_post(job, at_rest())["points"]
            found = differences(told["readout"]["points"], height, 0.02)
            assert [each for each in found if ".shown" not in each] == []  # the same in words

    run(go())


def test_a_finished_reading_is_not_fused(door: Door) -> None:
    job = door.dug()

    async def go() -> None:
        async with Feeder(door, job) as feeder, Viewer(door, job) as viewer:
            await asyncio.gather(viewer.readout(), feeder.say(said(at_rest())))
            for each in (await asyncio.to_thread(door.health, job))["sensors"].values():
                assert each["fused"] is False
                assert each["gyro_bias_deg_s"] is None

    run(go())


def test_bad_frames_hold_up_nobody(door: Door) -> None:
    """Frames of every bad kind between good readings of the others."""
    job = door.dug()
    numbers = count()
    good = [0.0, 0.0, 9.81]
    bad: list[Json] = [
        {"accelerometer_m_s2": good}, {"gyro_rad_s": good}, {"accelerometer_m_s2": good, "gyro_rad_s": "0 0 0"},
        {"accelerometer_m_s2": [0, 0, 1], "gyro_rad_s": [0, 0, 0]},
        {"accelerometer_m_s2": good, "gyro_rad_s": [0, 60, 0]},
        {"accelerometer_m_s2": [0, 0, 10**4000], "gyro_rad_s": [0, 0, 0]},
        {"accelerometer_m_s2": good, "gyro_rad_s": [0, 0, 0], "deg": 3.0},
        {"accelerometer_m_s2": [[]], "gyro_rad_s": {}},
    ]  # fmt: skip

    async def go() -> None:
        async with Feeder(door, job) as feeder, Viewer(door, job) as viewer:
            keeping = asyncio.create_task(feeder.keep_saying(lambda: said(at_rest())))
            await viewer.readout()
            begun = time.monotonic()
            while time.monotonic() - begun < 0.5:
                await feeder.say({"boom": bad[next(numbers) % len(bad)]})
                await asyncio.sleep(0.01)
            assert (await viewer.readout())["age_s"] < 0.3
            keeping.cancel()
            await asyncio.gather(keeping, return_exceptions=True)
            refused = (await asyncio.to_thread(door.health, job))["sensors"]["boom"]["refused"]
            assert refused.keys() == {"bad-reading"}, "its finished readings hold the place"

    run(go())
