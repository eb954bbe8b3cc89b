"""A pose through the sensors and the live door gives what the same pose gives by POST readouts."""

import asyncio
import json
from typing import Any

import httpx
import pytest

from kinematics.arm import Pose
from machine_profiles import shipped
from tests.service.api.doing import JobDoer, as_asked

from .making import (
    ATTACHMENT,
    DEADLINE_S,
    MACHINE,
    Door,
    Feeder,
    Json,
    Port,
    Viewer,
    at_rest,
    differences,
    run,
    said,
    sensed,
)

# Through gravity, four-bar and cylinders and back, in double precision; figures are told to a nanometre.
SAME = 1e-8
PAIRS = [
    (MACHINE, ATTACHMENT, "m", "edge"), (MACHINE, ATTACHMENT, "mm", "edge"), (MACHINE, "trenching-600", "ft", "teeth"),
    (MACHINE, "tilt-rotator-1600", "ftUS", "edge"), ("midi-8t", "coupled-900", "ftin", "edge"),
    ("midi-8t", "midi-bucket-700", "m", "teeth"), ("compact-1t8", "compact-bucket-400", "mm", "edge"),
]  # fmt: skip


def by_post(job: JobDoer, found: Pose, **more: Any) -> Json:
    answer: Json = job.read(as_asked(found), **more)
    return answer


@pytest.mark.parametrize(("machine", "attachment", "units", "line"), PAIRS)
def test_the_same_as_by_post(door: Door, machine: str, attachment: str, units: str, line: str) -> None:
    sensors = sensed(machine, attachment)
    job = door.dug(units, machine, attachment, below=0.6)
    poses = [at_rest(machine, attachment, part) for part in (0.5, 0.52, 0.35)]

    async def go() -> None:
        async with (
            Feeder(door, job) as feeder,
            Viewer(door, job, f"line={line}") as plain,
            Viewer(door, job, f"target=footing&line={line}") as aimed,
            Viewer(door, job, f"target=footing&line={line}&edge_point=right") as right,
        ):
            assert set(feeder.welcome["sensors"]) == set(sensors.all)
            for found in poses:
                await asyncio.gather(
                    plain.told.next(_read), aimed.told.next(_read), right.told.next(_read),
                    feeder.say(said(found, sensors)),
                )  # fmt: skip
                wanted = by_post(job, found, line=line, target="footing", edge_point="right")
                same(right.told.all[-1]["readout"], wanted)
                same(plain.told.all[-1]["readout"], by_post(job, found, line=line))
                same(aimed.told.all[-1]["readout"], by_post(job, found, line=line, target="footing"))
            # One by one: each frame is told, and once all have come it is the last pose again.
            for name, each in said(poses[0], sensors).items():
                await feeder.send({"sensor": name, "at_s": feeder.clock(), **each})
            wanted = by_post(job, poses[0], line=line, target="footing")
            await aimed.told.first(lambda m: _read(m) and not differences(m["readout"], wanted, SAME))
            assert "refused" not in {key for message in feeder.told.all for key in message}

    run(go())


def _read(message: Json) -> bool:
    return message["readout"] is not None


def same(live: Json, posted: Json) -> None:
    assert differences(live, posted, SAME) == []


def test_a_sloping_target(door: Door) -> None:
    job = door.dug()
    layers = [{"name": "all", "thickness": 1.0}]
    job.post(
        "targets",
        job.target_body("apron", 1.0) | {"layers": layers, "along_percent": 2.0, "across_percent": -1.5},
    )
    found = at_rest()
    job.station("apron", 3.0, as_asked(at_rest(part=0.45)))

    async def go() -> None:
        async with (
            Feeder(door, job) as feeder,
            Viewer(door, job, "target=apron") as anchored,
            Viewer(door, job, "target=apron&station=4.5") as taped,
        ):
            await asyncio.gather(anchored.told.next(_read), taped.told.next(_read), feeder.say(said(found)))
            same(anchored.told.all[-1]["readout"], by_post(job, found, target="apron"))
            same(taped.told.all[-1]["readout"], by_post(job, found, target="apron", station=4.5))

    run(go())


