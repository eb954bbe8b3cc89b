"""Replaying a log gives the state that was reached by recording it, through JSON and back, withdrawals included."""

from collections.abc import Callable
from datetime import UTC, datetime

from hypothesis import given, settings
from hypothesis import strategies as st

from kinematics.errors import Refused
from service.book import decide
from service.book import payloads as p
from service.book import requests as q
from service.book.state import Entry, JobState, extend, fold
from service.store.canonical import canonical_json, read_canonical
from tests.amounts import several

NOON = datetime(2026, 5, 4, 12, tzinfo=UTC)
POSE = p.PoseRecord(joints_deg={}, pitch_deg=0.0, roll_deg=0.0)

heights = st.floats(-6.0, 6.0).map(lambda z: round(z, 3))
points = st.sampled_from(["slab", "kerb", "stone"])
recent = st.integers(0, 6)

Act = Callable[[JobState, int], p.Payload]


def touch(point: str, height: float, *, check: bool) -> Act:
    def act(state: JobState, seq: int) -> p.Payload:
        book, outcome = state.book.touched(seq, point, height, check=check)
        return p.Touched(
            point=point, purpose="check" if check else "reference", edge_point="centre", pose=POSE,
            edge_height_m=height, role=outcome.role, elevation_m=outcome.elevation, misclosure_m=outcome.misclosure,
            gives_plane=book.plane != state.book.plane, hangs_on=tuple(sorted(outcome.hangs_on)),
        )  # fmt: skip

    return act


def strike(height: float, *, taken: bool) -> Act:
    def act(state: JobState, seq: int) -> p.Payload:
        _, outcome = state.book.struck_by_laser(seq, height, None)
        return p.Struck(
            poses=(), receiver_height_m=height, half_difference_m=None, vertical_speed_mm_s=0.0, mast_deg=0.0,
            tilt_spread_deg=0.0, steady_s=2.0, along_fall_m=None, taken=taken, because=(),
            role=outcome.role if taken else "turned down", elevation_m=outcome.elevation if taken else None,
            misclosure_m=outcome.misclosure if taken else None,
            hangs_on=tuple(sorted(outcome.hangs_on)) if taken else (),
        )  # fmt: skip

    return act


def turning_point(name: str, height: float) -> Act:
    def act(state: JobState, seq: int) -> p.Payload:
        book, outcome = state.book.turning_point(seq, name, height)
        return p.TurningPointTaken(
            name=name, edge_point="centre", pose=POSE, edge_height_m=height,
            elevation_m=book.points[name].elevation, hangs_on=tuple(sorted(outcome.hangs_on)),
        )  # fmt: skip

    return act


def benchmark(name: str, elevation: float) -> Act:
    asked = q.BenchmarkIn(name=name, elevation=elevation, uncertainty=0.002, units="m")
    return lambda state, _seq: decide.benchmark(state, asked)


def withdrawal(back: int) -> Act:
    def act(state: JobState, seq: int) -> p.Payload:
        return decide.withdrawal(state, q.WithdrawalIn(seq=max(2, seq - 1 - back), reason="drawn by lot"))

    return act


def plain(payload: p.Payload) -> Act:
    return lambda _state, _seq: payload


SETUP = p.SetupBegun(machine="m", machine_hash="0" * 64, attachment="a", attachment_hash="1" * 64)
acts = st.one_of(
    st.builds(touch, points, heights, check=st.booleans()),
    st.builds(strike, heights, taken=st.booleans()),
    st.builds(turning_point, points, heights),
    st.builds(benchmark, points, heights),
    st.builds(withdrawal, recent),
    st.sampled_from(
        [p.Moved(), p.Swung(), SETUP, p.LaserSetUp(revolutions_per_s=10.0, fall_percent=0.0)]
    ).map(plain),
)


def entry(seq: int, payload: p.Payload) -> Entry:
    return Entry(seq, p.NAMES[type(payload)], payload, f"uuid-{seq}", "test", NOON, NOON)


def through_json(e: Entry) -> Entry:
    """The entry as it comes back from disk."""
    text = canonical_json(e.payload.model_dump(mode="json"))
    return entry(e.seq, p.read_payload(e.type, p.VERSION, read_canonical(text)))


@given(st.lists(acts, min_size=5, max_size=40))
@settings(deadline=None, max_examples=several(200))
def test_replay_gives_the_same_state(drawn: list[Act]) -> None:
    opened = [
        p.JobOpened(name="lot", units="m", datum="", rules=p.Rules()), SETUP,
        p.LaserSetUp(revolutions_per_s=10.0, fall_percent=0.0),
        p.BenchmarkDeclared(name="slab", elevation_m=100.0, entered="100.0 m"),
    ]  # fmt: skip
    state = fold([entry(i + 1, payload) for i, payload in enumerate(opened)])
    for act in drawn:
        try:
            payload = act(state, state.seq + 1)
        except Refused:
            continue
        state = extend(state, [entry(state.seq + 1, payload)])
        assert state == fold(state.entries)
    assert fold([through_json(e) for e in state.entries]) == state
