"""Random shifts, valid and not: the log folds to what was answered, recorded numbers follow from recorded angles."""

import math
import random
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

from kinematics import arm
from kinematics.arm import Pose
from service.api.answers import job_out
from service.app import create_app
from service.book import payloads as p
from service.book.keeper import Keeper
from service.book.profiles import Profiles
from service.book.state import JobState, fold, steps
from service.settings import Settings
from service.store import events, utc_now, verify_chain
from tests.tolerances import NOISE_M

from .doing import Client, JobDoer, Json, edge_at, opened

SEEDS = (1, 2, 3, 4, 5, 6)
STEPS = 60


@contextmanager
def running(folder: Path) -> Iterator[Client]:
    with Client(create_app(Settings(data_folder=folder))) as client:
        yield client


def state_of(client: Client, job: str) -> JobState:
    """Folded anew, by a keeper that has seen nothing."""
    database = client.app.state.database
    return Keeper(database, Profiles(database, utc_now)).state(job)


def request(dice: random.Random, job: JobDoer, last: int) -> tuple[str, Json]:
    """One request, as often sensible as not."""
    height = dice.choice([-1.62, -1.60, -2.0, -2.4])
    point = dice.choice(["slab", "rim", "stone-1", "stone-2"])
    target = dice.choice(["footing", "drain", "sump"])
    pose = edge_at(height, dice.choice([-70.0, -80.0]))
    if dice.random() < 0.2:
        pose = pose | {"swing_deg": dice.choice([0.0, 20.0])}
    edge = dice.choice(["left", "centre", "right"])
    made: dict[str, Any] = {
        "benchmarks": {"name": point, "elevation": dice.choice([100.0, 99.5]), "units": "m"},
        "touches": {
            "point": point, "purpose": dice.choice(["reference", "check"]), "edge_point": edge, "pose": pose
        },
        "turning-points": {"name": point, "edge_point": edge, "pose": pose},
        "strikes": job.strike_body(
            dice.choice([1.10, 1.13, 1.14]), dice.choice([None, None, None, 4.0]), steady_s=dice.choice([2.0, 2.0, 0.1])
        ),
        "moves": {}, "swings": {},
        "laser-setups": {"revolutions_per_s": 10.0, "fall_percent": dice.choice([0.0, 1.0])},
        "receiver-clamps": dice.choice([{}, {"place_mm": [800.0, 180.0, 260.0]}]),
        "setups": {"machine": "crawler-14t", "attachment": "tilting-1800"},
        "attachment-changes": {"attachment": dice.choice(["tilting-1800", "published-mini-bucket"])},
        "targets": job.target_body(target, dice.choice([1.0, 1.4])) | {
            "benchmark": point, "along_percent": 2.0 if target == "drain" else 0.0},
        "stations": {"target": target, "station": 1.0, "edge_point": edge, "pose": pose, "units": "m"},
        "rules": {"rules": {"surprise_mm": dice.choice([20.0, 50.0])}},
        "estimates": {"estimates": {"contact_mm": dice.choice([3.0, 5.0])}},
        "withdrawals": {"seq": max(2, last - int(dice.expovariate(0.3))), "reason": "dice"},
    }  # fmt: skip
    weights = {
        "touches": 5,
        "strikes": 5,
        "withdrawals": 6,
        "moves": 2,
        "benchmarks": 2,
        "targets": 2,
        "stations": 2,
    }
    what = dice.choices(list(made), [weights.get(name, 1) for name in made])[0]
    return what, made[what]


def solved(client: Client, before: JobState, record: p.PoseRecord) -> Pose:
    joints = {name: math.radians(angle) for name, angle in record.joints_deg.items()}
    pitch, roll = math.radians(record.pitch_deg), math.radians(record.roll_deg)
    return arm.pose(client.app.state.keeper.fit(before), pitch=pitch, roll=roll, **joints)


def close(found: float | None, wanted: float | None) -> bool:
    if found is None or wanted is None:
        return found is wanted
    return math.isfinite(found) and abs(found - wanted) <= NOISE_M


