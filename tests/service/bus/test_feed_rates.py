"""What a feed says of its rates, by a clock that stands at what the test sets: nothing waits."""

from collections.abc import Mapping, Sequence
from typing import Any

from service.bus.feed import NEW_MAP, Feeding
from service.bus.reading import Reading

HINT = NEW_MAP.format(job="pit")


class Clock:
    """A feeder and a source in one: 50 readings a second from second 20 until second 65."""

    connected = True
    latencies_s: Mapping[str, float] = {}
    dropped = 0

    def __init__(self) -> None:
        self.now = 0.0

    def clock(self) -> float:
        return self.now

    def send(self, readings: Sequence[Mapping[str, Any]]) -> bool:
        return bool(readings)

    def take(self, within_s: float) -> list[Reading]:
        self.now = round(self.now + within_s, 3)
        told = range(5) if 20.0 < self.now <= 65.0 else ()
        return [Reading(self.now - 0.02 * i, {"sensor": "boom", "deg": 1.0}) for i in reversed(told)]

    def clear(self) -> int:
        return 0

    def tell(self, _: float) -> list[Any]:
        return []

    def over(self) -> bool:
        return False


def words_of(hint: str) -> list[str]:
    rig = Clock()
    words: list[str] = []
    Feeding(rig, rig, words.append, seconds=95.0, hint=hint).run()  # type: ignore[arg-type]
    return words


def test_the_time_before_the_first_frame_is_in_no_rate() -> None:
    rates = [words for words in words_of("") if "boom" in words]
    # Ten of the first thirty seconds, all of the next.
    assert [words.split()[-1] for words in rates] == ["50/s", "50/s", "8/s"]


def test_a_new_map_is_spoken_of_once() -> None:
    words = words_of(HINT)
    assert words.count(HINT) == 1
    assert words[1] == HINT, "after the first rates"
    assert "tipdatum fit --job pit" in HINT
    assert words_of("")[1] != HINT
