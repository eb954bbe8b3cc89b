"""The computer's clock set on and back between entries: nothing is refused for it without need, nothing told wrong."""

import math
from collections.abc import Callable
from datetime import UTC, datetime, timedelta

import pytest

from service.book.keeper import Keeper
from tests.tolerances import NOISE_M

from .checking import rod, touched
from .doing import JobDoer, edge_at, metres
from .test_laser_tests import laser_body

Make = Callable[..., JobDoer]
HOUR, DAY = timedelta(hours=1), timedelta(days=1)
STEPS = (-HOUR, HOUR, -DAY, DAY, datetime(1970, 1, 1, tzinfo=UTC) - datetime(2026, 5, 4, tzinfo=UTC))
TOUCH = {"point": "slab", "purpose": "reference", "edge_point": "centre"}


class Clock:
    """A keeper's, which a test sets."""

    def __init__(self, keeper: Keeper, monkeypatch: pytest.MonkeyPatch) -> None:
        self.time = datetime(2026, 5, 4, 7, 31, 12, tzinfo=UTC)
        monkeypatch.setattr(keeper, "now", self)

    def __call__(self) -> datetime:
        self.time += timedelta(milliseconds=20)
        return self.time

    def ago(self, seconds: float) -> str:
        """A time of so long ago."""
        return (self.time - timedelta(seconds=seconds)).isoformat()


@pytest.fixture
def clock(client: object, monkeypatch: pytest.MonkeyPatch) -> Clock:
    return Clock(client.app.state.keeper, monkeypatch)  # type: ignore[attr-defined]


@pytest.mark.parametrize("step", STEPS)
def test_a_shift_goes_on(job: Make, clock: Clock, step: timedelta) -> None:
    """Set between the move and what gives the height back; each reading as it comes, and once more under its key."""
    at = touched(job())
    at.strike(0.4)
    at.target("footing", 0.3)
    at.move()
    clock.time += step
    struck = at.post("strikes", at.strike_body(0.35), Idempotency_Key="again")
    assert struck["role"] == "carries the height from the laser plane"
    assert metres(struck["elevation"]) == pytest.approx(101.65, abs=NOISE_M)
    clock.time -= step
    again = at.post("strikes", at.strike_body(0.35), Idempotency_Key="again")
    assert again == struck | {"replayed": True}
    told = at.read(edge_at(-1.95), "footing")
    assert metres(told["points"]["centre"]["elevation"]) == pytest.approx(99.7, abs=NOISE_M)
    clock.time += step
    assert at.touch(-1.65)["role"] == "sets the height"
    at.withdraw(at.get()["seq"])
    assert metres(at.get()["height"]["elevation"]) == pytest.approx(101.65, abs=NOISE_M)
    events = at.events()
    assert [each["seq"] for each in events] == list(range(1, len(events) + 1))
    assert [each["type"] for each in events[-4:]] == ["moved", "struck", "touched", "withdrawn"]


def test_a_dated_reading_is_told_that_the_clock_was_set_back(job: Make, clock: Clock) -> None:
    """It cannot be held against an entry of the time before; without a time of its own it can."""
    at = touched(job())
    at.move()
    clock.time -= HOUR
    body = TOUCH | {"pose": edge_at(-1.62)}
    dated = {"observed_at": clock.ago(0.1)}
    read = {"pose": edge_at(-2.0), "units": "m"}
    for what, asked in (("touches", body), ("readouts", read), ("uncertainties", read)):
        assert at.refused(what, asked | dated, 422) == {"/observed_at": "clock-set-back"}, what
    assert at.post("readouts", read, 200)["no_number_because"][0]["code"] == "height-unknown"
    assert at.post("touches", body)["role"] == "sets the height"
    clock.time += HOUR
    late = {"observed_at": clock.ago(0.5)}
    at.post("moves")
    assert at.refused("touches", body | late, 422) == {"/observed_at": "observed-before"}, "a right clock"


def test_dates_that_go_back_are_told_and_no_drift_is(job: Make, clock: Clock) -> None:
    at = touched(job())
    for off in (0.004, -0.003, 0.005):
        rod(at, off)
        clock.time += timedelta(minutes=20)
    assert at.get("daily-trust")["together"]["drift"] is not None
    before = at.get()["seq"]
    clock.time -= HOUR
    for off in (0.001, 0.002):
        rod(at, off)
    day = at.get("daily-trust")
    assert [each["seq"] for each in day["rod_checks"]] == list(range(before - 2, before + 3))
    assert day["together"]["drift"] is None
    assert [round(1e3 * metres(each["mean"]), 3) for each in day["together"]["running"]] == [
        4.0,
        0.5,
        2.0,
        1.75,
        1.8,
    ]
    [told] = day["warnings"]
    assert f"between entries {before} and {before + 1} the clock was set back by" in told
    assert day["verdict"]["ok"] is False
    page = at.client.http.get(f"{at.path}/record?format=html")
    assert page.status_code == 200
    assert f"between entries {before} and {before + 1} the clock was set back" in page.text


@pytest.mark.parametrize("back", [HOUR, DAY])
def test_the_last_test_of_a_laser_is_the_last_on_the_log(job: Make, clock: Clock, back: timedelta) -> None:
    """Dated later, a good one of before would hide the bad one."""
    at = job()
    at.post("laser-tests", laser_body(0.0))
    clock.time -= back
    at.post("laser-tests", laser_body(math.radians(150 / 3600)))
    day = at.get("daily-trust")
    assert any("the laser L-7 tilted by 150.0 arc seconds" in each for each in day["warnings"])
    assert any("the clock was set back" in each for each in day["warnings"])


def test_a_check_of_a_wrong_tomorrow_is_none_of_tomorrow_without_a_word(job: Make, clock: Clock) -> None:
    at = touched(job())
    clock.time += DAY
    rod(at, 0.002)
    clock.time -= DAY
    at.touch(-1.6, purpose="check")
    clock.time += DAY
    day = at.get("daily-trust")
    assert len(day["rod_checks"]) == 1
    assert day["verdict"]["ok"] is False
    assert "the clock was set back" in day["warnings"][0]
