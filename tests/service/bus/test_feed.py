"""A bus that is python-can's virtual one, fed to a real service; and lines of standard input."""

import io
import json
import os
import signal
import subprocess
import threading
import time
from collections.abc import Iterator
from contextlib import suppress
from datetime import datetime
from heapq import merge
from pathlib import Path

import can
import httpx
import pytest
from websockets.sync.client import connect
from websockets.sync.server import ServerConnection

from kinematics.errors import Refused
from service.bus.feed import run_feed
from service.bus.pacing import Pacer, pour
from service.bus.reading import Reading
from service.simulation.course import Mark
from service.simulation.frames_out import bus_out, map_for
from service.simulation.motion import plan
from service.simulation.recording import Recorder
from service.simulation.signals import signals
from service.simulation.truth import Truth, score, true_lines
from tests.service.running import COMMAND, service
from tests.service.simulation.digs import dig_of
from tests.service.simulation.test_live import DIG, SENSING, watching

from .feeding import Json, dug, feeding, quiet_sensors, rig
from .test_feeder import Service, greet, listen_on, readings_of, serving
from .units import CHANNELS, PITCH, SOURCES, WAIT_S, Units, waited_for


@pytest.fixture(scope="module")
def address(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    with service(tmp_path_factory.mktemp("data")) as found:
        yield found


@pytest.fixture
def channel() -> str:
    return f"pit-{next(CHANNELS)}"


def test_the_simulators_frames_give_the_simulators_edge(address: str, channel: str, tmp_path: Path) -> None:
    """Course to frames to the bus to readings to the service to the live readout, held against the truth."""
    dig = dig_of(*DIG, more=SENSING)
    course = plan(dig)
    truth = [Truth(line["t_s"], line["elevations_m"]) for line in true_lines(dig, course)]
    (tmp_path / "pit.toml").write_text(map_for(dig).text(), encoding="utf-8")

    class Act:
        def __init__(self, mark: Mark) -> None:
            self.at_s, self._mark = mark.at_s, mark

        def do(self) -> None:
            recorder.mark(self._mark)

    with httpx.Client(base_url=address, timeout=30.0) as client:
        recorder = Recorder(dig, "by-bus", client, lambda _: None)
        recorder.begin()
        with (
            watching(address, "by-bus") as got,
            feeding(channel, tmp_path / "pit.toml", address, "by-bus") as fed,
        ):
            out = bus_out(dig, dig.document.seed, f"virtual:{channel}")
            pacer = Pacer(0.0, 1.0)
            said: Iterator[Reading] = signals(dig, course, dig.document.seed)
            acts = (Act(mark) for mark in course.marks)
            pour(
                merge(said, acts, key=lambda item: item.t_s if isinstance(item, Reading) else item.at_s), pacer, None, out
            )  # fmt: skip
            out.close()
    assert recorder.refused == []
    assert fed.refused is None
    assert fed.told["frames"] == out.count
    assert (fed.told["lost"], fed.told["late"], fed.told["dropped"], fed.told["refused_readings"]) == (
        0,
        0,
        0,
        {},
    )
    shown = []
    for message in got:
        points = (message["readout"] or {}).get("points")
        if points and points["centre"]["elevation"]:
            t = pacer.t_at(datetime.fromisoformat(message["at"]).timestamp()) - message["age_s"]
            shown.append((t, {name: points[name]["elevation"]["m"] for name in ("left", "centre", "right")}))
    told = score(truth, shown)
    assert told.count > 50
    # As fed without a bus, and up to 6 ms later dated: 2.4 mm at 0.4 m/s.
    assert told.mean_absolute < 0.012
    assert abs(told.greatest) < 0.055


def test_a_duplicated_address_takes_the_number_away_with_its_reason(
    address: str, channel: str, tmp_path: Path
) -> None:
    dug(address, "twice")
    with (
        feeding(channel, rig(tmp_path), address, "twice") as fed,
        Units(channel) as units,
        connect(f"ws{address.removeprefix('http')}/v1/jobs/twice/readouts/live", proxy=None) as wire,
        units.working(),
    ):

        def last() -> Json:
            message: Json = json.loads(wire.recv(timeout=WAIT_S))
            return message

        waited_for(lambda: not last()["quiet"])
        units.claim(SOURCES["boom"], 1)
        units.claim(SOURCES["boom"], 2)
        waited_for(lambda: fed.heard("two-on-one-source"), lambda: fed.words)
        waited_for(lambda: last()["quiet"], lambda: fed.words)
        message = last()
        assert message["readout"] is None
        assert list(message["quiet"]) == ["boom"]
        health = quiet_sensors(address, "twice")["boom"]
        assert health["refused"].get("sensor-error", 0) > 0
        units.claim(0xB3, 2)
        waited_for(lambda: not last()["quiet"], lambda: fed.words)
    assert fed.heard("believed-again")
    assert fed.told["withheld"] > 0


def test_two_units_on_one_address_by_what_they_say(address: str, channel: str, tmp_path: Path) -> None:
    dug(address, "two-courses")
    with (
        feeding(channel, rig(tmp_path), address, "two-courses") as fed,
        Units(channel) as units,
        units.working(),
    ):
        began = time.monotonic()
        while not fed.heard("two-on-one-source"):
            assert time.monotonic() - began < WAIT_S, fed.words
            time.sleep(0.0073)  # a clock of its own, unlike that of the others
            units.say(SOURCES["stick"], 20.0)
    assert "source 0xA2" in next(words for words in fed.words if words.startswith("two-on-one-source"))


@pytest.mark.alone
def test_a_flood_leaves_the_other_sensors_fresh(channel: str, tmp_path: Path) -> None:
    """10 000 frames in a second of one address."""
    ages: list[float] = []

    def takes(service: Service, wire: ServerConnection) -> None:
        sensors = {name: {"unit": "deg", "numbers": 1} for name in ("boom", "stick")}
        wire.send(json.dumps({"welcome": {"sensors": sensors}, "clock": 1}))
        with suppress(Exception):  # it is closed at the end
            while True:
                said = json.loads(wire.recv(timeout=WAIT_S))
                for each in said.get("readings", [said]):
                    if each.get("sensor") == "stick":
                        ages.append(time.monotonic() - each["at_s"])
                    with service.came:
                        service.frames[-1].append(each)

    door = Service(takes)
    text = "sensor_map = 1\n" + "".join(
        f'[[sensors]]\nsensor = "{name}"\nmessage = "SSI2"\nsource = {SOURCES[name]}\nsignals = ["pitch"]\n'
        for name in ("boom", "stick")
    )
    (tmp_path / "rig.toml").write_text(text, encoding="utf-8")
    with (
        serving(door) as to,
        feeding(channel, tmp_path / "rig.toml", to, "pit") as fed,
        Units(channel) as units,
    ):
        count = 0
        began = time.monotonic()
        while (t := time.monotonic() - began) < 1.0:
            while count < 10_000 * t:
                units.say(SOURCES["boom"], 20.0)
                count += 1
                if not count % 100:
                    units.say(SOURCES["stick"], 7.0)
            time.sleep(0.001)
        waited_for(lambda: len(ages) >= count // 250, lambda: (len(ages), count))
    assert fed.heard("flood")
    # While the whole bus floods, of the others too at most one in 5 ms goes on: here they come in clumps.
    assert fed.told["thinned"] > 0.9 * count
    assert (fed.told["dropped"], fed.told["late"]) == (0, 0)
    ages.sort()
    # Two cores share sender, feed and service here; the usual age is 5 ms.
    assert ages[-1] < 0.5
    assert ages[len(ages) // 2] < 0.1


def test_a_machine_with_one_sensor_refuses_a_map_of_five(channel: str, tmp_path: Path) -> None:
    with serving(Service(listen_on)) as to, feeding(channel, rig(tmp_path), to, "pit", partly=True) as fed:
        pass
    assert fed.refused is not None
    # That service has a boom alone.
    assert [fault.code for fault in fed.refused.faults] == ["no-such-sensor"] * 4


def test_silence_live(address: str, channel: str, tmp_path: Path) -> None:
    dug(address, "silent")
    with feeding(channel, rig(tmp_path), address, "silent") as fed, Units(channel) as units:
        waited_for(lambda: fed.heard("bus-silent"), lambda: fed.words)
        names = [name for name in SOURCES if name != "tilt"]

        def some() -> bool:
            for name in names:
                units.say(SOURCES[name], PITCH[name])  # type: ignore[arg-type]
            return fed.heard("sensor-silent")

        waited_for(some, lambda: fed.words)
    assert fed.heard("bus-back")
    assert next(words for words in fed.words if words.startswith("sensor-silent")).split()[1] == "tilt"


def test_a_map_with_a_joint_that_the_machine_lacks_feeds_nothing(
    address: str, channel: str, tmp_path: Path
) -> None:
    dug(address, "other-joint")
    extra = '[[sensors]]\nsensor = "fore_boom"\nmessage = "SSI2"\nsource = 0xAF\nsignals = ["pitch"]\n'
    with feeding(channel, rig(tmp_path, extra=extra), address, "other-joint") as fed:
        pass
    assert fed.refused is not None
    [fault] = fed.refused.faults
    assert fault.code == "no-such-sensor"
    assert "fore_boom, where crawler-14t has no joint with a sensor" in fault.found
    assert all(each["taken"] == 0 for each in quiet_sensors(address, "other-joint").values())


def test_a_joint_mapped_twice_is_refused_before_anything(tmp_path: Path) -> None:
    extra = '[[sensors]]\nsensor = "boom"\nmessage = "SSI2"\nsource = 0xAF\nsignals = ["pitch"]\n'
    with pytest.raises(Refused) as caught:
        run_feed("virtual:none", map_file=rig(tmp_path, extra=extra), to="http://127.0.0.1:9", job="pit", seconds=1.0,
                 bitrate=None, partly=False, token=None, say=lambda _: None)  # fmt: skip
    assert {fault.code for fault in caught.value.faults} == {"name-taken"}


def test_after_a_break_only_what_comes_then_is_sent(channel: str, tmp_path: Path) -> None:
    begun = threading.Event()

    def breaks(service: Service, wire: ServerConnection) -> None:
        greet(service, wire)
        service.hear(wire)
        begun.set()
        wire.close()

    door = Service(breaks, listen_on)
    (tmp_path / "rig.toml").write_text(
        'sensor_map = 1\n[[sensors]]\nsensor = "boom"\nmessage = "SSI2"\nsource = 0xA1\nsignals = ["pitch"]\n',
        encoding="utf-8",
    )
    with (
        serving(door) as to,
        feeding(channel, tmp_path / "rig.toml", to, "pit") as fed,
        Units(channel) as units,
    ):
        i = 0

        def more() -> bool:
            nonlocal i
            i += 1
            units.say(0xA1, 0.01 * i)
            return len(door.frames) > 1 and len(readings_of(door.frames[1])) > 5

        waited_for(more, lambda: fed.words)
        again = readings_of(door.frames[1])
    gap = again[0]["at_s"] - door.frames[1][0]["at_s"]
    # The clock was answered at the greeting, of the second connection.
    assert gap > -0.05, "nothing from before it was connected again"
    assert fed.told["connections"] == 2
    assert fed.told["late"] + fed.told["lost"] > 0


def test_ctrl_c_ends_it_with_a_summary(address: str, tmp_path: Path) -> None:
    dug(address, "stopped")
    asked = f"--bus virtual:alone --map {rig(tmp_path)} --to {address} --job stopped --json"
    command = [*COMMAND, "feed", *asked.split()]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True) as process:
        assert process.stderr is not None
        line = process.stderr.readline()
        while not line.startswith("Listening"):
            assert line, "it ended"
            line = process.stderr.readline()
        os.kill(process.pid, signal.SIGINT)
        out, err = process.communicate(timeout=WAIT_S)
    assert process.returncode == 0, err
    assert "Traceback" not in err
    told = json.loads(out)
    assert (told["job"], told["frames"], told["sent"]) == ("stopped", 0, 0)


@pytest.mark.parametrize("more", [
    {"bus": None}, {"lines": io.StringIO()}, {"map_file": None}, {"seconds": 0.0}, {"seconds": float("nan")},
    {"bus": "can0"}, {"bus": "virtual:"}, {"bitrate": 5}, {"bus": "socketcan:can0", "bitrate": 250_000},
])  # fmt: skip
def test_options_that_make_no_sense(more: Json, tmp_path: Path) -> None:
    given: Json = {
        "bus": "virtual:x",
        "map_file": rig(tmp_path),
        "seconds": 1.0,
        "bitrate": None,
        "lines": None,
    } | more
    bus = given.pop("bus")
    with serving(Service()) as to, pytest.raises(Refused) as caught:
        run_feed(bus, to=to, job="pit", partly=False, token=None, say=lambda _: None, **given)
    assert caught.value.code == "bad-option"


def test_nothing_is_ever_sent(channel: str, address: str, tmp_path: Path) -> None:
    dug(address, "listens")
    with can.Bus(interface="virtual", channel=channel) as other:
        with feeding(channel, rig(tmp_path), address, "listens"), Units(channel) as units:
            units.all()
        heard = []
        while (message := other.recv(timeout=0.0)) is not None:
            heard.append(message.arbitration_id & 0xFF)
    assert sorted(heard) == sorted(SOURCES.values())
