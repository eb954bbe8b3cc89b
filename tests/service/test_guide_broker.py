"""The guide's page on the broker: its payloads, its numbers, its feeder, its access control file."""

import json
import re
import subprocess
import sys
from importlib.resources import files
from pathlib import Path

import pytest

from kinematics.errors import Fault
from service.broker import topics
from service.fleet import fed, keeping
from service.fleet.asking import WITHIN_S
from service.fleet.envelopes import Here, document, here_of, wrong_frame
from tests.benchmarks.live import poses
from tests.service.live.making import serving

from .fleet.conftest import at_broker
from .fleet.machine import Anybody
from .fleet.test_away import ACL
from .fleet.test_feeding import plain
from .fleet.waiting import until
from .mosquitto import own_broker

GUIDE = files("service").joinpath("guide", "broker.md").read_text(encoding="utf-8")


def blocks(kind: str) -> list[str]:
    return re.findall(rf"^```{kind}\n(.*?)^```$", GUIDE, flags=re.DOTALL | re.MULTILINE)


def test_its_payloads() -> None:
    [here] = blocks("json here")
    assert isinstance(here_of(here.encode()), Here)
    frames = blocks("json frame")
    assert len(frames) == 2
    for frame in frames:
        found = document(frame.encode())
        assert not isinstance(found, Fault)
        assert wrong_frame(found) is None
    [told] = blocks("json told")
    assert json.loads(told).keys() == {"welcome", "clock", "of", "from"}


def test_its_numbers_are_those_of_the_code() -> None:
    for words in (
        f"at most {topics.WINDOW} beyond", f"every {topics.HERE_EVERY_S:g} s",
        f"{fed.HELD_S:g} s or {fed.HELD_FRAMES} frames", f"within {1.5 * topics.KEEP_ALIVE_S + 0.5:g} s",
        f"{topics.MOST_BYTES // 1024} KiB", "within a second",
    ):  # fmt: skip
        assert words in GUIDE, words
    assert WITHIN_S == 1.0
    assert keeping.IDLE_S > topics.HERE_EVERY_S


def test_its_links_lead_somewhere() -> None:
    for page, heading in re.findall(r"\(/guide/([a-z]+)(?:#([a-z-]+))?\)", GUIDE):
        text = files("service").joinpath("guide", f"{page}.md").read_text(encoding="utf-8")
        names = {
            re.sub(r"[^a-z0-9]+", "-", each.lower()).strip("-")
            for each in re.findall(r"^#+ (.*)$", text, re.MULTILINE)
        }
        assert not heading or heading in names, (page, heading)


@pytest.mark.parametrize("user", ["cab", None])
def test_its_feeder(tmp_path: Path, user: str | None) -> None:
    """As it stands, but for its reading of sensors; with the access control file of the page, and without any."""
    [feeder], [acl] = blocks("python feeder"), blocks("text acl")
    assert ACL in acl, "what the tests try is what the page shows"
    script = tmp_path / "feeder.py"
    users = None if user is None else {"service": "gravel", "cab": "mud", "office": "ink"}
    with own_broker(users, "" if user is None else acl) as broker, serving(
        tmp_path / "data", mqtt=broker.url(*(("service", "gravel") if user else ()))
    ) as door:  # fmt: skip
        until(lambda: at_broker(door) == "here")
        job = plain(door)
        who = ", user='cab', password='mud'" if user else ""
        script.write_text(
            f"{feeder}\n\nfeed('127.0.0.1', {broker.port}, {job.id!r}, 'cab', lambda: {poses()[0]!r}{who})\n"
        )
        with (
            subprocess.Popen([sys.executable, str(script)], stdout=subprocess.PIPE, text=True) as process,
            Anybody(broker.port, *(("office", "ink") if user else ())) as office,
        ):  # fmt: skip
            try:
                assert process.stdout is not None
                assert "welcome" in process.stdout.readline()
                office.listen(office.topics.readout(job.id))
                until(lambda: door.health(job)["sensors"]["boom"]["taken"] >= 20)
                broker.stop()
                until(lambda: at_broker(door) != "here")
                broker.start()
                before = door.health(job)["sensors"]["boom"]["taken"]
                until(lambda: door.health(job)["sensors"]["boom"]["taken"] >= before + 20, 30.0)
                health = door.health(job)
                assert health["refused"].keys() <= {"repeated", "gap"}
                office.first(lambda _, text: b'"angles' in text or b'"quiet":[]' in text)
            finally:
                process.terminate()