def test_too_old_is_no_number(door: Door) -> None:
    job = door.dug()

    async def go() -> None:
        async with Feeder(door, job) as feeder, Viewer(door, job, "target=footing") as viewer:
            told = await viewer.told.first(lambda _: True)
            assert told["readout"] is None
            assert told["age_s"] is None
            assert set(told["quiet"]) == set(sensed().all)
            assert {each["code"] for each in told["no_number_because"]} == {"sensor-quiet"}
            rest = said(at_rest())
            await asyncio.gather(viewer.readout(), feeder.say(rest))
            told = viewer.told.all[-1]
            assert 0.0 <= told["latency_s"] <= told["age_s"] + 1e-6
            assert told["oldest"] == "body"  # its latency is the largest
            assert 0.04 <= told["age_s"] <= 0.5
            # All but the stick go on: that one is named once its 0.5 s have passed.
            rest.pop("stick")
            going = asyncio.create_task(feeder.keep_saying(lambda: rest))
            told = await viewer.quiet()
            going.cancel()
            assert told["quiet"] == ["stick"]
            [why] = told["no_number_because"]
            assert why["code"] == "sensor-quiet"
            assert "stick" in why["found"]
            assert told["oldest"] == "stick"
            assert 0.5 < told["age_s"] < 1.0

    run(go())


def test_the_rules_of_the_job_may_be_stricter(door: Door) -> None:
    job = door.dug()
    job.post("rules", {"rules": job.get()["rules"] | {"age_limit_s": 0.2}})

    async def go() -> None:
        async with Feeder(door, job) as feeder, Viewer(door, job) as viewer:
            assert {each["age_limit_s"] for each in feeder.welcome["sensors"].values()} == {0.2}
            await asyncio.gather(viewer.readout(), feeder.say(said(at_rest())))
            told = await viewer.quiet()
            assert 0.2 < told["age_s"] < 0.45

    run(go())


def test_what_an_error_says_is_told(door: Door) -> None:
    job = door.dug()

    async def go() -> None:
        async with Feeder(door, job) as feeder, Viewer(door, job) as viewer:
            await feeder.send({"sensor": "boom", "at_s": feeder.clock(), "error": "not available"})
            assert (await feeder.refused("sensor-error"))["found"] == "not available"
            await feeder.say({k: v for k, v in said(at_rest()).items() if k != "boom"})
            told = await viewer.told.next(lambda m: m["quiet"] == ["boom"])
            assert told["readout"] is None
        health = door.health(job)["sensors"]["boom"]
        assert health["words"] == "not available"
        assert health["refused"] == {"sensor-error": 1}

    run(go())


CHECK = """
[sensors.boom-twice]
place = "boom"
measures = "gravity-angle"
sign = 1
mounting = { nose_up = 0.0 }
range = { low = -180, high = 180 }
noise = 0.05
latency_ms = 30
age_limit_ms = 500
check = true
"""


def test_checks_that_disagree_give_no_number(door: Door) -> None:
    text = shipped()["machine", MACHINE].source_text + CHECK
    door.http.post("/v1/machines", {"toml": text.replace(f'id = "{MACHINE}"', 'id = "crawler-checked"')})
    job = door.job()
    job.benchmark("slab", 100.0)
    job.setup("crawler-checked")
    touch = {"point": "slab", "purpose": "reference", "edge_point": "centre", "pose": as_asked(at_rest())}
    job.post("touches", touch)
    rest = said(at_rest())
    true = float(rest["boom"]["deg"]) - 3.2  # the first one's mounting in its profile

    async def go() -> None:
        async with Feeder(door, job) as feeder, Viewer(door, job) as viewer:
            await asyncio.gather(viewer.readout(), feeder.say(rest | {"boom-twice": {"deg": true + 0.05}}))
            same(viewer.told.all[-1]["readout"], by_post(job, at_rest()))
            await asyncio.gather(viewer.quiet(), feeder.say(rest | {"boom-twice": {"deg": true + 1.5}}))
            told = viewer.told.all[-1]
            assert [each["code"] for each in told["no_number_because"]] == ["sensors-disagree"]
            assert told["quiet"] == []
            assert "boom-twice" in told["no_number_because"][0]["found"]
        assert door.health(job)["sensors"]["boom-twice"]["check"] is True

    run(go())


