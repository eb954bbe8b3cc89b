"""The sender's end of a broker against a real Mosquitto of our own and a small service: outages, changes, refusals."""

import json
import sqlite3
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

from kinematics.errors import Refused
from service.broker.address import Address
from service.bus.broker_feeder import BrokerFeeder
from service.bus.spool import Spool
from tests.service.mosquitto import Broker, own_broker
from tests.service.test_serving_access import made_by_openssl

from .keeping import WELCOME, Keeper, Log, at
from .test_spool import Full
from .units import WAIT_S

Json = dict[str, Any]
TOKEN = "tok.en"  # noqa: S105
QUICK: Json = {"first_pause_s": 0.02, "here_every_s": 0.2}


@pytest.fixture
def mosquitto() -> Iterator[Broker]:
    with own_broker() as made:
        yield made


@contextmanager
def feeder(to: Address, folder: Path, words: list[str] | None = None, **more: Any) -> Iterator[BrokerFeeder]:
    bounds = {name: more.pop(name) for name in ("most_s", "most_bytes") if name in more}
    spool = Spool(folder / "spool.sqlite", "pit by cab", **bounds)
    say = (lambda _: None) if words is None else words.append
    with BrokerFeeder(to, "pit", "cab", spool, say=say, **(QUICK | more)) as made:
        yield made


def reading(i: int) -> Json:
    return {"sensor": "boom", "deg": float(i), "at_s": float(i)}


def sent(by: BrokerFeeder, numbers: range) -> None:
    for i in numbers:
        by.ready()
        assert by.send([reading(i)])


def waited_for(what: Callable[[], bool], told: object = None) -> None:
    until = time.monotonic() + 2.0 * WAIT_S
    while not what():
        assert time.monotonic() < until, told
        threading.Event().wait(0.005)


def degrees(count: int) -> list[float]:
    return [float(i) for i in range(count)]


def test_welcomed_clock_answered_and_frames_taken_in_order(mosquitto: Broker, tmp_path: Path) -> None:
    log = Log()
    words: list[str] = []
    keeper = Keeper(at(mosquitto), log)
    with feeder(at(mosquitto), tmp_path, words, token=TOKEN, clock=lambda: 41.5) as fed:
        fed.ready()
        assert fed.welcome == WELCOME
        sent(fed, range(1000))  # more than a window
        keeper.wait_for(lambda: len(log.frames) == 1000)
        keeper.tell({"clock": 7})
        keeper.wait_for(lambda: any(each["clock"] == 7 for each in keeper.answers))
        fed.settle()
        assert (fed.told["frames_taken"], fed.told["frames_waiting"]) == (1000, 0)
        assert (fed.sent, fed.lost, fed.connections, fed.told["frames_repeated"]) == (1000, 0, 1, 0)
    assert log.degrees == degrees(1000)
    assert [n for _, n, _ in log.frames] == list(range(1, 1001))
    assert keeper.answers[-1] == {"clock": 7, "of": "0000000a", "at_s": 41.5, "stream": log.frames[0][0]}
    assert keeper.heard[0] == {"stream": log.frames[0][0], "next": 1, "welcome": True, "token": TOKEN}
    assert not any("Offline" in each for each in words), words
    keeper.close()


def test_an_outage_of_the_broker_is_caught_up_with(mosquitto: Broker, tmp_path: Path) -> None:
    log = Log()
    words: list[str] = []
    keeper = Keeper(at(mosquitto), log)
    with feeder(at(mosquitto), tmp_path, words) as fed:
        fed.ready()
        sent(fed, range(100))
        mosquitto.stop()
        waited_for(lambda: any(each.startswith("Offline") for each in words), words)
        assert fed.ready() == 0.0, "it takes readings meanwhile"
        sent(fed, range(100, 700))
        assert fed.told["frames_waiting"] >= 600
        mosquitto.start()
        keeper.wait_for(lambda: len(log.frames) == 700)
        fed.settle()
        waited_for(lambda: any(each.startswith("Caught up") for each in words), words)
        assert (fed.lost, fed.told["outages"], fed.connections) == (0, 1, 2)
        assert fed.told["frames_taken"] == 700
    assert log.degrees == degrees(700)
    assert any(each.startswith("Online again after") for each in words)
    keeper.close()


