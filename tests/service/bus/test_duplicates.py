"""Two units at one address: seen within bounds, and never where there is one."""

import math
import random
from collections.abc import Callable

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kinematics.units import Quantity
from service.bus.duplicates import LEAST, NAMES_PGN, Claims, Jumping, Jumps
from service.bus.framing import apart
from tests.amounts import several

Motion = Callable[[float], float]
SECONDS = 12.0
PERIOD_S = 0.01
# Of two units at 100 frames/s each; 24 frames to see it and 56 more to be sure are 0.4 s of 200 frames/s.
SURE_WITHIN_S = 0.6


def comb(
    period: float, phase: float, motion: Motion, rng: random.Random, jitter: float = 2e-4
) -> list[tuple[float, float]]:
    """(time, value) of one unit; its frames wait for the bus, a fraction of a millisecond each."""
    times = (phase + i * period + rng.uniform(0.0, jitter) for i in range(int(SECONDS / period)))
    return [(t, motion(t)) for t in times]


def watched(
    said: list[tuple[float, float]],
    noise: float = 0.03,
    seed: int = 1,
    period: float | None = PERIOD_S,
    step: float = 0.0,
) -> tuple[Jumps | None, Jumps | None]:
    """The first that jumped at all, the first that is two units."""
    rng = chance(seed)
    jumping = Jumping(math.degrees(LEAST[Quantity.ANGLE]), step, 360.0, period)
    jumped = None
    for t, value in sorted(said):
        found = jumping.take(t, value + rng.gauss(0.0, noise))
        jumped = jumped or found
        if found is not None and found.two:
            return jumped, found
    return jumped, None


def chance(seed: int) -> random.Random:
    return random.Random(seed)  # noqa: S311 - no secret hangs on it


def still(value: float) -> Motion:
    return lambda _: value


def digging(t: float) -> float:
    return 30.0 * math.sin(1.5 * t)


@pytest.mark.parametrize("phase", [0.15, 0.3, 0.42, 0.7, 0.9])
@pytest.mark.parametrize(
    ("one", "other", "within_s"),
    [
        (still(10.0), still(35.0), SURE_WITHIN_S), (still(10.0), still(10.6), SURE_WITHIN_S),
        (digging, still(5.0), 2.0),  # it swings through the other, and agrees with it for a moment
        (digging, lambda t: digging(t) + 20.0 + 3.0 * math.cos(t), SURE_WITHIN_S),
        (still(179.9), still(-150.0), SURE_WITHIN_S),
    ],
    ids=["still", "nearly alike", "one moves", "both move", "across the turn"],
)  # fmt: skip
def test_two_units_of_one_rate_are_seen(one: Motion, other: Motion, within_s: float, phase: float) -> None:
    rng = chance(7)
    said = [*comb(PERIOD_S, 0.0, one, rng), *comb(PERIOD_S, phase * PERIOD_S, other, rng)]
    _, two = watched(said, period=None)
    assert two is not None
    assert two.at_s <= within_s


def test_two_units_exactly_between_each_other_are_seen_by_the_rate() -> None:
    """No phase tells them then; twice the rate that SSI2 has does, after a second."""
    rng = chance(7)
    said = [*comb(PERIOD_S, 0.0, still(10.0), rng), *comb(PERIOD_S, 0.5 * PERIOD_S, still(35.0), rng)]
    jumped, two = watched(said)
    assert jumped is not None
    assert two is not None
    assert two.at_s < 1.3
    assert two.two.endswith("in place of 100")
    assert sorted(two.levels) == pytest.approx([10.0, 35.0], abs=0.2)


@pytest.mark.parametrize(("other", "within_s"), [(0.02, 1.0), (0.033, 1.2), (0.05, 1.3), (0.1, 1.5)])
def test_unlike_rates(other: float, within_s: float) -> None:
    rng = chance(3)
    said = [*comb(PERIOD_S, 0.0, still(10.0), rng), *comb(other, 0.0037, still(35.0), rng)]
    _, two = watched(said, period=None)
    assert two is not None
    assert two.at_s < within_s


def test_clocks_that_drift_past_each_other() -> None:
    """Half a percent apart, far more than crystals: they pass every two seconds, and change places."""
    rng = chance(3)
    said = [*comb(PERIOD_S, 0.0, still(10.0), rng), *comb(1.005 * PERIOD_S, 0.003, still(35.0), rng)]
    _, two = watched(said, period=None)
    assert two is not None
    assert two.at_s < 2.5


def test_a_second_unit_that_joins_later() -> None:
    rng = chance(3)
    late = [(t + 6.0, v) for t, v in comb(PERIOD_S, 0.0032, still(35.0), rng)]
    said = [*comb(PERIOD_S, 0.0, digging, rng), *late]
    _, two = watched(said, period=None)
    assert two is not None
    assert 6.0 < two.at_s < 6.0 + SURE_WITHIN_S


# One good unit, whatever shakes it.

PERIODS = st.sampled_from([0.005, 0.01, 0.02, 0.05])


