"""Sensors of a job that is fed: shown, quiet ones told, zeros found and put on record, a point taken."""

from __future__ import annotations

import asyncio
import math
import re
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from importlib.resources import files
from queue import Queue
from types import SimpleNamespace
from typing import TYPE_CHECKING, Any
from urllib.parse import urlsplit

import pytest

from machine_profiles import shipped
from tests.service.api.doing import INDEX, JobDoer, as_asked
from tests.service.live.making import ATTACHMENT, Feeder, OverHttp, at_rest, said
from tests.service.live.test_fitting import STEPS, arrives, turned

from . import shop

if TYPE_CHECKING:
    from playwright.sync_api import Page

    from .view import Watch

MACHINE = "our-digger"
SHOWN_DEG = 0.006
"""Angles are shown to a hundredth of a degree."""
Said = dict[str, dict[str, Any]]
WAIT_S = 20.0
LONGER_MS = 1200
"""More than two of the page's turns."""


@contextmanager
def fed(job: JobDoer, home: str) -> Iterator[Said]:
    """Readings of a machine at rest, from a thread with a loop of its own; what is yielded may be changed."""
    saying: Said = dict(said(at_rest()))
    loops: Queue[tuple[asyncio.AbstractEventLoop, asyncio.Event]] = Queue()

    async def feed() -> None:
        done = asyncio.Event()
        door: Any = SimpleNamespace(port=urlsplit(home).port)
        async with Feeder(door, job) as feeder:
            telling = asyncio.create_task(feeder.keep_saying(lambda: dict(saying)))
            loops.put((asyncio.get_running_loop(), done))
            await done.wait()
            telling.cancel()
            await asyncio.gather(telling, return_exceptions=True)

    thread = threading.Thread(target=lambda: asyncio.run(feed()))
    thread.start()
    loop, done = loops.get(timeout=WAIT_S)
    try:
        yield saying
    finally:
        loop.call_soon_threadsafe(done.set)
        thread.join(WAIT_S)
        assert not thread.is_alive()


def rested(job: JobDoer, saying: Said, *names: str) -> None:
    """Wait until the service has seen the arm rest, these sensors saying what they say now."""
    end = time.monotonic() + WAIT_S
    while time.monotonic() < end:
        answer = job.client.http.get(f"{job.path}/fitting/posture")
        if answer.status_code == 200 and all(
            answer.json()["said"][name]["deg"] == pytest.approx(saying[name]["deg"]) for name in names
        ):
            return
        time.sleep(0.05)
    raise AssertionError(answer.text)


@pytest.fixture(scope="module")
def asking(home: str) -> Iterator[OverHttp]:
    """A client beside the page."""
    with shop.client(home) as found:
        yield found


@pytest.fixture(scope="module")
def job(asking: OverHttp) -> JobDoer:
    """Slab, our own machine, and its height from a touch."""
    made = shop.doer(asking, "pump-house")
    text = shipped()["machine", "crawler-14t"].source_text.replace('id = "crawler-14t"', f'id = "{MACHINE}"')
    made.client.post("/v1/machines", {"toml": text})
    made.benchmark("slab", 100.0)
    made.setup(MACHINE, ATTACHMENT)
    made.post(
        "touches",
        {"point": "slab", "purpose": "reference", "edge_point": "centre", "pose": as_asked(at_rest())},
    )
    return made


@pytest.fixture(scope="module")
def saying(job: JobDoer, home: str) -> Iterator[Said]:
    with fed(job, home) as found:
        yield found


def angles(page: Page) -> dict[str, float]:
    return {name: float(degrees) for name, degrees in shop.told(page, "Angles")}


