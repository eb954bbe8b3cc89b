"""The page at the seat, a job under it, and a machine whose sensors say one pose until they are told another."""

from __future__ import annotations

import asyncio
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import httpx
import websockets

from kinematics.arm import Pose
from kinematics.sensor_set import SensorSet
from tests.demo_machine import place_edge
from tests.service.api.doing import Client, JobDoer, as_asked, fitted, opened
from tests.service.live.making import ATTACHMENT, MACHINE, Feeder, Said, said

from . import room

if TYPE_CHECKING:
    from playwright.sync_api import Page

HZ = 20.0
TOUCHED_M = -0.4  # of the edge over the body origin, on the slab
FOOTING_M = 1.42  # below the slab
WATCHED_S = 2.7
"""A refusal tells how long these sensors are watched at `HZ`: 2.5 s; and the time of a reading to arrive."""
SHOWN = "document.querySelector('#box').dataset.state !== 'none'"
GONE = "document.querySelector('#box').dataset.state === 'none'"

_TALL = """() => {
  const style = getComputedStyle(document.querySelector("#number"));
  const pen = document.createElement("canvas").getContext("2d");
  pen.font = `${style.fontWeight} ${style.fontSize} ${style.fontFamily}`;
  const told = [..."0123456789"].map((each) => pen.measureText(each));
  return told.map((each) => [each.actualBoundingBoxAscent, each.width]);
}"""


class Http(Client):
    """The same client over a real connection; `token`: of who asks."""

    def __init__(self, address: str, token: str | None = None) -> None:
        headers = {} if token is None else {"authorization": f"Bearer {token}"}
        self.http = httpx.Client(base_url=address, timeout=room.WAIT_MS / 1e3, headers=headers)  # type: ignore[assignment]  # as much as is used


@contextmanager
def asking(address: str, token: str | None = None) -> Iterator[Http]:
    """A client for as long as the block lasts."""
    client = Http(address, token)
    with client.http:
        yield client


@dataclass(frozen=True, slots=True)
class Port:
    """As much of a service as a feeder has to know."""

    port: int


def edge_at(below_slab: float, tilt_deg: float = 0.0) -> Pose:
    """The edge's centre so far (m) below the slab that was touched at `TOUCHED_M`."""
    return place_edge(fitted(MACHINE, ATTACHMENT), TOUCHED_M - below_slab, -70.0, tilt_deg)


SLAB = edge_at(0.0)


def begun(client: Client, name: str) -> JobDoer:
    """A job as the office leaves it: slab, machine, laser, two lines of the depth sheet."""
    job = opened(client, name).equipped()
    footing = job.target_body("bottom of footing", 1.0, tolerance=0.03)
    footing["layers"] = [{"name": "floor", "thickness": 0.32}, {"name": "wall", "thickness": 1.0}]
    job.post("targets", footing | {"overdig": 0.1})
    job.post("targets", job.target_body("drain", 0.9, tolerance=0.02, along_percent=1.0))
    return job


class Machine:
    """Feeds a job from a thread of its own, as browsers keep this one's loop, one pose after the other; connects again
    when it is cut off."""

    def __init__(
        self, address: str, job: str, *poses: Pose, token: str | None = None, hz: float = HZ,
        sensors: SensorSet | None = None,
    ) -> None:  # fmt: skip
        self._port, self._job, self._token, self._hz = Port(int(address.rpartition(":")[2])), job, token, hz
        self._sensors = sensors
        self._said: list[Said] = [said(each, sensors) for each in poses]
        self._since = time.monotonic()
        self._ended = threading.Event()
        self._thread = threading.Thread(target=lambda: asyncio.run(self._feed()), daemon=True)
        self._thread.start()

    def stands(self, pose: Pose) -> None:
        """What the sensors say from now on."""
        self._said = [said(pose, self._sensors)]
        self._since = time.monotonic()

    def rested(self) -> None:
        """Wait until it has stood for as long as its sensors are watched before a touch is believed."""
        self._ended.wait(max(0.0, self._since + WATCHED_S - time.monotonic()))

    def quiet(self) -> None:
        """They say nothing any more."""
        self._said = []

    def end(self) -> None:
        self._ended.set()
        self._thread.join(room.WAIT_MS / 1e3)
        assert not self._thread.is_alive()

    async def _feed(self) -> None:
        while not self._ended.is_set():
            try:
                async with Feeder(self._port, self._job, token=self._token) as feeder:
                    await self._say(feeder)
            except (OSError, AssertionError, websockets.WebSocketException):
                await asyncio.sleep(1.0 / self._hz)

    async def _say(self, feeder: Feeder) -> None:
        turn = 0
        while not self._ended.is_set() and feeder.told.closed is None:
            turn += 1
            if many := self._said:
                await feeder.say(many[turn % len(many)])
            await asyncio.sleep(1.0 / self._hz)