@settings(max_examples=several(60), deadline=None)
@given(
    period=PERIODS,
    known=st.booleans(),
    # The worst there is: vibration in step with the sampling.
    part=st.one_of(st.sampled_from([1 / 2, 1 / 3, 1 / 4, 1.0, 1.5, 0.499, 0.5003]), st.floats(0.01, 2.0)),
    amplitude=st.floats(0.0, 40.0),
    turned=st.floats(0.0, 2.0 * math.pi),
    noise=st.sampled_from([0.0, 0.01, 0.2, 3.0]),
    jitter=st.sampled_from([0.0, 0.01, 0.1, 0.3]),
    bunch=st.sampled_from([0, 0, 2, 3, 7]),
    swing=st.floats(0.0, 60.0),
    seed=st.integers(0, 999),
)  # fmt: skip
def test_one_unit_is_never_two(
    *, period: float, known: bool, part: float, amplitude: float, turned: float, noise: float, jitter: float, bunch: int,
    swing: float, seed: int,
) -> None:  # fmt: skip
    """Motion, noise, vibration, times that jitter, an adapter that hands frames on in bunches."""
    rng = chance(seed)
    shaken = 2.0 * math.pi * part / period

    def motion(t: float) -> float:
        return amplitude * math.sin(shaken * t + turned) + swing * math.sin(1.1 * t)

    said = comb(period, 0.0, motion, rng, jitter * period)
    if bunch:
        every = bunch * period
        said = [
            (math.ceil(t / every) * every + 2e-4 * (i % bunch), value)
            for i, (t, value) in enumerate(sorted(said))
        ]
    _, two = watched(said, noise, seed, period if known else None)
    assert two is None, two


@settings(max_examples=several(40), deadline=None)
@given(
    values=st.lists(st.floats(-180.0, 180.0), min_size=2, max_size=9),
    period=PERIODS,
    seed=st.integers(0, 999),
)
def test_what_repeats_from_an_even_clock_is_never_two(values: list[float], period: float, seed: int) -> None:
    """Content that alternates by design, in any pattern."""
    rng = chance(seed)
    said = [
        (t, values[i % len(values)])
        for i, (t, _) in enumerate(comb(period, 0.0, digging, rng, 0.05 * period))
    ]
    _, two = watched(said, 0.0, seed, period)
    assert two is None, two


@pytest.mark.parametrize("noise", [0.001, 0.05, 0.5, 5.0])
def test_noise_alone_does_not_even_jump(noise: float) -> None:
    for seed in range(5):
        rng = chance(seed)
        jumped, two = watched(comb(PERIOD_S, 0.0, digging, rng), noise, seed)
        assert (jumped, two) == (None, None)


def test_a_value_at_the_turn_and_one_between_two_codes_do_not_jump() -> None:
    rng = chance(5)
    assert watched(comb(PERIOD_S, 0.0, still(179.99), rng), 0.05) == (None, None)
    coarse = [(t, float(i % 2)) for i, (t, _) in enumerate(comb(PERIOD_S, 0.0, digging, rng))]
    assert watched(coarse, 0.0, step=1.0) == (None, None)


# Names.


def name(identity: int, function: int = 0) -> bytes:
    return (identity | 100 << 21 | function << 40 | 1 << 63).to_bytes(8, "little")


def test_two_names_on_one_address_are_a_conflict_until_one_moves() -> None:
    claims = Claims()
    assert claims.take(0xA2, name(1), 0.0)
    assert claims.take(0xA2, name(1), 1.0), "the same again is none"
    assert claims.conflicts() == {}
    claims.take(0xA2, name(2), 2.0)
    assert [each.parts["identity"] for each in claims.conflicts()[0xA2]] == [1, 2]
    claims.take(0xA3, name(2), 3.0)
    assert claims.conflicts() == {}
    assert [each.name for each in claims.of(0xA3)] == [int.from_bytes(name(2), "little")]


def test_one_that_found_no_address_has_left() -> None:
    claims = Claims()
    claims.take(0xA2, name(1), 0.0)
    claims.take(0xA2, name(2), 0.0)
    claims.take(254, name(2), 0.1)
    assert claims.conflicts() == {}
    assert claims.of(254) == ()


def test_a_claim_of_another_length_is_none() -> None:
    assert not Claims().take(0xA2, b"\1\2\3", 0.0)


def test_the_fields_of_a_name() -> None:
    """Packed here by hand, lowest bits first (J1939-81, from memory)."""
    claims = Claims()
    packed = 0x12345 | 0x2A5 << 21 | 3 << 32 | 9 << 35 | 131 << 40 | 5 << 49 | 2 << 56 | 3 << 60 | 1 << 63
    claims.take(7, packed.to_bytes(8, "little"), 0.0)
    assert claims.of(7)[0].parts == {
        "identity": 0x12345, "manufacturer": 0x2A5, "function": 131, "function_instance": 9, "vehicle_system": 5,
        "industry_group": 3, "may_move": 1,
    }  # fmt: skip
    assert apart(0x18EEFFA2) == (NAMES_PGN, 0xA2)