def test_readings_and_angles_as_they_come(page: Page, job: JobDoer, saying: Said) -> None:
    shop.opened(page, "sensors", job.id)
    page.locator("#speaking caption", has_text="Angles").wait_for()
    rows = {row[0]: row for row in shop.told(page, "Readings as they come")}
    assert set(rows) == set(saying)
    assert float(rows["boom"][2].split()[0]) == pytest.approx(saying["boom"]["deg"], abs=SHOWN_DEG)
    assert {row[1] for row in rows.values()} == {"speaks"}
    for name, degrees in angles(page).items():
        place = {"pitch": 0, "roll": 1}.get(name, INDEX.get(name, -1))
        assert degrees == pytest.approx(math.degrees(float(at_rest().q[place])), abs=SHOWN_DEG), name

    boom = saying.pop("boom")
    page.locator("#no-angles").wait_for()
    assert "boom" in page.locator("#no-angles").inner_text()
    assert page.locator("#speaking caption", has_text="Angles").count() == 0, "an old angle would be believed"
    assert {row[0]: row[1] for row in shop.told(page, "Readings as they come")}["boom"] == "quiet"
    shop.until(page, "document.querySelector('#heard').textContent === 'Quiet: boom.'")
    saying["boom"] = {"deg": 4000.0}
    page.locator(".refusals li", has_text="boom: ").wait_for()
    saying["boom"] = boom
    page.locator("#speaking caption", has_text="Angles").wait_for()


def test_a_zero_by_a_level_is_put_on_record(page: Page, job: JobDoer, saying: Said) -> None:
    """The level says 0.3 deg more than the profile believes: so much less is the zero."""
    shop.opened(page, "zeros", job.id)
    page.locator("#z-sensor").select_option("boom")
    assert page.locator("#z-inclination_deg").count() == 0
    rested(job, saying, "boom")
    shop.ticked(page, "#zeroing")
    # The boom's own inclination: its joint and the body's pitch, roll being small enough to be left out of 0.05 deg.
    true = math.degrees(float(at_rest().q[INDEX["boom"]]) + float(at_rest().q[0]))
    page.locator("#z-inclination_deg").fill(f"{true + 0.3:.4f}")
    page.locator("#z-ahead").select_option("true")
    page.locator("#z-uncertainty_deg").fill("0.1")
    page.get_by_role("button", name="Find the zero").click()
    page.locator("#zeroed table").wait_for()
    [[_, before, after, *_]] = shop.told(page, "The zero found")
    moved = float(after.split()[2]) - float(before.split()[2])
    assert moved == pytest.approx(-0.3, abs=0.05)
    old = job.client.get(f"/v1/machines/{MACHINE}")["revision"]
    shop.confirmed(page, "Put it on record")
    page.locator("#zero-saved").wait_for()
    kept = job.client.get(f"/v1/machines/{MACHINE}")
    assert kept["revision"] != old
    assert kept["document"]["sensors"]["boom"]["mounting"]["nose_up"] == pytest.approx(3.2 + moved, abs=1e-3)


def test_a_zero_by_half_a_turn(page: Page, job: JobDoer, saying: Said) -> None:
    """Half a turn on ground that leans: the mean of before and after is the zero, whatever the lean."""
    shop.opened(page, "zeros", job.id)
    page.locator("#z-sensor").select_option("body")
    rested(job, saying, "body")
    page.get_by_role("button", name="Take what they say before").click()
    page.locator("#zero-check .hint", has_text="swing half a turn").wait_for()
    page.get_by_role("button", name="Find the zero").click()
    assert "after it" in page.locator("#trouble").inner_text()
    body = saying["body"]
    # As the profile has its sensor: sign -1, mounting nose_up 0.3, left_up -0.2; turned round, pitch and roll turn over.
    saying["body"] = {"deg": [-(-0.6 + 0.3), 0.4 - 0.2]}
    try:
        rested(job, saying, "body")
        page.get_by_role("button", name="Take what they say after").click()
        page.locator("#zero-check .hint", has_text="Taken.").nth(1).wait_for()
        page.locator("#z-uncertainty_deg").fill("0.05")
        page.get_by_role("button", name="Find the zero").click()
        page.locator("#zeroed table").wait_for()
    finally:
        saying["body"] = body
    assert shop.told(page, "The zero found")[0][0] == "body"


def test_a_point_is_taken_with_the_machine_as_it_stands(page: Page, job: JobDoer, saying: Said) -> None:
    rested(job, saying, "body")
    shop.opened(page, "accept", job.id)
    page.locator("#acceptance summary", has_text="Take a point").click()
    page.locator("#p-benchmark").select_option("slab")
    page.locator("#p-backsight").fill("1.200")
    page.locator("#p-foresight").fill("1.200")
    page.locator("#p-swing").fill("0")
    page.get_by_role("button", name="Take this point").click()
    page.locator("#points caption", has_text="Points of today: 1").wait_for()
    [told] = job.get("daily-trust")["rod_checks"]
    assert told["difference"]["m"] == pytest.approx(0.0, abs=0.002)
    assert shop.told(page, "Points of today")[0][4] == told["difference"]["shown"]