def test_no_number_without_machine_or_sensors(door: Door) -> None:
    bare = door.job()
    blind = door.job()
    blind.benchmark("slab", 100.0)
    blind.setup("crawler-21t", "digging-1500")
    half = door.job()
    half.benchmark("slab", 100.0)
    half.setup("crawler-21t", "tilting-1800")

    async def go() -> None:
        await asyncio.gather(*map(tells, (bare, blind, half), ("no-setup", "no-sensors", "missing-joint")))

    async def tells(job: JobDoer, code: str) -> None:
        async with Feeder(door, job) as feeder, Viewer(door, job) as viewer:
            assert feeder.welcome["sensors"] == {}
            told = await viewer.told.first(lambda _: True)
            assert told["readout"] is None
            assert {each["code"] for each in told["no_number_because"]} == {code}
            assert all(each["found"] and each["expected"] for each in told["no_number_because"])
            await feeder.say({"boom": {"deg": 1.0}})
            assert "no sensor" in (await feeder.refused("no-such-sensor"))["expected"]
            assert (await asyncio.to_thread(door.health, job))["no_sensors_because"]

    run(go())


@pytest.mark.parametrize(
    ("asked", "status", "slug"),
    [
        ("target=cellar", 422, "unknown-target"),
        ("rate_hz=0", 422, "invalid-request"),
        ("rate_hz=x", 422, "invalid-request"),
        ("rate_hz=nan", 422, "invalid-request"),
        ("rate_hz=1000", 422, "invalid-request"),
        ("line=lip", 422, "invalid-request"),
        ("edge_point=tooth_left", 422, "invalid-request"),
        ("line=teeth", 422, "refused"),
        ("target=footing&station=3", 422, "refused"),
        ("station=3", 422, "refused"),
        ("target=footing&station=three", 422, "refused"),
        ("target=footing&station=nan", 422, "refused"),
        ("after=-1", 422, "invalid-request"),
        ("after=x", 422, "invalid-request"),
    ],
)
def test_what_cannot_be_shown_is_refused_before_it_opens(
    door: Door, asked: str, status: int, slug: str
) -> None:
    job = door.dug()
    path = f"/v1/jobs/{job.id}/readouts/live?{asked}"
    assert handshake(door, path) == (status, slug)
    if not asked.startswith("after"):  # an event stream resumes by a header
        assert outcome(door.http.http.get(path)) == (status, slug)


def test_a_job_that_is_none(door: Door) -> None:
    for rest in ("readings", "readouts/live"):
        assert handshake(door, f"/v1/jobs/nowhere/{rest}") == (404, "unknown-job")
    for rest in ("sensors", "readouts/live"):
        assert outcome(door.http.http.get(f"/v1/jobs/nowhere/{rest}")) == (404, "unknown-job")


def handshake(door: Port, path: str, headers: dict[str, str] | None = None) -> tuple[int, str]:
    """(status, slug) of a refused opening of a WebSocket."""
    opening = {
        "connection": "Upgrade", "upgrade": "websocket", "sec-websocket-version": "13",
        "sec-websocket-key": "dGhlIHNhbXBsZSBub25jZQ==",
    }  # fmt: skip
    address = f"http://127.0.0.1:{door.port}{path}"
    with httpx.stream("GET", address, headers=opening | (headers or {}), timeout=DEADLINE_S) as answer:
        assert answer.status_code != 101, "it was let in"
        answer.read()
    return outcome(answer)


def outcome(answer: Any) -> tuple[int, str]:
    document = json.loads(answer.text)
    assert answer.headers["content-type"] == "application/problem+json"
    assert document["status"] == answer.status_code
    assert document["errors"] or document["detail"]
    return answer.status_code, document["type"].rpartition("#")[2]


