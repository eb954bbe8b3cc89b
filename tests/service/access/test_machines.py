"""Assigned machines: an operator records on a job without a machine, or with one of the assigned."""

from itertools import count
from threading import Event
from typing import Any

import pytest

from service.store import events
from tests.service.api.doing import edge_at, receiver_at

from .making import ADMINISTRATOR, OPERATOR, VIEWER, Site, outcome

LENGTH = {"units": "m"}
SLAB = {"name": "slab", "elevation": 100.0, **LENGTH}
TARGET = {
    "name": "footing", "benchmark": "slab", "layers": [{"name": "all", "thickness": 1.0}], "overdig": 0.0,
    "tolerance": 0.02, **LENGTH,
}  # fmt: skip
STRIKE = {
    "crossings": [{"direction": "up", "pose": receiver_at(1.0)}], "vertical_speed_mm_s": 10.0, "tilt_spread_deg": 0.01,
    "steady_s": 2.0, **LENGTH,
}  # fmt: skip
TOUCH = {"point": "slab", "purpose": "reference", "edge_point": "centre", "pose": edge_at(-1.0)}
# One good body for every route that records, but for those that put a machine on the job.
BODIES: dict[str, dict[str, Any]] = {
    "benchmarks": SLAB | {"name": "kerb"},
    "attachment-changes": {"attachment": "digging-1500"},
    "moves": {},
    "swings": {},
    "laser-setups": {"revolutions_per_s": 10.0, "fall_percent": 0.0},
    "receiver-clamps": {},
    "touches": TOUCH,
    "turning-points": {"name": "stone", "edge_point": "centre", "pose": edge_at(-1.0)},
    "strikes": STRIKE,
    "targets": TARGET,
    "stations": {
        "target": "footing",
        "station": 0.0,
        "edge_point": "centre",
        "pose": edge_at(-1.0),
        **LENGTH,
    },
    "rules": {"rules": {}},
    "estimates": {"estimates": {}},
    "withdrawals": {"seq": 2, "reason": "a mistake"},
    "seats": {},
    "acknowledgements": {"seqs": [2]},
    "checks": {"target": "footing", "pose": edge_at(-1.0), **LENGTH},
    "rod-checks": {"edge_point": "centre", "pose": edge_at(-1.0), "elevation": 99.0, **LENGTH},
    "wear-checks": {"edge_point": "centre", "distance": 1.3, **LENGTH},
    "laser-tests": {
        "procedure": "simplified", "laser": "pump house laser", "apart": 40.0, **LENGTH,
        "sights": [
            {"along": 20.0, "heading_deg": turn, "reading_a": 1.5, "reading_b": 1.3} for turn in (0, 90, 180, 270)
        ],
    },
    "certificates": {
        "tolerance": 0.03, "agreed_by": "both", "builder": "the workshop", "customer": "the water works",
        "machine_serial": "1", "serials": {"boom": "B-1"}, **LENGTH,
    },
}  # fmt: skip
JOBS = count()


def new_job(site: Site, token: str, machine: str | None = None) -> str:
    """A job with a slab at 100 m, and a machine if one is named."""
    job = f"job-{next(JOBS)}"
    site.open_job(job, token)
    assert site.ask("POST", f"/v1/jobs/{job}/benchmarks", SLAB, token=token).status_code == 201
    if machine is not None:
        assert site.set_up(job, machine, token).status_code == 201
    return job


def last_seq(site: Site, job: str) -> int:
    return int(site.app.state.database.read(lambda s: events.last_seq(s, job)))


def not_assigned(site: Site, job: str, what: str, body: object, token: str, **more: Any) -> str:
    """Asserts the refusal and that nothing was recorded; the pointer of its one fault."""
    before = last_seq(site, job)
    answer = site.ask("POST", f"/v1/jobs/{job}/{what}", body, token=token, **more)
    assert outcome(answer) == (403, "not-assigned"), answer.text
    assert last_seq(site, job) == before
    [fault] = answer.json()["errors"]
    assert fault["code"] == "not-assigned"
    return str(fault["pointer"])


