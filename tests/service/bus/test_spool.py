"""What waits outlives its process, is bounded, and belongs to one feed of one boot."""

import sqlite3
from pathlib import Path
from typing import Any

import pytest

from kinematics.errors import Refused
from service.bus.spool import TRY_EVERY_S, Spool
from tests.service.disks import no_file_beyond


def spool(folder: Path, *, feed: str = "pit by cab", boot: str = "b1", **more: Any) -> Spool:
    return Spool(folder / "spool.sqlite", feed, boot=boot, **more)


def put(into: Spool, *numbers: int, at_s: float = 0.0) -> None:
    for number in numbers:
        assert into.put(at_s, 1, f"[{number}]")


def bodies(of: Spool) -> list[str]:
    stream, first = of.next
    return [each.body for each in of.after(stream, first - 1, 1000)]


def test_what_was_not_taken_is_there_after_the_process_and_goes_on_in_its_stream(tmp_path: Path) -> None:
    first = spool(tmp_path)
    put(first, 1, 2, 3)
    [gone] = first.taken(first.stream, 1)
    assert (gone.n, gone.body) == (1, "[1]")
    first.remember('{"job": "pit"}')
    first.close()
    second = spool(tmp_path)
    assert second.welcome == '{"job": "pit"}'
    assert second.next == (first.stream, 2)
    put(second, 4)
    assert bodies(second) == ["[2]", "[3]", "[4]"]
    assert [each.n for each in second.after(first.stream, 2, 2)] == [3, 4]
    second.close()


def test_numbers_of_what_was_taken_are_not_given_again(tmp_path: Path) -> None:
    first = spool(tmp_path)
    put(first, 1, 2)
    first.taken(first.stream, 2)
    first.close()
    second = spool(tmp_path)
    assert second.next == (first.stream, 3)
    second.close()


def test_frames_of_another_boot_are_let_go_of_and_counted(tmp_path: Path) -> None:
    first = spool(tmp_path)
    put(first, 1, 2)
    first.close()
    second = spool(tmp_path, boot="b2")
    assert (len(second), second.of_another_boot) == (0, 2)
    stream, n = second.next
    assert (stream != first.stream, n) == (True, 1)
    second.close()


@pytest.mark.parametrize("bound", [{"most_s": 10.0}, {"most_bytes": 9}])
def test_the_oldest_go_where_there_is_no_room(tmp_path: Path, bound: dict[str, Any]) -> None:
    made = spool(tmp_path, **bound)
    for i in range(5):
        put(made, i, at_s=5.0 * i)
    assert bodies(made) == ["[2]", "[3]", "[4]"]
    assert (made.overflowed, made.overflowed_readings, made.next) == (2, 2, (made.stream, 3))
    made.close()
    again = spool(tmp_path, **bound)
    assert bodies(again) == ["[2]", "[3]", "[4]"]
    again.close()


class Full(sqlite3.Connection):
    """A disk that is full while `full` says so."""

    full = False

    def execute(self, *words: Any) -> sqlite3.Cursor:
        self._look(words[0])
        return super().execute(*words)

    def executemany(self, *words: Any) -> sqlite3.Cursor:
        self._look(words[0])
        return super().executemany(*words)

    @staticmethod
    def _look(statement: str) -> None:
        if Full.full and statement.startswith(("INSERT", "UPDATE", "DELETE")):
            raise sqlite3.OperationalError("database or disk is full")