def test_killed_amid_sending_the_next_process_goes_on(mosquitto: Broker, tmp_path: Path) -> None:
    log = Log()
    keeper = Keeper(at(mosquitto), log, lag=200)
    program = f"""
import sys
from pathlib import Path
from service.broker.address import Address
from service.bus.broker_feeder import BrokerFeeder
from service.bus.spool import Spool
spool = Spool(Path({str(tmp_path / "spool.sqlite")!r}), "pit by cab")
with BrokerFeeder(Address("127.0.0.1", {mosquitto.port}, False), "pit", "cab", spool) as fed:
    fed.ready()
    for i in range(1500):
        fed.send([{{"sensor": "boom", "deg": float(i), "at_s": float(i)}}])
        print(i, flush=True)
    sys.stdin.read()
"""
    piped: Json = {"stdin": subprocess.PIPE, "stdout": subprocess.PIPE, "text": True}
    with subprocess.Popen([sys.executable, "-c", program], **piped) as process:
        keeper.wait_for(lambda: len(log.frames) >= 500)
        process.kill()
        assert process.stdout is not None
        last = int(process.stdout.read().split()[-2])  # the last line may be half written
    with feeder(at(mosquitto), tmp_path) as fed:
        fed.ready()
        assert fed.told["frames_waiting"] > 0
        sent(fed, range(200_000, 200_010))
        keeper.wait_for(lambda: log.degrees[-1:] == [200_009.0])
    taken = log.degrees[:-10]
    assert taken == degrees(len(taken)), "every frame once, in order"
    assert len(taken) > last, "all that was put into the spool"
    assert len({stream for stream, _, _ in log.frames}) == 1
    keeper.close()


def test_a_gap_is_sent_again_from_where_it_begins(mosquitto: Broker, tmp_path: Path) -> None:
    log = Log()
    keeper = Keeper(at(mosquitto), log, lag=50)
    with feeder(at(mosquitto), tmp_path) as fed:
        fed.ready()
        sent(fed, range(100))
        keeper.wait_for(lambda: len(log.frames) == 100)
        with keeper.changed:  # as if the last forty had been lost on the way
            [stream] = keeper.last
            keeper.last[stream] = 60
            del log.frames[60:]
        sent(fed, range(100, 120))
        keeper.wait_for(lambda: len(log.frames) == 120)
        waited_for(lambda: fed.told["frames_repeated"] >= 40)
    assert log.degrees == degrees(120)
    keeper.close()


@pytest.mark.parametrize("lag", [0, 200])
def test_another_keeper_goes_on_where_the_first_acknowledged(
    mosquitto: Broker, tmp_path: Path, lag: int
) -> None:
    first_log, second_log = Log(), Log()
    first = Keeper(at(mosquitto), first_log, lag=lag)
    with feeder(at(mosquitto), tmp_path) as fed:
        fed.ready()
        sent(fed, range(300))
        first.wait_for(lambda: len(first_log.frames) == 300)
        waited_for(lambda: fed.told["frames_taken"] >= 300 - lag)
        first.close()
        sent(fed, range(300, 900))
        second = Keeper(at(mosquitto), second_log, "0000000b")
        second.wait_for(lambda: second_log.degrees[-1:] == [899.0])
        fed.settle()
        assert fed.told["frames_taken"] == 900
    assert second_log.degrees == degrees(900)[300 - lag :], (
        "what the first did not acknowledge, and all after it"
    )
    second.close()


def test_overflow_goes_from_the_oldest_and_is_told(mosquitto: Broker, tmp_path: Path) -> None:
    log = Log()
    words: list[str] = []
    keeper = Keeper(at(mosquitto), log)
    with feeder(at(mosquitto), tmp_path, words, most_bytes=5000) as fed:
        fed.ready()
        sent(fed, range(10))
        waited_for(lambda: fed.told["frames_taken"] == 10)
        mosquitto.stop()
        waited_for(lambda: any(each.startswith("Offline") for each in words), words)
        sent(fed, range(10, 1000))
        kept = fed.told["frames_waiting"]
        assert 0 < kept < 200
        assert fed.lost == fed.told["frames_overflowed"] == 990 - kept
        mosquitto.start()
        keeper.wait_for(lambda: log.degrees[-1:] == [999.0])
    assert log.degrees == degrees(10) + [float(i) for i in range(1000 - kept, 1000)]
    assert any(each.startswith("The spool is full") for each in words)
    keeper.close()