def test_an_operator_sets_up_an_assigned_machine_alone(site: Site, operator: str) -> None:
    job = new_job(site, operator)
    asked = {"machine": "compact-1t8", "attachment": "compact-bucket-400"}
    assert not_assigned(site, job, "setups", asked, operator) == "/machine"
    refused = site.set_up(job, "compact-1t8", operator).json()["errors"][0]
    assert "'compact-1t8'" in refused["found"]
    assert refused["expected"].endswith("crawler-14t")
    assert site.set_up(job, "crawler-14t", operator).status_code == 201
    assert site.ask("POST", f"/v1/jobs/{job}/moves", {}, token=operator).status_code == 201


def test_a_machine_is_refused_before_it_is_known(site: Site, operator: str) -> None:
    job = new_job(site, operator)
    assert (
        not_assigned(site, job, "setups", {"machine": "none", "attachment": "none"}, operator) == "/machine"
    )


@pytest.fixture(scope="module")
def job_of_another(site: Site, administrator: str) -> str:
    """A job that stands with the 1.8 t machine."""
    return new_job(site, administrator, "compact-1t8")


@pytest.mark.parametrize("what", BODIES)
def test_nothing_is_recorded_on_a_job_of_another_machine(
    site: Site, job_of_another: str, operator: str, what: str
) -> None:
    assert not_assigned(site, job_of_another, what, BODIES[what], operator) == ""


def test_nor_is_its_machine_changed(site: Site, job_of_another: str, operator: str) -> None:
    """A job stands with what is on it: not even an assigned machine takes its place."""
    asked = {"machine": "crawler-14t", "attachment": "tilting-1800"}
    assert not_assigned(site, job_of_another, "setups", asked, operator) == ""


def test_every_recording_route_is_tried() -> None:
    from .test_matrix import RECORDING  # noqa: PLC0415

    assert set(BODIES) | {"setups"} == set(RECORDING)


def test_a_job_of_another_machine_may_be_looked_at(
    site: Site, job_of_another: str, viewer: str, operator: str
) -> None:
    for token in (viewer, operator):
        for what in ("", "/events", "/level-book", "/targets"):
            assert site.ask("GET", f"/v1/jobs/{job_of_another}{what}", token=token).status_code == 200


def test_a_viewer_computes_and_records_nothing(site: Site, viewer: str, administrator: str) -> None:
    job = new_job(site, administrator, "crawler-14t")
    assert site.ask("POST", f"/v1/jobs/{job}/touches", TOUCH, token=administrator).status_code == 201
    told = site.ask("POST", f"/v1/jobs/{job}/readouts", {"pose": edge_at(-1.0), **LENGTH}, token=viewer)
    assert told.status_code == 200, told.text
    assert told.json()["points"]["centre"]["elevation"]["m"] == pytest.approx(100.0, abs=1e-9)
    assert site.status("POST", f"/v1/jobs/{job}/moves", {}, token=viewer) == (403, "not-allowed")


def test_assigning_takes_effect_with_the_next_request(site: Site, administrator: str, name: str) -> None:
    token = site.create(name, OPERATOR, machines=["crawler-14t"])
    job = new_job(site, administrator, "compact-1t8")
    moves = f"/v1/jobs/{job}/moves"
    assert site.status("POST", moves, {}, token=token) == (403, "not-assigned")
    site.holders.assign(name, [OPERATOR], ["compact-1t8", "crawler-14t"])
    assert site.status("POST", moves, {}, token=token) == (201, "")
    site.holders.assign(name, [OPERATOR], ["crawler-14t"])
    assert site.status("POST", moves, {}, token=token) == (403, "not-assigned")
    site.holders.assign(name, [OPERATOR], None)
    assert site.status("POST", moves, {}, token=token) == (201, "")
    site.holders.assign(name, [VIEWER], [])
    assert site.status("POST", moves, {}, token=token) == (403, "not-allowed")
    site.holders.assign(name, [ADMINISTRATOR], [])
    assert site.status("POST", moves, {}, token=token) == (201, "")
    assert site.ask("GET", "/v1/sessions/current", token=token).json()["machines"] is None


