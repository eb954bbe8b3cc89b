"""The search behind synthesis, on problems whose answers are known."""

import numpy as np
import pytest
from numpy.typing import NDArray

from kinematics.search import Judge, SearchState, search, unbettered

from .rows import refusal

Floats = NDArray[np.float64]


def schaffer(x: Floats) -> tuple[Floats, Floats]:
    """J. D. Schaffer, "Multiple objective optimization with vector evaluated genetic algorithms" (1985): x^2, (x -
    2)^2."""
    return np.stack([x[:, 0] ** 2, (x[:, 0] - 2.0) ** 2], axis=1), np.zeros(len(x))


def rosenbrock(x: Floats) -> tuple[Floats, Floats]:
    """H. H. Rosenbrock, The Computer Journal 3 (1960): least at (1, 1)."""
    value = 100.0 * (x[:, 1] - x[:, 0] ** 2) ** 2 + (1.0 - x[:, 0]) ** 2
    return value[:, None], np.zeros(len(x))


def test_one_goal() -> None:
    found = search(rosenbrock, [-2.0, -2.0], [2.0, 2.0], 1, seed=1, generations=300)
    assert found.numbers.shape == (1, 2)
    assert np.abs(found.numbers[0] - 1.0).max() <= 1e-3
    assert found.whole


def test_the_front_of_two() -> None:
    found = search(schaffer, [-10.0], [10.0], 2, seed=1)
    x = found.numbers[:, 0]
    assert (np.diff(found.goals[:, 0]) > 0.0).all()
    assert (np.diff(found.goals[:, 1]) < 0.0).all()
    assert -1e-3 <= x.min() <= 1e-2
    assert 1.99 <= x.max() <= 2.001
    assert np.diff(x).max() <= 0.2  # no gap wider than a tenth of the front
    # The published front: sqrt(f2) = 2 - sqrt(f1).
    assert np.abs(np.sqrt(found.goals[:, 1]) - (2.0 - np.sqrt(found.goals[:, 0]))).max() <= 1e-6


def test_what_must_be_kept_to() -> None:
    def judge(x: Floats) -> tuple[Floats, Floats]:
        return schaffer(x)[0], np.maximum(x[:, 0] - 1.0, 0.0)

    found = search(judge, [-10.0], [10.0], 2, seed=1)
    assert found.numbers.max() <= 1.0
    assert found.numbers.max() >= 0.99
    assert 0 < found.kept < found.looked_at


def test_the_seed_decides() -> None:
    one, same, other = (search(schaffer, [-10.0], [10.0], 2, seed=seed, generations=5) for seed in (1, 1, 2))
    assert np.array_equal(one.numbers, same.numbers)
    assert not np.array_equal(one.numbers, other.numbers)


def test_ended_early_keeps_what_was_found() -> None:
    found = search(schaffer, [-10.0], [10.0], 2, seed=1, tell=lambda done, _of: done < 3)
    assert not found.whole
    assert len(found.numbers) > 1


def test_a_single_search_is_ended_between_generations() -> None:
    asked = iter(range(1000))
    found = search(
        rosenbrock, [-2.0, -2.0], [2.0, 2.0], 1, seed=1, generations=300, tell=lambda _d, _o: next(asked) < 3
    )
    assert not found.whole
    assert found.looked_at <= 5 * 64


def test_ended_before_anything_was_found_is_said() -> None:
    refused = refusal(lambda: search(schaffer, [0.0], [1.0], 2, seed=1, tell=lambda _done, _of: False))
    assert (refused.code, refused.faults[0].advice) == ("nothing-found", "let it go on")


def test_nothing_found() -> None:
    def judge(x: Floats) -> tuple[Floats, Floats]:
        return schaffer(x)[0], np.ones(len(x))

    assert refusal(lambda: search(judge, [0.0], [1.0], 2, seed=1, generations=2)).code == "nothing-found"


@pytest.mark.parametrize("more", [{"generations": 0}, {"candidates": 1}])
def test_out_of_range(more: dict[str, int]) -> None:
    assert refusal(lambda: search(schaffer, [0.0], [1.0], 2, seed=1, **more)).code == "out-of-range"  # type: ignore[arg-type]
    assert refusal(lambda: search(schaffer, [1.0], [1.0], 3, seed=1)).code == "out-of-range"


@pytest.mark.parametrize(("judge", "goals"), [(schaffer, 2), (rosenbrock, 1)])
def test_taken_up_after_any_generation_it_comes_to_the_same(judge: Judge, goals: int) -> None:
    low, high = ([-10.0], [10.0]) if goals == 2 else ([-2.0, -2.0], [2.0, 2.0])
    states: list[SearchState] = []
    whole = search(judge, low, high, goals, seed=3, generations=6, candidates=16, keep=states.append)
    for state in states[:: max(1, len(states) // 9)] + states[-1:]:
        told: list[int] = []
        again = search(judge, low, high, goals, seed=3, generations=6, candidates=16, state=state,
                       tell=lambda done, _of, told=told: told.append(done) is None)  # type: ignore[misc]  # fmt: skip
        assert np.array_equal(again.numbers, whole.numbers)
        assert np.array_equal(again.goals, whole.goals)
        assert (again.looked_at, again.kept, again.whole) == (whole.looked_at, whole.kept, True)
        assert min(told) == state.number  # nothing that was done is done again


def test_unbettered() -> None:
    goals = np.array([[2.0, 2.0], [0.0, 4.0], [1.0, 1.0], [1.0, 1.0], [0.0, 5.0], [3.0, 0.5]])
    assert unbettered(goals).tolist() == [1, 2, 5]
    assert unbettered(goals[:, :1]).tolist() == [1]
