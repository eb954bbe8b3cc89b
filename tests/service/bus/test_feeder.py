"""The sender's end of the readings door against a tiny server that plays it: clock questions, breaks, refusals."""

import json
import socket
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from http import HTTPStatus
from typing import Any

import pytest
from websockets.datastructures import Headers
from websockets.http11 import Request, Response
from websockets.sync.server import Server, ServerConnection, serve

from kinematics.errors import Refused
from service.bus.any_feeder import MOST_IN_FRAME
from service.bus.feeder import Feeder, door

WELCOME = {
    "job": "pit",
    "machine": {"id": "m"},
    "attachment": {"id": "a"},
    "sensors": {"boom": {"unit": "deg"}},
}
WAIT_S = 10.0
# A flood would keep a server that only talks from reading the close.
PERIOD_S = 0.005


class Service:
    """Each connection is played by the next of `plays`; what came in is kept by connection."""

    def __init__(self, *plays: Callable[["Service", ServerConnection], None]) -> None:
        self._plays = list(plays)
        self.frames: list[list[dict[str, Any]]] = []
        self.headers: list[Headers] = []
        self.paths: list[str] = []
        self.came = threading.Condition()

    def __call__(self, wire: ServerConnection) -> None:
        with self.came:
            self.frames.append([])
        assert wire.request is not None
        self.headers.append(wire.request.headers)
        self.paths.append(wire.request.path)
        self._plays.pop(0)(self, wire)

    def hear(self, wire: ServerConnection) -> dict[str, Any]:
        said: dict[str, Any] = json.loads(wire.recv(timeout=WAIT_S))
        with self.came:
            self.frames[-1].append(said)
            self.came.notify_all()
        return said

    def wait_for(self, enough: Callable[[], bool]) -> None:
        with self.came:
            assert self.came.wait_for(enough, timeout=WAIT_S), self.frames


@contextmanager
def serving(service: Service, **more: Any) -> Iterator[str]:
    with serve(service, "127.0.0.1", 0, **more) as server:
        thread = threading.Thread(target=server.serve_forever)
        thread.start()
        try:
            yield f"http://127.0.0.1:{_port(server)}"
        finally:
            server.shutdown()
            thread.join(timeout=WAIT_S)


def _port(server: Server) -> int:
    return int(server.socket.getsockname()[1])


def greet(service: Service, wire: ServerConnection) -> None:
    wire.send(json.dumps({"welcome": WELCOME, "clock": 1}))
    assert service.hear(wire).keys() == {"clock", "at_s"}


def listen_on(service: Service, wire: ServerConnection) -> None:
    greet(service, wire)
    for text in wire:
        said = json.loads(text)
        with service.came:
            service.frames[-1].append(said)
            service.came.notify_all()


def readings_of(frames: list[dict[str, Any]]) -> list[dict[str, Any]]:
    return [one for frame in frames if "clock" not in frame for one in frame.get("readings", [frame])]


def reading(i: int) -> dict[str, Any]:
    return {"sensor": "boom", "deg": float(i), "at_s": float(i)}


def feed_on(feeder: Feeder) -> None:
    """Until it is refused."""
    began = time.monotonic()
    while time.monotonic() - began < WAIT_S:
        feeder.ready()
        feeder.send([reading(0)])
        time.sleep(PERIOD_S)


def test_greeted_clock_answered_token_shown_and_batches_in_order() -> None:
    service = Service(listen_on)
    clock = iter([41.5, 42.5])
    with (
        serving(service) as address,
        Feeder(address, "pit", "tok.en", clock=lambda: next(clock)) as feeder,
    ):
        assert feeder.ready() > 0.0
        assert feeder.ready() == 0.0
        assert feeder.welcome == WELCOME
        many = [reading(i) for i in range(2 * MOST_IN_FRAME + 3)]
        assert feeder.send(many)
        assert feeder.send([reading(0)])
        service.wait_for(lambda: len(readings_of(service.frames[0])) == len(many) + 1)
    assert service.frames[0][0] == {"clock": 1, "at_s": 41.5}
    assert readings_of(service.frames[0]) == [*many, reading(0)]
    assert [len(frame.get("readings", [0])) for frame in service.frames[0][1:]] == [
        MOST_IN_FRAME,
        MOST_IN_FRAME,
        3,
        1,
    ]
    assert service.headers[0]["authorization"] == "Bearer tok.en"
    assert service.paths == ["/v1/jobs/pit/readings"]
    assert (feeder.sent, feeder.lost, feeder.connections) == (len(many) + 1, 0, 1)