def test_what_the_guide_asks_for(job: JobDoer, saying: Said) -> None:
    """The guide's request as it stands, for this job."""
    text = files("service").joinpath("guide", "workshop.md").read_text(encoding="utf-8")
    [path] = re.findall(r"localhost:8311(/v1/jobs/JOB/\S+)", text)
    rested(job, saying, "body")
    told = job.client.get(path.replace("JOB", job.id))
    assert set(told["angles_deg"]) == {"pitch", "roll", "boom", "stick", "bucket", "tilt"}
    assert told["no_angles_because"] == []


def test_two_sensors_exchanged_are_found_by_moves(page: Page, job: JobDoer, saying: Said) -> None:
    """Boom and stick arrive under each other's names: moved one at a time, by keys, the page names both and says what to
    do; once the plugs are right the same moves made again are good of them."""
    kept = dict(saying)

    def moved(**wrong: Any) -> None:
        rests(job, saying, arrives(turned({}), **wrong))
        shop.press(page, "It rests: begin here")
        shop.until(page, "document.activeElement.matches('.move button')")
        made = 0
        for joint, by in STEPS:
            for way, at_deg in (("up", by), ("down", 0.0)):
                rests(job, saying, arrives(turned({joint: at_deg}), **wrong))
                page.keyboard.press("Enter")
                made += 1
                page.locator("#made caption", has_text=f"Moves made: {made}").wait_for()
                if way == "up" or joint != STEPS[-1][0]:
                    page.keyboard.press("Tab")
        shop.press(page, "What do they show?")
        page.locator("#judged h3").wait_for()

    try:
        shop.opened(page, "moves", job.id)
        page.locator(".move").first.wait_for()
        moved(swap=("boom", "stick"))
        asked = {"moves": page.evaluate("JSON.parse(localStorage.getItem('tipdatum-moves')).made")}
        told = job.post("fitting/verdicts", asked, 200)
        assert [each["code"] for each in told["findings"]][:1] == ["swapped"]
        [found] = [row for row in shop.told(page, "What is wrong") if row[0].startswith("exchanged")]
        assert set(found[1].split(", ")) == {"boom", "stick"}
        assert found[3] == told["findings"][0]["advice"]
        said_all = page.locator("#judged").inner_text()
        for words in [each for each in told["words"] if not each.startswith("Not shown")]:
            assert words in said_all
        assert page.locator("#judged details li").count() == len(told["untested"])
        assert page.locator("#judged h3").inner_text() == "Not good yet"
        assert page.locator(".move.next").count() == (told["next_move"] is not None)
        shop.press(page, "Forget these moves")
        page.locator("#made table").wait_for(state="detached")
        moved()
        assert page.locator("#judged caption", has_text="What is wrong").count() == 0
        status = dict(shop.told(page, "Each sensor"))
        assert status["boom"] == status["stick"] == "good"
    finally:
        saying.clear()
        saying.update(kept)


def rests(job: JobDoer, saying: Said, now: Said) -> None:
    """The arm rests in another posture."""
    saying.clear()
    saying.update(now)
    rested(job, saying, *now)


_HIDE = """(hidden) => {
  Object.defineProperty(document, "hidden", { configurable: true, get: () => hidden === "hidden" });
  document.dispatchEvent(new Event("visibilitychange"));
}"""


def test_asked_only_while_somebody_looks(page: Page, job: JobDoer, saying: Said, watch: Watch) -> None:
    """Out of sight, or in another part, nothing is asked of the sensors, and no number stays."""
    shop.opened(page, "sensors", job.id)
    page.locator("#speaking caption", has_text="Angles").wait_for()

    def asked() -> int:
        return sum(each.endswith("/sensors") for each in watch.asked)

    def stays() -> None:
        page.wait_for_timeout(LONGER_MS)  # what had been asked comes in
        before = asked()
        page.wait_for_timeout(LONGER_MS)
        assert asked() == before

    page.evaluate(_HIDE, "hidden")
    assert page.locator("#speaking").inner_text().startswith("This page was out of sight")
    stays()
    page.evaluate(_HIDE, "seen")
    page.locator("#speaking caption", has_text="Angles").wait_for()
    page.locator(".mode[data-part=budget]").click()
    page.locator("#budget-name").wait_for()
    stays()
