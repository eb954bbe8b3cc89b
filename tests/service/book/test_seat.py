"""The seat at the level of the fold: two people record in any order, and nothing changes under the one who digs."""

from collections.abc import Callable
from dataclasses import replace
from functools import cache

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kinematics.assembly import Assembly, assemble
from kinematics.errors import Refused
from kinematics.machine import Attachment, Machine
from kinematics.units import LengthUnit
from machine_profiles import shipped
from service.book import decide, seat
from service.book import payloads as p
from service.book import requests as q
from service.book.seen import taken_since
from service.book.state import Entry, JobState, acknowledged, extend, fold, places, steps, taking_effect
from service.store.canonical import canonical_json, read_canonical
from tests.amounts import several

from .test_fold import NOON, SETUP, Act, benchmark, plain, strike, touch, turning_point

ANNA, OFFICE = "anna", "office"
AT_THE_SEAT = "whoever sits there"
Deed = tuple[str, Act]


@cache
def crawler() -> Assembly:
    carrier = shipped()["machine", "crawler-14t"].geometry
    tool = shipped()["attachment", "tilting-1800"].geometry
    assert isinstance(carrier, Machine)
    assert isinstance(tool, Attachment)
    return assemble(carrier, tool)


def fit(state: JobState) -> Assembly:
    state.book.needs_setup()
    return crawler()


def entry(seq: int, payload: p.Payload, actor: str = ANNA) -> Entry:
    return Entry(seq, p.NAMES[type(payload)], payload, f"uuid-{seq}", actor, NOON, NOON)


def recorded(state: JobState, actor: str, act: Act) -> JobState:
    """As the keeper records."""
    seq = state.seq + 1
    return extend(state, [entry(seq, seat.weighed(state, act(state, seq), actor), actor)])


def target(name: str, thickness: float, actor: str, point: str = "slab") -> Act:
    asked = q.TargetIn(
        name=name, benchmark=point, layers=[q.LayerIn(name="all", thickness=thickness)], overdig=0.0, tolerance=0.03,
        units="m",
    )  # fmt: skip
    return lambda state, _seq: decide.target(state, asked, seat.names_taken(state, actor))


def withdrawal(back: int) -> Act:
    def act(state: JobState, seq: int) -> p.Payload:
        return decide.withdrawal(state, q.WithdrawalIn(seq=max(2, seq - 1 - back), reason="drawn by lot"))

    return act


def acknowledgement(seqs: Callable[[JobState], list[int]]) -> Act:
    def act(state: JobState, _seq: int) -> p.Payload:
        asked = seqs(state)
        if not asked or state.seat is None:
            raise Refused([])
        return seat.acknowledgement(state, q.AcknowledgementIn(seqs=asked), state.seat, fit)

    return act


def picked(order: list[int]) -> Callable[[JobState], list[int]]:
    return lambda state: list(dict.fromkeys(state.waiting[i] for i in order if i < len(state.waiting)))


RULES = p.RulesSet(rules=p.Rules(surprise_mm=20.0))
ESTIMATES = p.EstimatesSet(estimates=p.Estimates(contact_mm=5.0))
CHANGE = p.AttachmentChanged(attachment="b", attachment_hash="2" * 64)
CLAMP = p.ReceiverClamped(place_m=(0.7, 0.18, 0.26))
OPENED: list[p.Payload] = [
    p.JobOpened(name="lot", units="m", datum="", rules=p.Rules()), SETUP,
    p.LaserSetUp(revolutions_per_s=10.0, fall_percent=0.0),
    p.BenchmarkDeclared(name="slab", elevation_m=100.0, entered="100.0 m"),
]  # fmt: skip

heights = st.floats(-6.0, 6.0).map(lambda z: round(z, 3))
points = st.sampled_from(["slab", "kerb", "stone"])
names = st.sampled_from(["footing", "sump"])
actors = st.sampled_from([ANNA, OFFICE])


def held(actor: str) -> st.SearchStrategy[Act]:
    """What waits if the other does it, and the undoing of what was just recorded."""
    return st.one_of(
        st.builds(target, names, heights, st.just(actor), points),
        st.builds(withdrawal, st.integers(0, 5)),
        st.sampled_from([SETUP, RULES, ESTIMATES, CHANGE, CLAMP]).map(plain),
    )


@st.composite
def deeds(draw: st.DrawFn) -> Deed:
    actor = draw(actors)
    kind = draw(st.integers(0, 9))
    if kind < 4:
        return actor, draw(held(actor))
    if kind < 7:
        order = st.lists(st.integers(0, 3), min_size=1, max_size=4)
        return AT_THE_SEAT, draw(st.builds(acknowledgement, st.builds(picked, order)))
    return actor, draw(st.one_of(
        st.builds(touch, points, heights, check=st.booleans()),
        st.builds(strike, heights, taken=st.booleans()),
        st.builds(turning_point, points, heights),
        st.builds(benchmark, points, heights),
        st.builds(withdrawal, st.integers(0, 8)),
        st.sampled_from([p.Moved(), p.Swung(), p.SeatTaken()]).map(plain),
    ))  # fmt: skip


