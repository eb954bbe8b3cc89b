"""Who may feed and who may look, and what becomes of a stream whose right ends."""

import asyncio
from collections.abc import Iterator

import httpx
import pytest

from service.access.caller import Role
from service.access.holders import Holders
from service.api import live
from service.live import feeding
from service.store import utc_now
from tests.service.api.doing import Json

from .making import DEADLINE_S, Door, Feeder, Viewer, at_rest, run, said, serving
from .passing import play, through
from .test_readouts import handshake

VIEWER, OPERATOR, BUILDER, ADMINISTRATOR = Role
REST = said(at_rest())
UNHURRIED = {"requests_per_s": 1e6, "requests_at_once": 1_000_000}


@pytest.fixture(scope="module")
def guarded(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Door]:
    """The same with access control, that looks at rights five times a second; asked by an administrator."""
    with pytest.MonkeyPatch.context() as patch, serving(
        tmp_path_factory.mktemp("guarded"), access=True, **UNHURRIED
    ) as opened:  # fmt: skip
        patch.setattr(feeding, "CHECK_EVERY_S", 0.2)
        patch.setattr(live, "CHECK_EVERY_S", 0.2)
        token = holders(opened).create("ada", [ADMINISTRATOR], [], None).credential.text
        opened.http.http.headers["authorization"] = f"Bearer {token}"
        yield opened


def holders(door: Door) -> Holders:
    return Holders(door.app.state.database, utc_now)


def create(door: Door, name: str, role: Role, machines: list[str] | None = None) -> str:
    if role is not OPERATOR:
        machines = []
    return holders(door).create(name, [role], machines, None).credential.text


@pytest.fixture(scope="module")
def tokens(guarded: Door) -> dict[str, str]:
    made = {role.value: create(guarded, role.value, role) for role in Role}
    return made | {"elsewhere": create(guarded, "elsewhere", OPERATOR, ["midi-8t"])}


def bearer(token: str, **more: str) -> dict[str, str]:
    return {"authorization": f"Bearer {token}"} | more


@pytest.mark.parametrize("who", ["viewer", "operator", "builder", "administrator", "elsewhere", "nobody"])
def test_who_may(guarded: Door, tokens: dict[str, str], who: str) -> None:
    """To look is everybody's who is let in; to feed is the operator's of that machine."""
    job = guarded.dug()
    shown = {} if who == "nobody" else bearer(tokens[who])
    path = f"/v1/jobs/{job.id}"
    if who == "nobody":
        for rest in ("readings", "readouts/live"):
            assert handshake(guarded, f"{path}/{rest}") == (401, "unauthenticated")
        for rest in ("sensors", "readouts/live"):
            answer = httpx.get(f"http://127.0.0.1:{guarded.port}{path}/{rest}")
            assert answer.status_code == 401
        return
    wrong = {"viewer": "not-allowed", "builder": "not-allowed", "elsewhere": "not-assigned"}.get(who)

    async def go() -> None:
        async with Viewer(guarded, job, token=tokens[who]) as viewer:
            await viewer.told.first(lambda _: True)
            if wrong is None:
                async with Feeder(guarded, job, token=tokens[who]) as feeder:
                    await asyncio.gather(viewer.readout(), feeder.say(REST))
        async with httpx.AsyncClient(base_url=f"http://127.0.0.1:{guarded.port}", headers=shown) as client:
            assert (await client.get(f"{path}/sensors")).status_code == 200
            async with client.stream("GET", f"{path}/readouts/live") as answer:
                assert answer.status_code == 200

    run(go())
    if wrong is not None:
        assert handshake(guarded, f"{path}/readings", shown) == (403, wrong)


@pytest.mark.parametrize("origin", ["http://evil.example", "null", "http://127.0.0.1:1"])
def test_a_page_from_elsewhere(guarded: Door, tokens: dict[str, str], origin: str) -> None:
    job = guarded.dug()
    for rest in ("readings", "readouts/live"):
        path = f"/v1/jobs/{job.id}/{rest}"
        assert handshake(guarded, path, bearer(tokens["operator"], origin=origin)) == (403, "foreign-origin")
    answer = guarded.http.http.get(f"/v1/jobs/{job.id}/readouts/live", headers={"origin": origin})
    assert answer.status_code == 403

    async def go() -> None:
        own = f"http://127.0.0.1:{guarded.port}"
        async with Viewer(guarded, job, token=tokens["viewer"], origin=own) as viewer:
            await viewer.told.first(lambda _: True)

    run(go())


def test_a_revoked_token_ends_every_stream(guarded: Door) -> None:
    job = guarded.dug()
    token = create(guarded, "rolf", OPERATOR)

    async def go() -> None:
        async with (
            Feeder(guarded, job, token=token) as feeder,
            Viewer(guarded, job, token=token) as viewer,
            httpx.AsyncClient(timeout=DEADLINE_S, headers=bearer(token)) as client,
            client.stream("GET", f"http://127.0.0.1:{guarded.port}/v1/jobs/{job.id}/readouts/live") as events,
        ):
            lines = events.aiter_lines()
            await asyncio.gather(viewer.readout(), feeder.say(REST))
            await asyncio.to_thread(holders(guarded).revoke, "rolf")
            assert await feeder.told.end_of() == (1008, "unauthenticated")
            assert await viewer.told.end_of() == (1008, "unauthenticated")
            for told in (feeder.told, viewer.told):
                problem = told.all[-1]["problem"]
                assert problem["status"] == 401
                assert problem["errors"][0]["code"] == "revoked-token"
            rest = [line async for line in lines]
            assert rest[-3:] == ["event: problem", 'data: {"type": "/guide/problems#unauthenticated"}', ""]
        assert (await asyncio.to_thread(guarded.health, job))["feeders"] == 0

    run(go())