@contextmanager
def machine(
    address: str, job: JobDoer, pose: Pose = SLAB, token: str | None = None, sensors: SensorSet | None = None
) -> Iterator[Machine]:
    """A machine that feeds for as long as the block lasts; `sensors`: of another pair than the usual."""
    found = Machine(address, job.id, pose, token=token, sensors=sensors)
    try:
        yield found
    finally:
        found.end()


def seated(page: Page, job: str, more: str = "") -> Page:
    """The page of a job, its cautions acknowledged by keys."""
    page.goto(f"/seat?job={job}{more}")
    page.locator("#before-done").wait_for()
    room.tab_to(page, "#before-done")
    page.keyboard.press("Enter")
    page.wait_for_selector("html[data-ready=yes]", state="attached")
    return page


def number(page: Page) -> tuple[str, str]:
    """The word and the figures with their unit, once there are any."""
    room.until(page, SHOWN)
    word, figures, sub = page.evaluate(
        "['word', 'number', 'sub'].map((id) => document.getElementById(id).textContent)"
    )
    return word, f"{figures} {sub.split(' ')[0]}"


def tall(page: Page) -> float:
    """How high the least of the figures is (px), all being of one width."""
    figures = page.evaluate(_TALL)
    assert len({width for _, width in figures}) == 1, "figures of one width"
    return float(min(height for height, _ in figures))


def read(job: JobDoer, pose: Pose, target: str | None, point: str = "centre") -> tuple[str, str]:
    """What POST readouts tells of the same angles, as the page words it."""
    asked: dict[str, Any] = {"pose": as_asked(pose), "units": "m"}
    told = job.post("readouts", asked if target is None else asked | {"target": target}, 200)
    cut = told["points"][point]["cut_fill"]
    if cut is None:
        return "ELEVATION", told["points"][point]["elevation"]["shown"]
    return {"cut": "CUT", "fill": "FILL", "on grade": "ON GRADE"}[cut["word"]], cut["amount"]["shown"]


def shows(page: Page, expected: tuple[str, str]) -> None:
    """Wait until the number is this one."""
    word, amount = expected
    figures, _, unit = amount.rpartition(" ")
    room.until(
        page,
        f"""document.querySelector('#word').textContent === {word!r}
      && document.querySelector('#number').textContent === {figures!r}
      && document.querySelector('#sub').textContent.startsWith({unit!r})""",
    )


def record(page: Page, name: str) -> None:
    """A record under More, by keys."""
    press(page, "more")
    page.locator("#slip").get_by_role("button", name=name, exact=True).press("Enter")
    page.locator("#slip .says").wait_for()


def press(page: Page, record: str) -> None:
    """A button of the bar, by keys."""
    page.locator(f"#bar [data-record={record}]").focus()
    page.keyboard.press("Enter")
    page.locator("#slip[data-state=open]").wait_for()


def write(page: Page) -> str:
    """Write what the slip says, by keys; what was told once it is on disk."""
    room.tab_to(page, "#slip .write")
    page.keyboard.press("Enter")
    return written(page)


def written(page: Page) -> str:
    """What is told once it is on disk."""
    alert = "document.querySelector('#slip .alert')?.textContent"
    room.until(
        page,
        f"document.querySelector('#slip').dataset.state === 'written' || /refused|Expected/.test({alert})",
    )
    assert page.locator("#slip").get_attribute("data-state") == "written", page.locator("#slip").inner_text()
    return page.locator("#slip .said").inner_text()


def close(page: Page) -> None:
    page.keyboard.press("Escape")
    page.locator("#slip").wait_for(state="hidden")