logs = st.lists(deeds(), min_size=10, max_size=40)


def opened() -> JobState:
    return fold([entry(i + 1, payload) for i, payload in enumerate(OPENED)])


def told(state: JobState) -> JobState:
    """What a readout, a strike or a touch goes by: all but the log itself."""
    return replace(state, entries=(), void=frozenset(), waiting=())


def recorded_or_not(state: JobState, deed: Deed) -> JobState:
    actor, act = deed
    try:
        return recorded(state, state.seat or ANNA if actor == AT_THE_SEAT else actor, act)
    except Refused:
        return state


def at_the_seat(state: JobState) -> list[Entry]:
    """The same log as if the seat had recorded each change itself at the moment of acknowledging it."""
    placed = places(state.entries)
    acting = [each for e in state.entries for each in taking_effect(e, state.entries) if each.seq in placed]
    return [
        replace(each, payload=each.payload.model_copy(update={"waits": False})) for each in acting
        if not isinstance(each.payload, p.Acknowledged)
    ]  # fmt: skip


def from_disk(e: Entry) -> Entry:
    text = canonical_json(e.payload.model_dump(mode="json"))
    return replace(e, payload=p.read_payload(e.type, p.VERSION, read_canonical(text)))


@given(logs)
@settings(deadline=None, max_examples=several(150))
def test_an_acknowledged_change_is_one_that_the_seat_made_there(drawn: list[Deed]) -> None:
    state = opened()
    for deed in drawn:
        before, state = state, recorded_or_not(state, deed)
        assert state == fold(state.entries), "kept in memory as read from disk"
        assert state.units is LengthUnit.M
        assert (state.seat is None) == (state.machine is None), "no machine, no seat"
        if state.seq > before.seq and state.entries[-1].payload.waits:
            assert deed[0] != before.seat
            assert told(state) == told(before), "nothing changes while it waits"
            assert state.waiting == (*before.waiting, state.seq)
            assert state.void == before.void
    assert set(state.waiting) == {
        e.seq
        for e in state.entries
        if e.payload.waits and e.seq not in state.void | set(acknowledged(state.entries))
    }
    plain_log = at_the_seat(state)
    as_made = fold(plain_log)
    assert told(as_made) == told(state)
    assert as_made.void == {seq for seq in state.void if seq in {e.seq for e in plain_log}}
    assert fold([from_disk(e) for e in state.entries]) == state


@given(logs)
@settings(deadline=None, max_examples=several(100))
def test_the_other_changes_nothing_that_is_held(drawn: list[Deed]) -> None:
    """Whatever the office does, targets, profiles, receiver and rules are what the seat last saw; it may read on."""
    state = opened()
    for deed in drawn:
        before, state = state, recorded_or_not(state, deed)
        taken = state.seq > before.seq and state.entries[-1].type == "seat-taken"
        if deed[0] != AT_THE_SEAT and seat.is_away(before, deed[0]) and not taken:
            for field in ("targets", "machine", "attachment", "receiver_place", "rules", "estimates", "seat"):
                assert getattr(state, field) == getattr(before, field), field
            if state.seq > before.seq and state.entries[-1].type == "withdrawn":
                assert told(state) == told(before), "it undoes nothing, whatever it names"


@given(logs)
@settings(deadline=None, max_examples=several(100))
def test_alone_at_the_seat_nothing_waits(drawn: list[Deed]) -> None:
    state = opened()
    for _, act in drawn:
        state = recorded_or_not(state, (ANNA, act))
    assert not any(e.payload.waits for e in state.entries)
    assert state.waiting == ()
    assert state.seat in {None, ANNA}


@given(logs)
@settings(deadline=None, max_examples=several(100))
def test_what_waits_can_be_declined_or_acknowledged_until_nothing_waits(drawn: list[Deed]) -> None:
    state = opened()
    for deed in drawn:
        state = recorded_or_not(state, deed)
    if state.seat is None:
        state = recorded(state, ANNA, plain(SETUP))
    assert state.seat is not None
    before = told(state)
    declined = state
    while declined.waiting:
        declined = recorded(declined, state.seat, _declining(declined.waiting[0]))
    assert told(declined) == before, "declining changes nothing but the list"
    while state.waiting:
        first = state.waiting[0]
        after = recorded_or_not(state, (AT_THE_SEAT, acknowledgement(lambda s: [s.waiting[0]])))
        if after is state:
            after = recorded(state, state.seat, _declining(first))
        assert first not in after.waiting
        state = after
    assert state == fold(state.entries)


def _declining(seq: int) -> Act:
    return lambda state, _seq: decide.withdrawal(state, q.WithdrawalIn(seq=seq, reason="no"))