def test_the_longest_frame_is_one_that_the_door_takes() -> None:
    long = {"sensor": "x" * 40, "deg": [-179.123456, -179.123456], "at_s": 123456789.123456}
    assert len(json.dumps({"readings": [long] * MOST_IN_FRAME}, separators=(",", ":"))) <= 65536


def test_later_clock_questions_are_answered_while_readings_go_on() -> None:
    def asks(service: Service, wire: ServerConnection) -> None:
        greet(service, wire)
        for number in (2, 3):
            wire.send(json.dumps({"clock": number}))
        listen = [service.hear(wire) for _ in range(3)]
        assert [each["clock"] for each in listen if "clock" in each] == [2, 3]
        # Another machine stands on the job: greeted again.
        wire.send(json.dumps({"welcome": WELCOME | {"job": "other"}, "clock": 4}))
        assert service.hear(wire)["clock"] == 4
        wire.recv(timeout=WAIT_S)

    service = Service(asks)
    with serving(service) as address, Feeder(address, "pit") as feeder:
        feeder.ready()
        feeder.send([reading(0)])
        service.wait_for(lambda: len(service.frames[0]) == 5)
        assert feeder.welcomed_as(lambda welcome: welcome["job"] == "other")
        times = [frame["at_s"] for frame in service.frames[0] if "clock" in frame]
        assert times == sorted(times)
        feeder.send([reading(1)])


def test_a_break_is_followed_by_another_connection_and_nothing_twice() -> None:
    def breaks(service: Service, wire: ServerConnection) -> None:
        greet(service, wire)
        service.hear(wire)
        wire.close()

    service = Service(breaks, listen_on)
    words: list[str] = []
    with serving(service) as address, Feeder(address, "pit", say=words.append, first_pause_s=0.01) as feeder:
        feeder.ready()
        i = 0
        began = time.monotonic()
        while len(service.frames) < 2 or not readings_of(service.frames[1]):
            assert time.monotonic() - began < WAIT_S
            feeder.ready()
            feeder.send([reading(i)])
            time.sleep(PERIOD_S)
            i += 1
        assert feeder.connections == 2
    got = [one["deg"] for frames in service.frames for one in readings_of(frames)]
    assert got == sorted(set(got)), "in order, none twice"
    assert "Connected again." in words


def test_nobody_there_is_waited_for_with_growing_pauses_then_refused() -> None:
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = taken.getsockname()[1]
    words: list[str] = []
    feeder = Feeder(f"http://127.0.0.1:{port}", "pit", say=words.append, give_up_s=0.2, first_pause_s=0.01)
    with pytest.raises(Refused) as caught:
        feeder.ready()
    assert caught.value.code == "no-service"
    pauses = [float(word.rpartition("again in ")[2].removesuffix(" s.")) for word in words]
    assert pauses == pytest.approx([0.01, 0.02, 0.04, 0.08][: len(pauses)])
    assert len(pauses) >= 3


PROBLEM = {
    "status": 403, "title": "Not with these roles",
    "errors": [{"code": "not-allowed", "pointer": "", "found": "a viewer", "expected": "an operator", "advice": "ask"}],
}  # fmt: skip


def test_turned_away_at_the_door_is_refused_at_once_with_its_words() -> None:
    def turn_away(_: ServerConnection, __: Request) -> Response:
        body = json.dumps(PROBLEM).encode()
        return Response(HTTPStatus.FORBIDDEN, "Forbidden", Headers({"Content-Length": str(len(body))}), body)

    with (
        serving(Service(), process_request=turn_away) as address,
        Feeder(address, "pit") as feeder,
        pytest.raises(Refused) as caught,
    ):
        feeder.ready()
    assert (caught.value.code, caught.value.faults[0].found) == ("not-allowed", "a viewer")