def test_a_machine_no_longer_assigned_ends_its_feeder(guarded: Door) -> None:
    """Looking goes on."""
    job = guarded.dug()
    token = create(guarded, "olga", OPERATOR, ["crawler-14t"])

    async def go() -> None:
        async with Feeder(guarded, job, token=token) as feeder, Viewer(guarded, job, token=token) as viewer:
            await asyncio.gather(viewer.readout(), feeder.say(REST))
            await asyncio.to_thread(holders(guarded).assign, "olga", [OPERATOR], ["midi-8t"])
            assert await feeder.told.end_of() == (1008, "not-assigned")
            assert "crawler-14t" in feeder.told.all[-1]["problem"]["errors"][0]["found"]
            await viewer.told.next()
            assert viewer.told.closed is None

    run(go())


def test_another_machine_on_the_job_ends_its_feeder(guarded: Door) -> None:
    job = guarded.dug()
    token = create(guarded, "oscar", OPERATOR, ["crawler-14t"])

    async def go() -> None:
        async with Feeder(guarded, job, token=token) as feeder:
            await asyncio.to_thread(job.setup, "midi-8t", "coupled-900")
            # What an administrator sets up while another sits there waits; acknowledged it is in effect.
            waiting = (await asyncio.to_thread(job.get))["waiting"]
            if waiting:
                await asyncio.to_thread(
                    job.post, "acknowledgements", {"seqs": [each["seq"] for each in waiting]}
                )
            assert await feeder.told.end_of() == (1008, "not-assigned")

    run(go())


def test_whoever_does_not_sit_there_is_warned(guarded: Door) -> None:
    """Two who ask alike share what is computed, but not whom it is told."""
    job = guarded.dug()  # ada's
    away, seated = create(guarded, "oswin", OPERATOR), guarded.http.http.headers["authorization"].split()[1]
    looks = create(guarded, "viola", VIEWER)

    async def go() -> None:
        async with (
            Feeder(guarded, job, token=away) as feeder,
            Viewer(guarded, job, token=seated) as there,
            Viewer(guarded, job, token=away) as elsewhere,
            Viewer(guarded, job, token=looks) as looking,
        ):
            for _ in range(3):
                viewers = (there, elsewhere, looking)
                await asyncio.gather(*(each.readout() for each in viewers), feeder.say(REST))
                warned = [
                    [each["code"] for each in viewer.told.all[-1]["readout"]["warnings"]]
                    for viewer in viewers
                ]
                assert warned == [[], ["not-at-the-seat"], []]
            # Who takes the seat is warned no more.
            headers = bearer(away)
            async with httpx.AsyncClient(
                base_url=f"http://127.0.0.1:{guarded.port}", headers=headers
            ) as client:
                answer = await client.post(f"/v1/jobs/{job.id}/seats", json={})
                assert answer.status_code == 201, answer.text
            await asyncio.gather(*(each.readout() for each in (there, elsewhere)), feeder.say(REST))
            warned = [
                [each["code"] for each in viewer.told.all[-1]["readout"]["warnings"]]
                for viewer in (there, elsewhere)
            ]
            assert warned == [["not-at-the-seat"], []]

    run(go())


def test_strikes_are_in_the_name_of_whoever_feeds(guarded: Door) -> None:
    """And not in the name of somebody whose right has ended, though the pass was before."""
    motion, seconds = through(0.022, back=False, reach=0.012)
    first, second = guarded.dug(), guarded.dug()
    token, gone = create(guarded, "otto", OPERATOR), create(guarded, "orla", OPERATOR)

    async def taken() -> Json:
        found = await play(guarded, first, motion, seconds, token=token)
        [told] = found.strikes
        assert told["verdict"] == "taken"
        [entry] = found.entries()
        return entry

    async def revoked() -> None:
        playing = asyncio.ensure_future(play(guarded, second, motion, seconds, token=gone))
        async with asyncio.timeout(DEADLINE_S):
            while (feed := guarded.hub.known(second.id)) is None or feed.receiver.pending is None:
                assert not playing.done(), playing
                await asyncio.sleep(0.02)
            await asyncio.to_thread(holders(guarded).revoke, "orla")
            await asyncio.gather(playing, return_exceptions=True)
            while feed.receiver.pending is not None:
                await asyncio.sleep(0.02)
        assert [each["type"] for each in second.events() if each["actor"] == "orla"] == []

    async def both() -> Json:
        entry, _ = await asyncio.gather(taken(), revoked())
        return entry

    entry = run(both(), within=30.0)
    assert entry["actor"] == "otto"