def test_a_log_of_version_1_reads_as_it_did() -> None:
    rows = [payload.model_dump(mode="json", exclude={"waits"}) for payload in OPENED]
    state = fold([
        entry(i + 1, p.read_payload(p.NAMES[type(payload)], 1, row))
        for i, (payload, row) in enumerate(zip(OPENED, rows, strict=True))
    ])  # fmt: skip
    assert state == opened()
    assert state.seat == ANNA
    assert {(name, version) for name in p.TYPES for version in range(1, p.VERSION)} == set(p.UPCASTS)


def test_a_payload_of_a_later_version_is_not_guessed() -> None:
    with pytest.raises(p.EventFromTheFutureError):
        p.read_payload("moved", p.VERSION + 1, {})


def test_the_seat_that_acknowledged_a_setup_keeps_it() -> None:
    """The first setup may be withdrawn after another's was acknowledged: that gives nobody else the seat."""
    state = opened()
    state = recorded(state, OFFICE, plain(SETUP))  # 5
    state = recorded(state, ANNA, acknowledgement(lambda _: [5]))  # 6
    state = recorded(state, ANNA, _declining(2))  # 7
    assert state.book.setup == 1
    assert state.seat == ANNA


def test_without_a_setup_nobody_sits_there() -> None:
    state = recorded(opened(), ANNA, _declining(2))
    assert state.seat is None
    state = recorded(state, OFFICE, target("footing", 1.0, OFFICE))
    assert list(state.targets) == ["footing"]
    with pytest.raises(Refused) as refused:
        recorded(state, OFFICE, lambda s, _: seat.take(s, q.SeatIn()))
    assert refused.value.code == "no-setup"
    assert recorded(state, OFFICE, plain(SETUP)).seat == OFFICE


def test_a_withdrawal_waits_whatever_it_names() -> None:
    """A benchmark takes its targets with it, an undone withdrawal brings them back, an undone move the height."""
    state = recorded(opened(), ANNA, target("footing", 1.0, ANNA))  # 5
    state = recorded(state, OFFICE, _declining(4))  # 6: the slab
    assert state.waiting == (6,)
    state = recorded(state, ANNA, _declining(6))  # 7
    state = recorded(state, ANNA, _declining(5))  # 8
    state = recorded(state, OFFICE, _declining(8))  # 9: would bring the target back
    assert state.waiting == (9,)
    assert not state.targets
    state = recorded(state, ANNA, acknowledgement(lambda _: [9]))  # 10
    assert list(state.targets) == ["footing"]
    state = recorded(state, OFFICE, touch("slab", -1.6, check=False))  # 11
    state = recorded(state, OFFICE, _declining(11))  # 12: a reading, its own
    state = recorded(state, OFFICE, plain(p.Moved()))  # 13
    state = recorded(state, OFFICE, _declining(13))  # 14
    assert state.waiting == (12, 14)
    assert state.book.height is None
    assert state.void == {8, 6}
    state = recorded(state, OFFICE, _declining(14))  # 15: declining alone counts at once
    assert state.waiting == (12,)
    assert state.void == {8, 6, 14}


def test_an_undone_declining_waits_again() -> None:
    state = recorded(opened(), OFFICE, plain(SETUP))  # 5
    state = recorded(state, ANNA, _declining(5))  # 6
    state = recorded(state, ANNA, touch("slab", -1.6, check=False))  # 7: rests on no declining
    state = recorded(state, OFFICE, _declining(6))  # 8
    assert state.waiting == (8,)
    state = recorded(state, ANNA, acknowledgement(lambda _: [8]))  # 9
    assert state.waiting == (5,)
    again = recorded(state, ANNA, _declining(8))  # 10: no more than a declining undone
    assert again.waiting == ()
    state = recorded(state, ANNA, acknowledgement(lambda _: [5]))  # 10
    assert (state.book.setup, state.book.height) == (2, None)
    with pytest.raises(Refused):
        recorded(state, ANNA, _declining(8))  # would take back the setup unseen


@given(logs)
@settings(deadline=None, max_examples=several(100))
def test_the_entry_that_gave_the_seat(drawn: list[Deed]) -> None:
    state = opened()
    for deed in drawn:
        state = recorded_or_not(state, deed)
    who, given_by = None, 0
    for each, then in steps(state.entries):
        if then.seat != who:
            who, given_by = then.seat, each.seq
    assert seat.since(state) == given_by


def test_a_reading_is_not_older_than_the_acknowledgement() -> None:
    state = recorded(opened(), OFFICE, plain(SETUP))  # 5
    between, later_on = NOON.replace(minute=1), NOON.replace(minute=5)
    later = replace(entry(5, state.entries[-1].payload, OFFICE), observed_utc=NOON.replace(minute=2))
    state = fold((*state.entries[:-1], later))
    taken_since(state, between, later_on)
    made = seat.acknowledgement(state, q.AcknowledgementIn(seqs=[5]), ANNA, fit)
    state = extend(state, [replace(entry(6, made), observed_utc=NOON.replace(minute=3))])
    with pytest.raises(Refused) as refused:
        taken_since(state, between, later_on)
    assert refused.value.code == "observed-before"
    taken_since(state, NOON.replace(minute=4), later_on)
