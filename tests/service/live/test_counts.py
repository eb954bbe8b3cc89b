"""What the service tells of itself: counts that Prometheus can read and that are right, ids, log lines of one object."""

import asyncio
import io
import json
import logging
import re
from collections.abc import Iterator

import httpx
import pytest
from prometheus_client.parser import text_string_to_metric_families

from service.secret import hide
from service.watching import Counts, one_object_a_line

from .making import Door, Feeder, Viewer, at_rest, run, said

Samples = dict[tuple[str, frozenset[tuple[str, str]]], float]


def counts(door: Door) -> Samples:
    answer = httpx.get(f"http://127.0.0.1:{door.port}/metrics", trust_env=False)
    assert answer.status_code == 200
    assert answer.headers["content-type"] == "text/plain; version=0.0.4; charset=utf-8"
    return {
        (sample.name, frozenset(sample.labels.items())): sample.value
        for family in text_string_to_metric_families(answer.text)
        for sample in family.samples
    }


def value(found: Samples, name: str, **labels: str) -> float:
    return found.get((f"tipdatum_{name}", frozenset(labels.items())), 0.0)


def test_requests_by_route_and_status(door: Door) -> None:
    asked = {"method": "GET", "route": "/v1/jobs/{job}"}
    before = counts(door)
    with httpx.Client(base_url=f"http://127.0.0.1:{door.port}", trust_env=False) as client:
        for name in ("none-1", "none-2", "none-3"):
            assert client.get(f"/v1/jobs/{name}").status_code == 404
        assert client.get("/wp-login.php").status_code == 404
        assert client.patch("/v1/jobs").status_code == 405
    after = counts(door)

    def more(name: str, **labels: str) -> float:
        return value(after, name, **labels) - value(before, name, **labels)

    assert more("requests_total", **asked, status="404") == 3.0
    assert more("request_seconds_count", route="/v1/jobs/{job}") == 3.0
    assert more("requests_total", method="none of ours", route="none of ours", status="404") == 1.0


def test_readings_feeders_viewers_and_ages(door: Door) -> None:
    job = door.dug()
    before = counts(door)

    async def go() -> Samples:
        async with Feeder(door, job) as feeder, Viewer(door, job) as viewer:
            await feeder.say(said(at_rest()))
            await viewer.told.first(lambda each: each["readout"] is not None)
            await feeder.say({"no-such": {"deg": 1.0}})
            await feeder.told.first(lambda each: "refused" in each)
            return await asyncio.to_thread(counts, door)

    during = run(go())
    sensors = len(said(at_rest()))
    assert value(during, "readings_taken_total") - value(before, "readings_taken_total") >= sensors
    code = {"code": "no-such-sensor"}
    assert (
        value(during, "readings_not_taken_total", **code) - value(before, "readings_not_taken_total", **code)
        == 1.0
    )
    assert value(during, "feeders") >= 1.0
    assert value(during, "viewers") >= 1.0
    assert 0.0 <= value(during, "live_lag_seconds") < 10.0
    assert 0.0 <= value(during, "oldest_reading_seconds") < 10.0


@pytest.mark.parametrize(
    ("given", "kept"),
    [("shift-7.Monday_1", True), ("x" * 65, False), ("two words", False), ("line%0A", False), ("", False)],
)
def test_every_answer_has_an_id(door: Door, given: str, kept: bool) -> None:
    answer = httpx.get(
        f"http://127.0.0.1:{door.port}/v1/version", headers={"x-request-id": given}, trust_env=False
    )
    [told] = answer.headers.get_list("x-request-id")
    assert (told == given) is kept
    assert kept or re.fullmatch("[0-9a-f]{16}", told)


def test_alive_and_ready(door: Door) -> None:
    for path, status in (("alive", "alive"), ("health", "good")):
        answer = httpx.get(f"http://127.0.0.1:{door.port}/v1/{path}", trust_env=False)
        assert (answer.status_code, answer.json()) == (200, {"status": status})


@pytest.fixture
def lines() -> Iterator[io.StringIO]:
    """What loggers of ours print as objects."""
    out = io.StringIO()
    handler = logging.StreamHandler(out)
    handler.setFormatter(one_object_a_line(hide))
    log = logging.getLogger("tipdatum")
    level = log.level, logging.getLogger("tipdatum.requests").level
    log.addHandler(handler)
    logging.getLogger("tipdatum.requests").setLevel(logging.INFO)
    yield out
    log.removeHandler(handler)
    logging.getLogger("tipdatum.requests").setLevel(level[1])


def test_a_request_is_one_object(door: Door, lines: io.StringIO) -> None:
    httpx.get(
        f"http://127.0.0.1:{door.port}/v1/jobs/well", headers={"x-request-id": "mine-1"}, trust_env=False
    )
    [told] = [
        each for each in map(json.loads, lines.getvalue().splitlines()) if each.get("request") == "mine-1"
    ]
    assert told["event"] == "answered"
    assert (told["method"], told["route"], told["status"]) == ("GET", "/v1/jobs/{job}", 404)
    assert (told["job"], told["level"], told["logger"]) == ("well", "info", "tipdatum.requests")
    assert re.fullmatch(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d+Z", told["time"])
    assert 0.0 <= told["seconds"] < 60.0


def test_an_error_is_one_object_without_a_token(lines: io.StringIO) -> None:
    token = f"tipdatum_{'a' * 16}_{'b' * 52}"
    try:
        raise RuntimeError(f"a fault with {token}\nand a second line")
    except RuntimeError:
        logging.getLogger("tipdatum").exception("it failed")
    [line] = lines.getvalue().splitlines()
    told = json.loads(line)
    assert "RuntimeError" in told["exception"]
    assert hide(token) != token
    assert token not in line


def test_before_it_has_started() -> None:
    """An application that is only made has counts, and no live door yet."""
    found = {family.name for family in text_string_to_metric_families(Counts().text().decode())}
    assert "tipdatum_requests" in found
    assert "tipdatum_feeders" not in found