def test_a_full_disk_holds_nothing_up(
    tmp_path: Path, mosquitto: Broker, monkeypatch: pytest.MonkeyPatch
) -> None:
    real = sqlite3.connect
    monkeypatch.setattr(sqlite3, "connect", lambda *args, **more: real(*args, **more, factory=Full))
    log = Log()
    words: list[str] = []
    keeper = Keeper(at(mosquitto), log)
    with feeder(at(mosquitto), tmp_path, words) as fed:
        fed.ready()
        sent(fed, range(10))
        monkeypatch.setattr(Full, "full", True)
        sent(fed, range(10, 50))
        keeper.wait_for(lambda: len(log.frames) == 50)
        fed.settle()
        assert fed.told["frames_waiting"] == 0
    assert log.degrees == degrees(50)
    assert len({stream for stream, _, _ in log.frames}) == 2, (
        "numbers that the file does not know are another stream's"
    )
    assert any(each.startswith("The spool is not written (database or disk is full)") for each in words)
    keeper.close()


def test_of_another_boot_nothing_is_sent(mosquitto: Broker, tmp_path: Path) -> None:
    log = Log()
    words: list[str] = []
    before = Spool(tmp_path / "spool.sqlite", "pit by cab", boot="yesterday")
    before.put(0.0, 1, json.dumps([reading(77)]))
    before.close()
    keeper = Keeper(at(mosquitto), log)
    with feeder(at(mosquitto), tmp_path, words) as fed:
        fed.ready()
        sent(fed, range(5))
        keeper.wait_for(lambda: len(log.frames) == 5)
        assert fed.told["frames_of_another_boot"] == 1
    assert log.degrees == degrees(5)
    assert any("started anew are let go of" in each for each in words)
    keeper.close()


def test_a_wrong_password_is_refused_at_once_and_not_shown(tmp_path: Path) -> None:
    right, wrong = "gravel", "sand"
    with own_broker({"cab": right}) as closed:
        with feeder(at(closed, "cab", wrong), tmp_path) as fed, pytest.raises(Refused) as caught:
            fed.ready()
        assert caught.value.code == "turned-down"
        assert wrong not in str(caught.value)
        log = Log()
        keeper = Keeper(at(closed, "cab", right), log)
        with feeder(at(closed, "cab", right), tmp_path) as fed:
            fed.ready()
            sent(fed, range(3))
            keeper.wait_for(lambda: len(log.frames) == 3)
        keeper.close()


def test_tls_by_an_authority_of_our_own(tmp_path: Path) -> None:
    certificate, key = made_by_openssl(tmp_path, "broker")
    with tempfile.TemporaryDirectory(prefix="tipdatum-broker-") as folder:
        secure = Broker(Path(folder))
        config = Path(folder) / "mosquitto.conf"
        config.write_text(f"{config.read_text()}certfile {certificate}\nkeyfile {key}\n", encoding="utf-8")
        secure.start()
        try:
            address = Address("127.0.0.1", secure.port, secure=True)
            with feeder(address, tmp_path, give_up_s=1.0) as fed, pytest.raises(Refused) as caught:
                fed.ready()
            assert "certificate" in caught.value.faults[0].found
            log = Log()
            keeper = Keeper(address, log, ca=certificate)
            with feeder(address, tmp_path, ca=certificate) as fed:
                fed.ready()
                sent(fed, range(3))
                keeper.wait_for(lambda: len(log.frames) == 3)
            keeper.close()
        finally:
            secure.stop()