def test_a_full_disk_leaves_memory_and_gives_no_number_twice(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    real = sqlite3.connect
    monkeypatch.setattr(sqlite3, "connect", lambda *args, **more: real(*args, **more, factory=Full))
    made = spool(tmp_path)
    put(made, 1, 2)
    on_disk = made.stream
    monkeypatch.setattr(Full, "full", True)
    assert not made.put(10.0, 1, "[3]")
    assert not made.put(11.0, 1, "[4]"), "and tried only every 5 s"
    assert "full" in made.broken
    assert bodies(made) == ["[1]", "[2]"]
    assert made.stream != on_disk
    # Killed now, its file knows of two frames; the numbers that it gives next were given to nobody.
    copied = tmp_path / "copy"
    copied.mkdir()
    for file in tmp_path.glob("spool.sqlite*"):
        (copied / file.name).write_bytes(file.read_bytes())
    monkeypatch.setattr(Full, "full", False)
    killed = spool(copied)
    assert bodies(killed) == ["[1]", "[2]"]
    put(killed, 5)
    assert killed.after(on_disk, 2, 9)[0].n == 3
    killed.close()
    made.taken(on_disk, 2)
    assert [(each.n, each.body) for each in made.after(made.stream, 0, 9)] == [(1, "[3]"), (2, "[4]")]
    assert made.put(20.0, 1, "[5]"), "there is room again"
    made.close()
    again = spool(tmp_path)
    assert bodies(again) == ["[3]", "[4]", "[5]"]
    again.close()


def test_a_file_that_may_not_grow(tmp_path: Path) -> None:
    """A real refusal, of a file that has come to its limit: readings wait in memory, and are written once it may grow."""
    made, at_s = spool(tmp_path, most_bytes=1 << 24), 0.0
    bodies_put: list[str] = []
    long = "1" * 20_000
    with no_file_beyond(200_000):
        while not made.broken:
            bodies_put.append(f"[{len(bodies_put)}{long}]")
            made.put(at_s, 1, bodies_put[-1])
            assert len(bodies_put) < 100, "it grew all the same"
    assert len(bodies_put) > 2
    at_s += TRY_EVERY_S
    bodies_put.append("[2]")
    assert made.put(at_s, 1, bodies_put[-1])
    made.close()
    again = spool(tmp_path, most_bytes=1 << 24)
    found = []
    while len(again):
        stream, first = again.next
        frames = again.after(stream, first - 1, 1000)
        found += [each.body for each in frames]
        again.taken(stream, frames[-1].n)
    again.close()
    assert found == bodies_put


@pytest.mark.parametrize("first", ["taken", "remember"])
def test_no_number_twice_where_it_was_no_frame_that_was_not_written_first(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, first: str
) -> None:
    real = sqlite3.connect
    monkeypatch.setattr(sqlite3, "connect", lambda *args, **more: real(*args, **more, factory=Full))
    made = spool(tmp_path)
    put(made, 1, 2, 3, at_s=100.0)
    on_disk = made.stream
    monkeypatch.setattr(Full, "full", True)
    if first == "taken":
        made.taken(on_disk, 1)
    else:
        made.remember("{}")
    assert made.broken
    assert not made.put(100.2, 1, "[4]"), "at once, before the file is tried anew"
    assert made.after(on_disk, 3, 9) == []
    assert [(each.n, each.body) for each in made.after(made.stream, 0, 9)] == [(1, "[4]")]
    monkeypatch.setattr(Full, "full", False)
    made._file.close()  # killed
    again = spool(tmp_path)
    put(again, 5, at_s=101.0)
    assert [(each.n, each.body) for each in again.after(on_disk, 3, 9)] == [(4, "[5]")]
    again.close()


def test_readings_of_a_moment_are_one_frame_until_it_goes_out(tmp_path: Path) -> None:
    made = spool(tmp_path, pack_s=0.04)
    put(made, 1, at_s=5.00)
    none, wait = made.going_out(made.stream, 0, 5.01)
    assert none is None
    assert wait == pytest.approx(0.03)
    put(made, 2, at_s=5.03)
    put(made, 3, at_s=5.05)
    assert bodies(made) == ["[1,2]", "[3]"]
    [first, _] = made.after(made.stream, 0, 9)
    assert (first.n, first.at_s, first.count, made.spooled, made.readings) == (1, 5.0, 2, 2, 3)
    assert made.going_out(made.stream, 0, 5.05) == (first, 0.0), "there is one after it"
    out, _ = made.going_out(made.stream, 1, 5.2)
    assert out is not None
    assert out.body == "[3]"
    put(made, 4, at_s=5.06)
    assert bodies(made) == ["[1,2]", "[3]", "[4]"], "what has gone out is not added to"
    made.close()
    again = spool(tmp_path, pack_s=0.04)
    put(again, 5, at_s=5.07)
    assert bodies(again) == ["[1,2]", "[3]", "[4]", "[5]"]
    assert made.going_out(made.stream, 9, 9.0) == (None, 0.0)
    again.close()


def test_one_process_on_a_spool_of_one_feed(tmp_path: Path) -> None:
    made = spool(tmp_path)
    with pytest.raises(Refused) as caught:
        spool(tmp_path)
    assert caught.value.code == "spool-in-use"
    made.close()
    with pytest.raises(Refused) as caught:
        spool(tmp_path, feed="trial by cab")
    assert (caught.value.code, "frames of pit by cab" in caught.value.faults[0].found) == (
        "other-spool",
        True,
    )
    spool(tmp_path).close()


def test_what_is_no_spool(tmp_path: Path) -> None:
    (tmp_path / "spool.sqlite").write_text(
        "something else, and long enough to be a file " * 40, encoding="utf-8"
    )
    with pytest.raises(Refused) as caught:
        spool(tmp_path)
    assert caught.value.code == "unreadable"
    (tmp_path / "spool.sqlite").unlink()
    with sqlite3.connect(tmp_path / "spool.sqlite") as other:
        other.execute("CREATE TABLE sack (gravel)")
    other.close()
    with pytest.raises(Refused) as caught:
        spool(tmp_path)
    assert caught.value.code == "other-spool"