def test_a_problem_before_it_closes_is_refused_and_not_tried_again() -> None:
    def problem(service: Service, wire: ServerConnection) -> None:
        greet(service, wire)
        wire.send(json.dumps({"problem": PROBLEM}))

    service = Service(problem)
    with (
        serving(service) as address,
        Feeder(address, "pit", first_pause_s=0.01) as feeder,
        pytest.raises(Refused) as caught,
    ):
        feed_on(feeder)  # the problem may be there before its first `ready` has waited for the greeting
    assert caught.value.code == "not-allowed"
    assert feeder.connections == 1


def test_half_open_is_a_break_like_any_other() -> None:
    half_open = {"status": 408, "title": "", "errors": [{"code": "half-open"}]}

    def drops(service: Service, wire: ServerConnection) -> None:
        greet(service, wire)
        wire.send(json.dumps({"problem": half_open}))

    service = Service(drops, listen_on)
    with serving(service) as address, Feeder(address, "pit", first_pause_s=0.01) as feeder:
        feeder.ready()
        began = time.monotonic()
        while feeder.connections < 2:
            assert time.monotonic() - began < WAIT_S
            feeder.ready()
            feeder.send([reading(0)])
            time.sleep(PERIOD_S)


def test_what_was_refused_and_struck_is_told_and_counted() -> None:
    refusal = {
        "code": "out-of-range",
        "pointer": "",
        "found": "999 deg",
        "expected": "-180 to 180 deg",
        "advice": "",
    }
    strike = {
        "seq": None,
        "verdict": "turned down",
        "because": [{"found": "40 mm/s", "expected": "at most 30 mm/s"}],
    }

    def tells(service: Service, wire: ServerConnection) -> None:
        greet(service, wire)
        wire.send(json.dumps({"refused": [refusal], "counts": {"out-of-range": 3}}))
        wire.send(json.dumps({"refused": [refusal], "counts": {"out-of-range": 5}}))
        wire.send(json.dumps({"strike": strike}))
        wire.send(json.dumps({"clock": 2}))
        service.hear(wire)

    service = Service(tells)
    words: list[str] = []
    with serving(service) as address, Feeder(address, "pit", say=words.append) as feeder:
        feeder.ready()
        service.wait_for(lambda: len(service.frames[0]) == 2)
    assert feeder.refused == {"out-of-range": 5}
    assert feeder.strikes == [strike]
    assert words[-1] == "Strike: turned down, 40 mm/s (expected at most 30 mm/s)"


def test_a_refusal_that_comes_each_second_is_told_once_and_then_every_half_minute() -> None:
    now = [0.0]
    words: list[str] = []
    feeder = Feeder("http://pit.example", "pit", say=words.append, clock=lambda: now[0])

    def told(code: str, found: str, count: int) -> None:
        refusal = {"code": code, "found": found, "expected": "a number"}
        feeder._now[code] = count
        feeder._tell_refused([refusal])

    for second in range(62):
        now[0] = float(second)
        told("sensor-error", "two units", 50 * second)
        told("out-of-range", f"{900 + second}.5 deg", second)
    told("sensor-error", "not available", 3100)
    assert words == [
        "Refused sensor-error: expected a number, found two units",
        "Refused out-of-range: expected a number, found 900.5 deg",
        "Refused sensor-error: expected a number, found two units; 1500 readings of sensor-error by now",
        "Refused out-of-range: expected a number, found 930.5 deg; 30 readings of out-of-range by now",
        "Refused sensor-error: expected a number, found two units; 3000 readings of sensor-error by now",
        "Refused out-of-range: expected a number, found 960.5 deg; 60 readings of out-of-range by now",
        "Refused sensor-error: expected a number, found not available",
    ]


def test_words_that_are_none_of_the_service_end_it() -> None:
    def other(_: Service, wire: ServerConnection) -> None:
        wire.send("hello")

    with (
        serving(Service(other)) as address,
        Feeder(address, "pit") as feeder,
        pytest.raises(Refused) as caught,
    ):
        feeder.ready()
    assert caught.value.code == "no-service"


@pytest.mark.parametrize("address", ["pit:8311", "http://", "ftp://pit", "http://pit:99999", "http://[pit"])
def test_what_is_no_address(address: str) -> None:
    with pytest.raises(Refused) as caught:
        Feeder(address, "pit")
    assert caught.value.code == "bad-option"


def test_the_door_of_a_job() -> None:
    assert door("https://pit.example/", "a b/c") == "wss://pit.example/v1/jobs/a%20b%2Fc/readings"
