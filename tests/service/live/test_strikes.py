"""Strikes out of the stream: several machines at once, in real time, each through the plane in its own way."""

import math
from typing import Any

import pytest

from kinematics.arm import pose
from tests.service.api.doing import JobDoer, fitted

from .making import Door, Json, run
from .passing import PLANE_M, Motion, Played, play, through, together

# A busy machine hears a crossing late, and another verdict is right.
pytestmark = pytest.mark.alone
SLOW = 0.022
# Bits come ten times a second, 2.2 mm apart, even, at both ends of each way; sensors are exact, read 20 times a second.
HEIGHT_M = 0.002
# A plane's height from one that was seen to such an accuracy, twice.
TWICE_M = 2 * HEIGHT_M
# Where the receiver would be had the tracks not moved, and by how much they did.
MOVED_M = 0.12


def rocking(motion: Motion) -> Motion:
    """The same on ground that gives way: 0.15 deg to either side, once in 2 s."""
    swing = math.radians(0.15)
    return lambda t: {**motion(t), "pitch": motion(t)["pitch"] + swing * math.sin(math.pi * t)}


def struck_by_hand(job: JobDoer, height: float) -> None:
    """A strike at this height of the receiver over the origin, so that the plane is known."""
    taken = job.strike(height)
    assert taken["verdict"] == "taken", taken


def scenarios(door: Door) -> dict[str, Any]:
    """Everything that is played, by name; what needs a log before it has one."""
    slow, slow_s = through(SLOW)
    jobs = {name: door.dug() for name in (
        "slow", "heights", "fast", "leaning", "rocking", "moved", "recorded", "digging", "once")}  # fmt: skip
    struck_by_hand(jobs["moved"], PLANE_M + MOVED_M)
    struck_by_hand(jobs["recorded"], PLANE_M + MOVED_M)
    jobs["recorded"].move()
    assert jobs["recorded"].get()["height"] is None
    leaning, leaning_s = through(SLOW, back=False, stick=-1.7)
    fast, fast_s = through(0.1, reach=0.06)
    digging, digging_s = through(0.9, reach=0.25)
    once, once_s = through(SLOW, back=False)
    return {
        "slow": play(door, jobs["slow"], slow, slow_s), "heights": play(door, jobs["heights"], slow, slow_s, bits=False),
        "fast": play(door, jobs["fast"], fast, fast_s, band=0.03),
        "leaning": play(door, jobs["leaning"], leaning, leaning_s),
        "rocking": play(door, jobs["rocking"], rocking(slow), slow_s),
        "moved": play(door, jobs["moved"], slow, slow_s),
        "recorded": play(door, jobs["recorded"], slow, slow_s),
        "digging": play(door, jobs["digging"], digging, digging_s, band=0.1),
        "once": play(door, jobs["once"], once, once_s),
    }  # fmt: skip


@pytest.fixture(scope="module")
def played(door: Door) -> dict[str, Played]:
    found: dict[str, Played] = run(together(scenarios(door)), within=30.0)
    return found


def codes(because: list[Json]) -> set[str]:
    for each in because:
        assert each["found"]
        assert each["expected"]
    return {str(each["code"]) for each in because}


def only(found: list[Any]) -> Any:
    [one] = found
    return one


@pytest.mark.parametrize("name", ["slow", "heights"])
def test_taken(played: dict[str, Played], name: str) -> None:
    """Up and down are one strike; it has a role, and the log has what it was made from."""
    found = played[name]
    told = only(found.strikes)
    assert (told["verdict"], told["because"]) == ("taken", [])
    entry = only(found.entries())
    assert told["seq"] == entry["seq"]
    payload = entry["payload"]
    assert payload["taken"] is True
    assert payload["role"] == told["role"] == "sets the laser plane"
    assert len(payload["poses"]) == 2
    assert payload["receiver_height_m"] == pytest.approx(PLANE_M, abs=HEIGHT_M)
    assert payload["half_difference_m"] <= 0.003
    assert payload["vertical_speed_mm_s"] == pytest.approx(1e3 * SLOW, abs=2.0)
    assert payload["steady_s"] >= 1.0
    assert payload["tilt_spread_deg"] <= 0.05
    for each, way in zip(payload["poses"], ("up", "down"), strict=True):
        readings = each["given"]["readings"]
        assert set(readings["said"]) == {"body", "boom", "stick", "idler", "tilt"}
        assert len(readings["said"]["body"]["deg"]) == 2
        assert readings["way"] == way
        assert readings["samples"] >= 2
        assert 0.0 < readings["in_plane_s"] < 1.0
        assert (readings["beam_above_centre_mm"] is None) == (name == "slow")
        angles = {name: math.radians(angle) for name, angle in each["joints_deg"].items()}
        lean = {"pitch": math.radians(each["pitch_deg"]), "roll": math.radians(each["roll_deg"])}
        here = pose(fitted(), **lean, **{n: angles[n] for n in fitted().ranges})
        assert here.height("receiver") == pytest.approx(PLANE_M, abs=0.005)
    # Every viewer hears of it too, and the plane is known.
    assert found.shown[-1]["strike"] == told
    assert found.job.get()["plane"] is not None