@pytest.mark.parametrize("machine", ["crawler-14t", "compact-1t8", "wheeled-16t"])
def test_all_machines(site: Site, machine: str) -> None:
    token = site.create(f"all of {machine}", OPERATOR, machines=None)
    job = new_job(site, token)
    attachment = {"compact-1t8": "compact-bucket-400"}.get(machine, "tilting-1800")
    asked = {"machine": machine, "attachment": attachment}
    assert outcome(site.ask("POST", f"/v1/jobs/{job}/setups", asked, token=token)) != (403, "not-assigned")


def test_a_repeat_is_answered_and_recorded_once(site: Site, administrator: str, name: str) -> None:
    """What was recorded while it was allowed is told again to whoever sends the same; nothing is added."""
    token = site.create(name, OPERATOR, machines=["crawler-14t"])
    job = new_job(site, administrator, "crawler-14t")
    asked: dict[str, Any] = {"headers": [("idempotency-key", "once")], "token": token}
    first = site.ask("POST", f"/v1/jobs/{job}/moves", {}, **asked)
    assert first.status_code == 201
    assert site.set_up(job, "compact-1t8", administrator).status_code == 201
    before = last_seq(site, job)
    again = site.ask("POST", f"/v1/jobs/{job}/moves", {}, **asked)
    assert (again.status_code, again.json()["seq"]) == (201, first.json()["seq"])
    assert last_seq(site, job) == before
    assert site.status("POST", f"/v1/jobs/{job}/moves", {"note": "x"}, **asked) == (
        409,
        "idempotency-conflict",
    )
    assert not_assigned(site, job, "moves", {}, token, headers=[("idempotency-key", "twice")]) == ""


def test_a_key_of_another_caller_answers_nobody_else(site: Site, operator: str, administrator: str) -> None:
    """A move that another tablet recorded under the same key must not be taken for one's own."""
    job = new_job(site, administrator, "crawler-14t")
    key = [("idempotency-key", "1")]
    moves = f"/v1/jobs/{job}/moves"
    assert site.status("POST", moves, {}, token=administrator, headers=key) == (201, "")
    before = last_seq(site, job)
    assert site.status("POST", moves, {}, token=operator, headers=key) == (409, "idempotency-conflict")
    assert last_seq(site, job) == before
    asked = {"id": f"{job}-b", "name": "A pit", "units": "m", "datum": ""}
    assert site.status("POST", "/v1/jobs", asked, token=administrator, headers=key) == (201, "")
    assert site.status("POST", "/v1/jobs", asked, token=administrator, headers=key) == (201, "")
    assert site.ask("POST", "/v1/jobs", asked, token=operator, headers=key).status_code == 409


def test_a_machine_that_would_come_back_is_assigned_too(site: Site, administrator: str, name: str) -> None:
    """A withdrawal, or an acknowledgement of one, must not put another machine back on the job."""
    token = site.create(name, OPERATOR, machines=["crawler-14t"])
    job = new_job(site, administrator, "compact-1t8")  # 3
    assert site.set_up(job, "crawler-14t", administrator).status_code == 201  # 4
    assert site.status("POST", f"/v1/jobs/{job}/seats", {}, token=token) == (201, "")  # 5
    undo = {"seq": 4, "reason": "wrong machine"}
    assert not_assigned(site, job, "withdrawals", undo, token) == ""
    assert site.ask("POST", f"/v1/jobs/{job}/withdrawals", undo, token=administrator).json()["waits"]  # 6
    assert not_assigned(site, job, "acknowledgements", {"seqs": [6]}, token) == ""
    site.holders.assign(name, [OPERATOR], ["compact-1t8", "crawler-14t"])
    assert site.status("POST", f"/v1/jobs/{job}/acknowledgements", {"seqs": [6]}, token=token) == (201, "")
    assert site.ask("GET", f"/v1/jobs/{job}", token=token).json()["machine"]["id"] == "compact-1t8"