def test_no_broker_at_the_start_is_refused_unless_a_service_was_heard_before(
    mosquitto: Broker, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    mosquitto.stop()
    with feeder(at(mosquitto), tmp_path, give_up_s=0.2) as fed, pytest.raises(Refused) as caught:
        fed.ready()
    assert caught.value.code == "no-broker"
    mosquitto.start()
    keeper = Keeper(at(mosquitto), Log())
    with feeder(at(mosquitto), tmp_path) as fed:
        fed.ready()
    keeper.close()
    mosquitto.stop()
    words: list[str] = []
    with feeder(at(mosquitto), tmp_path, words, give_up_s=0.2) as fed:
        fed.ready()
        assert fed.welcome == WELCOME, "of the run before"
        sent(fed, range(20))
        mosquitto.start()
        log = Log()
        keeper = Keeper(at(mosquitto), log)
        keeper.wait_for(lambda: len(log.frames) == 20)
    assert log.degrees == degrees(20)
    keeper.close()


def test_a_broker_without_a_service_is_said_so(mosquitto: Broker, tmp_path: Path) -> None:
    with feeder(at(mosquitto), tmp_path, give_up_s=0.3) as fed, pytest.raises(Refused) as caught:
        fed.ready()
    assert "nobody who answers for pit" in caught.value.faults[0].found


PROBLEM = {
    "status": 404, "title": "No such job",
    "errors": [{"code": "unknown-job", "pointer": "", "found": "pit", "expected": "a job", "advice": "open it"}],
}  # fmt: skip


def test_a_job_that_is_unknown_is_refused_with_the_words_of_the_service(
    mosquitto: Broker, tmp_path: Path
) -> None:
    keeper = Keeper(at(mosquitto), Log(), problem=PROBLEM)
    with feeder(at(mosquitto), tmp_path) as fed, pytest.raises(Refused) as caught:
        fed.ready()
    assert caught.value.code == "unknown-job"
    keeper.close()


def test_problems_that_pass_are_waited_out(mosquitto: Broker, tmp_path: Path) -> None:
    log = Log()
    other = PROBLEM | {"status": 409, "errors": [{"code": "fed-by-another", "found": "another stream"}]}
    keeper = Keeper(at(mosquitto), log)
    with feeder(at(mosquitto), tmp_path) as fed:
        fed.ready()
        for problem in (other, PROBLEM | {"status": 503}):
            keeper.tell({"problem": problem})
        sent(fed, range(5))
        keeper.wait_for(lambda: len(log.frames) == 5)
        keeper.tell({"problem": PROBLEM})
        waited_for(lambda: _over(fed))
    keeper.close()


def _over(fed: BrokerFeeder) -> bool:
    try:
        fed.send([reading(0)])
    except Refused as refused:
        return refused.code == "unknown-job"
    return False


@pytest.mark.parametrize("poison", [
    b"", b"hello", b"[1]", b'{"taken": {"stream": "x", "n": true}}', b'{"taken": 5}', b'{"from": {"n": 3}}',
    b'{"welcome": []}', b'{"refused": [], "counts": 3}', b"[" * 60_000, b'{"problem": 3}', b"\xff\xfe",
])  # fmt: skip
def test_poison_on_the_topic_is_counted_and_passed_over(
    mosquitto: Broker, tmp_path: Path, poison: bytes
) -> None:
    log = Log()
    keeper = Keeper(at(mosquitto), log)
    with feeder(at(mosquitto), tmp_path) as fed:
        fed.ready()
        keeper.tell_bytes(poison)
        waited_for(lambda: fed.told["told_by_others"] == 1)
        sent(fed, range(5))
        keeper.wait_for(lambda: len(log.frames) == 5)
    assert log.degrees == degrees(5)
    keeper.close()


def test_refusals_are_summed_over_services_and_strikes_told_once(mosquitto: Broker, tmp_path: Path) -> None:
    words: list[str] = []
    keeper = Keeper(at(mosquitto), Log())
    strike = {"seq": 9, "verdict": "taken", "because": []}
    refusal = {"code": "out-of-range", "found": "999 deg", "expected": "-180 to 180 deg"}
    with feeder(at(mosquitto), tmp_path, words) as fed:
        fed.ready()
        for of, count in (("a", 3), ("a", 5), ("b", 2), ("b", 4), ("b", 1)):  # b began anew
            keeper.tell({"refused": [refusal], "counts": {"out-of-range": count}, "of": of})
        keeper.tell({"strike": strike})
        keeper.tell({"strike": strike})
        keeper.tell(
            {"strike": strike | {"at": "2026-11-30T07:31:12Z"}}
        )  # by the next keeper, of the same entry
        keeper.tell({"clock": 99})
        keeper.wait_for(lambda: any(each["clock"] == 99 for each in keeper.answers))
        assert fed.refused == {"out-of-range": 5 + 4 + 1}
        assert fed.strikes == [strike]
    assert [each for each in words if each.startswith("Strike")] == ["Strike 9: taken"]
    keeper.close()


def test_readings_of_a_great_many_letters_are_several_frames(mosquitto: Broker, tmp_path: Path) -> None:
    log = Log()
    keeper = Keeper(at(mosquitto), log)
    many = [{"sensor": "boom", "deg": float(i), "at_s": float(i), "note": "x" * 300} for i in range(500)]
    with feeder(at(mosquitto), tmp_path) as fed:
        fed.ready()
        fed.send(many)
        keeper.wait_for(lambda: len(log.degrees) == 500)
    assert log.degrees == degrees(500)
    assert len(log.frames) == 3
    assert all(len(json.dumps(frame[2])) < 65_536 for frame in log.frames)
    keeper.close()