def rederived(client: Client, before: JobState, payload: p.Payload, seq: int) -> None:
    """Every recorded number again, from the recorded angles and the profile revisions on record."""
    match payload:
        case p.Touched():
            height = solved(client, before, payload.pose).height(payload.edge_point)
            _, outcome = before.book.touched(seq, payload.point, height, check=payload.purpose == "check")
            assert close(payload.edge_height_m, height)
            assert close(payload.elevation_m, outcome.elevation)
            assert close(payload.misclosure_m, outcome.misclosure)
            assert set(payload.hangs_on) == outcome.hangs_on
        case p.TurningPointTaken():
            height = solved(client, before, payload.pose).height(payload.edge_point)
            _, outcome = before.book.turning_point(seq, payload.name, height)
            assert close(payload.edge_height_m, height)
            assert close(payload.elevation_m, outcome.elevation)
        case p.Struck():
            heights = [solved(client, before, pose).height("receiver") for pose in payload.poses]
            assert close(payload.receiver_height_m, math.fsum(heights) / len(heights))
            if payload.taken:
                _, struck = before.book.struck_by_laser(seq, payload.receiver_height_m, payload.along_fall_m)
                assert close(payload.elevation_m, struck.elevation)
                assert close(payload.misclosure_m, struck.misclosure)
        case _:
            pass


def heights(state: JobState) -> list[float]:
    known = [state.book.height, *state.book.points.values()]
    return [each.elevation for each in known if each is not None]


def nothing_new(state: JobState) -> None:
    """After a withdrawal every height, and the plane, had been there before: nothing is read anew."""
    earlier = [fold(state.entries[:n]) for n in range(1, len(state.entries))]
    assert set(heights(state)) <= {value for folded in earlier for value in heights(folded)}
    if state.book.plane is not None:
        assert state.book.plane in [folded.book.plane for folded in earlier]


@pytest.mark.parametrize("seed", SEEDS)
def test_the_log_says_what_was_answered(tmp_path: Path, seed: int) -> None:
    dice = random.Random(seed)  # noqa: S311
    acknowledged: dict[int, str] = {}
    turned_away = 0
    with running(tmp_path) as client:
        job = opened(client, "walk").equipped()
        last = 4
        for _ in range(STEPS):
            what, body = request(dice, job, last)
            before = state_of(client, "walk")
            answer = client.http.post(f"{job.path}/{what}", json=body)
            after = state_of(client, "walk")
            assert job.get() == job_out("walk", after).model_dump(mode="json")
            if answer.status_code != 201:
                assert answer.status_code in {409, 422}, answer.text
                assert after.entries == before.entries
                turned_away += 1
                continue
            last += 1
            assert answer.json()["seq"] == last == after.seq
            acknowledged[last] = answer.json()["uuid"]
            assert fold(after.entries) == after
            rederived(client, before, after.entries[-1].payload, last)
            if what == "withdrawals":
                nothing_new(after)
            for path in ("level-book", "targets", "benchmarks", "events"):
                job.get(path)
            client.http.post(f"{job.path}/readouts", json={"pose": edge_at(-2.0), "units": "m"})
        kept = [job.get(path) for path in ("", "level-book", "targets", "benchmarks")]
        log = job.events()
    assert len(acknowledged) > STEPS // 3
    assert turned_away > 3
    assert {e["seq"]: e["uuid"] for e in log if e["seq"] > 4} == acknowledged
    with running(tmp_path) as client:
        job = JobDoer(client, "walk", "m")
        assert [job.get(path) for path in ("", "level-book", "targets", "benchmarks")] == kept
        assert job.events() == log
        stored = client.app.state.database.read(lambda session: events.read_events(session, "walk"))
        assert verify_chain(stored) is None
        state = state_of(client, "walk")
        assert [entry.seq for entry, _ in steps(state.entries)] == [e["seq"] for e in log]