def test_a_readout_tells_who_may_record_that_another_sits_there(
    site: Site, administrator: str, operator: str, viewer: str, builder: str
) -> None:
    job = new_job(site, administrator, "crawler-14t")
    readouts, asked = f"/v1/jobs/{job}/readouts", {"pose": edge_at(-1.0), **LENGTH}
    codes = {}
    for token in (administrator, operator, viewer, builder):
        told = site.ask("POST", readouts, asked, token=token).json()
        assert told["seat"] == "ada"
        codes[token] = [warning["code"] for warning in told["warnings"]]
    assert codes == {administrator: [], operator: ["not-at-the-seat"], viewer: [], builder: []}
    assert site.status("POST", f"/v1/jobs/{job}/seats", {}, token=operator) == (201, "")
    [warning] = site.ask("POST", readouts, asked, token=administrator).json()["warnings"]
    assert warning == {
        "code": "not-at-the-seat", "found": "'olaf' sits at the machine since entry 4",
        "expected": "the one who digs by this readout at the seat",
        "advice": "take the seat (POST seats) if it is you at the levers",
    }  # fmt: skip


def test_a_refusal_uses_up_no_key(site: Site, administrator: str, name: str) -> None:
    token = site.create(name, OPERATOR, machines=["crawler-14t"])
    job = new_job(site, administrator, "compact-1t8")
    key = [("idempotency-key", "kept")]
    assert not_assigned(site, job, "moves", {}, token, headers=key) == ""
    site.holders.assign(name, [OPERATOR], ["compact-1t8"])
    assert site.status("POST", f"/v1/jobs/{job}/moves", {}, token=token, headers=key) == (201, "")


def test_the_machine_of_the_moment_counts(site: Site, operator: str, administrator: str) -> None:
    """A setup that was written while the request waited for its turn is seen by it."""
    job = new_job(site, administrator, "crawler-14t")
    database = site.app.state.database
    begun, go_on = Event(), Event()

    def hold(_session: object) -> None:
        begun.set()
        assert go_on.wait(30)

    async def both() -> tuple[int, int]:
        import asyncio  # noqa: PLC0415

        holding = asyncio.ensure_future(asyncio.to_thread(database.write, hold))
        await asyncio.to_thread(begun.wait, 30)
        asked = {"machine": "compact-1t8", "attachment": "compact-bucket-400"}
        setup = asyncio.ensure_future(site.asking("POST", f"/v1/jobs/{job}/setups", asked, administrator))
        while database._writer._work_queue.qsize() < 1:
            await asyncio.sleep(0)
        move = asyncio.ensure_future(site.asking("POST", f"/v1/jobs/{job}/moves", {}, operator))
        while database._writer._work_queue.qsize() < 2:
            await asyncio.sleep(0)
        go_on.set()
        await holding
        return (await setup).status_code, (await move).status_code

    assert site.run(both()) == (201, 403)
    events_now = site.ask("GET", f"/v1/jobs/{job}/events", token=operator).json()["events"]
    assert [each["type"] for each in events_now][-1] == "setup-begun"


def test_who_acknowledges_a_machine_is_assigned_to_it(site: Site, administrator: str, name: str) -> None:
    """The seat may not put into effect what it may not record."""
    token = site.create(name, OPERATOR, machines=["crawler-14t"])
    job = new_job(site, administrator, "crawler-14t")
    assert site.ask("POST", f"/v1/jobs/{job}/seats", {}, token=token).status_code == 201
    assert site.set_up(job, "compact-1t8", administrator).status_code == 201
    [waits] = site.ask("GET", f"/v1/jobs/{job}", token=token).json()["waiting"]
    asked = {"seqs": [waits["seq"]]}
    assert not_assigned(site, job, "acknowledgements", asked, token) == "/seqs/0"
    site.holders.assign(name, [OPERATOR], ["compact-1t8", "crawler-14t"])
    assert site.status("POST", f"/v1/jobs/{job}/acknowledgements", asked, token=token) == (201, "")


def test_the_actor_is_who_asked(site: Site, operator: str, administrator: str) -> None:
    job = new_job(site, operator)
    assert site.set_up(job, "crawler-14t", administrator).status_code == 201
    told = site.ask("GET", f"/v1/jobs/{job}/events", token=operator).json()["events"]
    assert [each["actor"] for each in told] == ["olaf", "olaf", "ada"]