def test_what_a_stream_struck_can_be_read_back(played: dict[str, Played]) -> None:
    """The level book, and a readout against the plane."""
    job = played["slow"].job
    assert job.get("level-book")
    entry = only(played["slow"].entries())
    carried = job.strike(PLANE_M)
    assert carried["verdict"] == "taken", carried
    assert carried["receiver_height"]["m"] == pytest.approx(
        entry["payload"]["receiver_height_m"], abs=HEIGHT_M
    )


def test_too_fast(played: dict[str, Played]) -> None:
    """Each way by itself: nothing would make it a good one."""
    found = played["fast"]
    assert len(found.told("turned down")) == len(found.strikes) >= 1
    for told, entry in zip(found.strikes, found.entries(), strict=True):
        assert "too-fast" in codes(told["because"])
        assert entry["payload"]["taken"] is False
        assert {each["code"] for each in entry["payload"]["because"]} == codes(told["because"])
        assert entry["payload"]["poses"][0]["given"]["readings"]["said"]
    assert found.job.get()["plane"] is None


def test_a_leaning_mast(played: dict[str, Played]) -> None:
    found = played["leaning"]
    assert codes(only(found.told("turned down"))["because"]) == {"mast-leans"}
    assert only(found.entries())["payload"]["mast_deg"] == pytest.approx(15.5, abs=0.6)


def test_ground_that_gives_way(played: dict[str, Played]) -> None:
    found = played["rocking"]
    assert found.strikes
    assert all("not-steady" in codes(each["because"]) for each in found.strikes)
    assert {each["verdict"] for each in found.strikes} == {"turned down"}
    assert len(found.entries()) == len(found.strikes)


def test_tracks_that_moved_and_nobody_said_so(played: dict[str, Played]) -> None:
    found = played["moved"]
    assert found.strikes
    assert {each["verdict"] for each in found.strikes} == {"turned down"}
    for told in found.strikes:
        assert codes(told["because"]) == {"far-from-prediction"}
        assert "-120 mm" in told["because"][0]["found"] or "-119 mm" in told["because"][0]["found"]
    assert found.job.get()["plane"] is not None


def test_after_a_recorded_move_it_carries_the_height(played: dict[str, Played]) -> None:
    """The origin is as much higher as the receiver is lower over it when it is in the same plane."""
    found = played["recorded"]
    told = only(found.strikes)
    assert told["verdict"] == "taken"
    job = found.job
    entry = only(found.entries())
    assert (entry["seq"], entry["payload"]["role"]) == (told["seq"], told["role"])
    assert told["role"] == "carries the height from the laser plane"
    height = job.get()["height"]
    assert height is not None
    origin = _origin(job)
    assert height["elevation"]["m"] == pytest.approx(origin + MOVED_M, abs=TWICE_M)


def _origin(job: JobDoer) -> float:
    """Elevation of the origin before the move: the slab at 100 m, touched."""
    touched = only([each for each in job.events() if each["type"] == "touched"])
    return 100.0 - float(touched["payload"]["edge_height_m"])


def test_digging_is_no_attempt(door: Door, played: dict[str, Played]) -> None:
    """Told and counted, not written down."""
    found = played["digging"]
    assert found.strikes
    assert {each["verdict"] for each in found.strikes} == {"no attempt"}
    assert all(each["seq"] is None for each in found.strikes)
    assert found.entries() == []
    assert door.health(found.job)["strikes"] == {"no attempt": len(found.strikes)}
    assert door.health(found.job)["receiver_taken"] > 20


def test_a_single_way_is_settled_after_a_while(played: dict[str, Played]) -> None:
    told = only(played["once"].strikes)
    assert told["verdict"] == "taken"
    entry = only(played["once"].entries())
    assert len(entry["payload"]["poses"]) == 1
    assert entry["payload"]["half_difference_m"] is None


def test_all_who_feed_are_told_why_in_words(played: dict[str, Played]) -> None:
    for found in played.values():
        for told in found.strikes:
            assert set(told) == {"at", "verdict", "seq", "role", "because"}
            assert told["at"].endswith("Z")
            assert (told["seq"] is None) == (told["verdict"] == "no attempt")