def test_another_attachment_while_all_goes_on(door: Door) -> None:
    """Both sides are told; readings from before say nothing of it; what is counted goes on."""
    job = door.dug()

    async def go() -> None:
        async with Feeder(door, job) as feeder, Viewer(door, job) as viewer:
            rest = said(at_rest())
            await asyncio.gather(viewer.readout(), feeder.say(rest))
            begun = len(viewer.told.all)
            change = {"attachment": "trenching-600"}
            await asyncio.to_thread(job.post, "attachment-changes", change)
            await asyncio.to_thread(job.laser)  # while the sensors are read anew
            told = await viewer.told.first(lambda m: m["readout"] is None, since=begun)
            assert {each["code"] for each in told["no_number_because"]} <= {
                "no-setup", "sensor-quiet", "observed-before",
            }  # fmt: skip
            await feeder.told.first(
                lambda m: "welcome" in m and set(m["welcome"]["sensors"]) == set(rest) - {"tilt"}
            )
            rest.pop("tilt")
            found = at_rest(MACHINE, "trenching-600")
            now = said(found, sensed(MACHINE, "trenching-600"))
            await asyncio.sleep(
                0.06
            )  # the sensors' own latency: what was true of the world before is not used
            await asyncio.gather(viewer.readout(), feeder.say(now))
            same(viewer.told.all[-1]["readout"], by_post(job, found))
        assert door.health(job)["sensors"]["boom"]["taken"] == 2

    run(go())


@pytest.mark.parametrize("what", ["moves", "swings", "laser-setups"])
def test_readings_from_before_an_entry_are_not_used(door: Door, what: str) -> None:
    job = door.dug()
    bodies = {"laser-setups": {"revolutions_per_s": 10.0, "fall_percent": 0.0}}

    async def go() -> None:
        async with Feeder(door, job) as feeder, Viewer(door, job) as viewer:
            rest = said(at_rest())
            await asyncio.gather(viewer.readout(), feeder.say(rest))
            before = feeder.clock()
            begun = len(viewer.told.all)
            await asyncio.to_thread(job.post, what, bodies.get(what, {}))
            told = await viewer.told.first(lambda m: m["readout"] is None, since=begun)
            assert {each["code"] for each in told["no_number_because"]} == {"observed-before"}
            # What was on its way meanwhile is dated before the entry too.
            await feeder.say(rest, before)
            told = await viewer.told.next()
            assert told["readout"] is None
            assert {each["code"] for each in told["no_number_because"]} == {"observed-before"}
            await asyncio.sleep(0.06)  # the sensors' own latency
            await asyncio.gather(viewer.readout(), feeder.say(rest))
            assert viewer.told.all[-1]["readout"]["seq"] == job.get()["seq"]

    run(go())


def test_a_profile_measured_anew_is_told(door: Door) -> None:
    """As by POST readouts, though nothing on the job's log has changed."""
    text = shipped()["machine", MACHINE].source_text.replace(f'id = "{MACHINE}"', 'id = "crawler-anew"')
    door.http.post("/v1/machines", {"toml": text})
    job = door.dug(machine=MACHINE)
    job.setup("crawler-anew")
    touch = {"point": "slab", "purpose": "reference", "edge_point": "centre", "pose": as_asked(at_rest())}
    job.post("touches", touch)

    async def go() -> None:
        async with Feeder(door, job) as feeder, Viewer(door, job, "target=footing") as viewer:
            going = asyncio.create_task(feeder.keep_saying(lambda: said(at_rest())))
            assert (await viewer.readout())["readout"]["warnings"] == []
            again = {"toml": text.replace("noise = 0.05", "noise = 0.06", 1)}
            await asyncio.to_thread(door.http.post, "/v1/machines", again)
            told = await viewer.told.next(lambda m: m["readout"]["warnings"], within=3.0)
            going.cancel()
            assert [each["code"] for each in told["readout"]["warnings"]] == ["later-revision"]
            same(told["readout"], by_post(job, at_rest(), target="footing"))

    run(go())
