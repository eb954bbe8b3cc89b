"""A synthesis: its file read, each fault at its line; run into a folder, ended early, and the same for one seed."""

import cmath
import csv
import io
import json
import re
import subprocess
import sys
from dataclasses import replace
from pathlib import Path
from typing import Any

import pyarrow.parquet as pq
import pytest
from rich.console import Console

from kinematics.arm import pose
from kinematics.errors import Refused
from kinematics.forces import tool_force
from kinematics.hydraulics import Hydraulics
from kinematics.machine import BucketLinkage, Cylinder, Machine
from machine_profiles import Profile
from service.prompt import find
from service.studies.checkpoint import unpacked
from service.studies.synthesis_file import Asked, begin, read_synthesis, search_into
from service.study_run import table_of

TURN = """\
schema = 1
kind = "synthesis"
name = "A bucket that turns further"
machine = "crawler-14t"
attachment = "digging-1500"

[units]
length = "mm"
angle = "deg"

[search]
seed = 1
generations = 15

[change.idler_length]
low = -60
high = 60
from_measured = true
[change.power_link_length]
low = 440
high = 560

[[goals]]
measure = "rotation"
wanted = 170

[[goals]]
measure = "transmission"

[[limits]]
measure = "transmission"
at_least = 20
"""
FORCE = TURN.replace('measure = "transmission"\n\n[[limits]]', """\
measure = "force_curve"
at = [0.25, 0.75]
force_kn = [90, 70]
radius = 1300

[[limits]]""")  # fmt: skip


def asked(text: str = TURN) -> Asked:
    return read_synthesis(text, "turn.toml", find)


def quiet(_done: int, _of: int) -> None:
    """Nothing."""


Searched = tuple[Path, dict[str, Any]]


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> Searched:
    """(folder, what is told) of a search that nothing ended early."""
    path = tmp_path_factory.mktemp("whole") / "turn"
    begin(asked(), path)
    return path, search_into(asked(), path, tell=quiet, stop=lambda: False)


@pytest.fixture(scope="module")
def by_force(tmp_path_factory: pytest.TempPathFactory) -> tuple[Searched, list[tuple[int, int]]]:
    """The same towards a force, and what was told on the way."""
    seen: list[tuple[int, int]] = []
    path = tmp_path_factory.mktemp("force") / "turn"
    begin(asked(FORCE), path)
    told = search_into(asked(FORCE), path, tell=lambda done, of: seen.append((done, of)), stop=lambda: False)
    return (path, told), seen


def test_what_it_says_in_metres_and_radians() -> None:
    found = asked(FORCE)
    measured = float(found.assembly.parameters["idler_length"][0])
    assert found.ranges["idler_length"] == pytest.approx((measured - 0.06, measured + 0.06))
    assert found.ranges["power_link_length"] == pytest.approx((0.44, 0.56))
    assert found.goals[0].wanted == pytest.approx(2.96706, abs=1e-5)
    assert found.machine.hydraulics is not None
    ram = found.machine.hydraulics.rams["bucket"]
    # A lever of so many metres a radian, times the thrust, over 1.3 m of tooth radius, is the force asked for.
    thrust = ram.working_pressure * ram.area(pushing=True)
    assert [lever * thrust / 1.3 for lever in found.goals[1].curve] == pytest.approx([90e3, 70e3])


def mirrored(kind: str, name: str) -> Profile:
    """The machine with its bucket cylinder on the other side of the idler: it curls in as it pulls."""
    profile = find(kind, name)
    if kind == "attachment":
        return profile
    machine = profile.geometry
    assert isinstance(machine, Machine)
    bar, idler = machine.bucket, asked(FORCE).assembly.idler
    assert isinstance(bar, BucketLinkage)
    assert isinstance(bar.drive, Cylinder)
    assert idler is not None
    foot = complex(bar.drive.foot_x, bar.drive.foot_z).conjugate() * cmath.rect(1.0, idler.low + idler.high)
    drive = replace(bar.drive, foot_x=foot.real, foot_z=foot.imag, extending=-bar.drive.extending)
    return replace(profile, geometry=replace(machine, bucket=replace(bar, drive=drive)))


def test_a_cylinder_that_curls_in_as_it_pulls_has_the_ring_alone() -> None:
    found = read_synthesis(FORCE, "turn.toml", mirrored)
    assert found.machine.hydraulics is not None
    ram = found.machine.hydraulics.rams["bucket"]
    assert found.force == pytest.approx(ram.working_pressure * ram.area(pushing=False) / 1.3)
    # As the tool's force has it.
    turned = {name: 0.5 * (span.low + span.high) for name, span in found.assembly.ranges.items()}
    told = tool_force(
        pose(found.assembly, pitch=0.0, roll=0.0, **turned), Hydraulics({"bucket": ram}), "bucket"
    )
    assert told.loads["bucket"].thrust == pytest.approx(-ram.working_pressure * ram.area(pushing=False))


def test_two_curves_are_refused_at_their_line() -> None:
    twice = FORCE.replace(
        'measure = "rotation"\nwanted = 170', 'measure = "lever_curve"\nat = [0.5]\nlevers = [300]'
    )
    with pytest.raises(Refused) as refused:
        asked(twice)
    assert [fault.code for fault in refused.value.faults] == ["given-twice"]
    assert re.search(r"turn.toml:\d+: goals.1", refused.value.faults[0].where)


def test_run_into_a_folder(by_force: tuple[Searched, list[tuple[int, int]]], tmp_path: Path) -> None:
    (path, told), seen = by_force
    assert told["finished"]
    assert seen[-1] == (16, 16)
    table = pq.read_table(path / "candidates.parquet")
    assert table.to_pylist() == told["candidates"]
    assert json.loads(table.schema.metadata[b"tipdatum"])["identity"] == asked(FORCE).identity
    assert {"idler_length_mm", "rotation_deg", "least_transmission_deg", "force_at_25_kn"} <= set(
        table.column_names
    )
    assert min(table.column("least_transmission_deg").to_pylist()) >= 20.0 - 1e-9
    lines = [line for line in (path / "candidates.csv").read_text().splitlines() if line[:1] != "#"]
    rows = list(csv.DictReader(lines))
    assert [float(row["rotation_deg"]) for row in rows] == table.column("rotation_deg").to_pylist()
    other = tmp_path / "again"
    begin(asked(FORCE), other)
    search_into(asked(FORCE), other, tell=quiet, stop=lambda: False)
    assert (other / "candidates.csv").read_bytes() == (path / "candidates.csv").read_bytes()
    with pytest.raises(Refused) as refused:
        begin(asked(), path)
    assert refused.value.code == "folder-taken"


def test_ended_early(tmp_path: Path) -> None:
    seen: list[int] = []
    begin(asked(), tmp_path / "turn")
    told = search_into(
        asked(), tmp_path / "turn", tell=lambda done, _: seen.append(done), stop=lambda: len(seen) > 3
    )
    assert not told["finished"]
    assert told["candidates"]


@pytest.mark.parametrize("after", [1, 7, 40, 170])
def test_taken_up_it_comes_to_the_same_to_the_byte(whole: Searched, tmp_path: Path, after: int) -> None:
    there, told = whole
    broken = tmp_path / "broken"
    begin(asked(), broken)
    seen: list[int] = []
    if after > 1:
        search_into(asked(), broken, tell=lambda done, _of: seen.append(done), stop=lambda: len(seen) > after)
    for file in broken.glob("candidates.*"):
        file.unlink()
    (broken / "stop").touch()
    begin(asked(), broken, resume=True)
    assert not (broken / "stop").exists()
    seen.clear()
    assert search_into(asked(), broken, tell=lambda done, _of: seen.append(done), stop=lambda: False) == told
    assert len(seen) <= 16 * 17 - after + 1  # what was done is not done again
    for name in ("candidates.csv", "candidates.parquet"):
        assert (broken / name).read_bytes() == (there / name).read_bytes()


def test_killed_and_taken_up(whole: Searched, tmp_path: Path) -> None:
    command = [sys.executable, "-m", "tests.service.studies.searcher", str(tmp_path / "turn")]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as process:
        assert process.stdout is not None
        for line in process.stdout:
            if int(line.split()[1]) >= 4:
                process.kill()
    assert process.returncode != 0
    state = unpacked((tmp_path / "turn" / "searching.npz").read_bytes(), asked().identity)
    assert state is not None
    assert state.number >= 4
    (tmp_path / "turn" / "searching.npz.1.new").write_bytes(b"under way")
    begin(asked(), tmp_path / "turn", resume=True)
    search_into(asked(), tmp_path / "turn", tell=quiet, stop=lambda: False)
    assert not list((tmp_path / "turn").glob("*.new"))
    for name in ("candidates.csv", "candidates.parquet"):
        assert (tmp_path / "turn" / name).read_bytes() == (whole[0] / name).read_bytes()


def test_what_is_left_of_a_state_is_not_gone_on_from(whole: Searched) -> None:
    path, _ = whole
    content = (path / "searching.npz").read_bytes()
    state = unpacked(content, asked().identity)
    assert state is not None
    assert state.number == 16
    assert unpacked(content, "another") is None
    for cut in (0, 10, len(content) // 2, len(content) - 1):
        assert unpacked(content[:cut], asked().identity) is None
    middle = len(content) // 2
    assert unpacked(content[:middle] + b"1234" + content[middle + 4 :], asked().identity) is None
    with pytest.raises(Refused) as refused:
        begin(asked(FORCE), path, resume=True)
    assert refused.value.code == "other-study"


def test_misses_of_goals_are_told_and_names_are_not_cut(
    by_force: tuple[Searched, list[tuple[int, int]]], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLUMNS", "60")
    (_, told), _ = by_force
    for each in told["candidates"]:
        assert each["rotation_off_deg"] == pytest.approx(abs(each["rotation_deg"] - 170.0), abs=1e-9)
        off = each["force_at_25_kn"] / 90.0 - 1.0, each["force_at_75_kn"] / 70.0 - 1.0
        assert each["curve_off_percent"] == pytest.approx(100.0 * (0.5 * (off[0] ** 2 + off[1] ** 2)) ** 0.5)
    text = io.StringIO()
    Console(file=text, width=60).print(table_of(told))
    for name in told["candidates"][0]:
        assert name in text.getvalue(), name


def test_nothing_found(tmp_path: Path) -> None:
    begin(asked(), tmp_path / "turn")
    hopeless = asked(TURN.replace("at_least = 20", "at_least = 89"))
    with pytest.raises(Refused) as refused:
        search_into(hopeless, tmp_path / "turn", tell=quiet, stop=lambda: False)
    assert refused.value.code == "nothing-found"


@pytest.mark.parametrize(("old", "new", "code", "place"), [
    ("change.idler_length", "change.idler", "unknown-parameter", "turn.toml:15: change.idler"),
    ("wanted = 170\n", "", "wrong-form", r"turn.toml:23: goals.0"),
    ("wanted = 170", "wanted = 170\nradius = 3", "wrong-form", "goals.0"),
    ("at_least = 20\n", "", "wrong-form", "limits.0"),
    ('measure = "transmission"\n\n', 'measure = "weight"\n\n', "not-a-choice", "goals.1.measure"),
    ("generations = 15", "generations = 0", "out-of-range", "search.generations"),
    ("seed = 1", "seed = 1\nspeed = 3", "unknown-key", "search.speed"),
])  # fmt: skip
def test_refused_at_its_line(old: str, new: str, code: str, place: str) -> None:
    assert old in TURN
    with pytest.raises(Refused) as refused:
        asked(TURN.replace(old, new))
    told = [(fault.code, fault.where) for fault in refused.value.faults]
    assert any(one == code and re.search(place, where) for one, where in told), refused.value.faults


def test_faults_of_every_kind_in_one_round() -> None:
    text = TURN.replace("seed = 1", "seed = 1\nspeed = 3").replace("change.idler_length", "change.idler")
    text = text.replace("wanted = 170\n", "").replace("at_least = 20\n", "")
    with pytest.raises(Refused) as refused:
        asked(text)
    told = {(fault.code, fault.where.partition(": ")[2]) for fault in refused.value.faults}
    assert told == {("unknown-key", "search.speed"), ("unknown-parameter", "change.idler"), ("wrong-form", "goals.0"),
                    ("wrong-form", "limits.0")}  # fmt: skip
    with pytest.raises(Refused) as refused:  # as the search would have it, before it is begun
        asked(TURN.replace("low = 440", "low = 600").replace("wanted = 170", "wanted = 400"))
    told = {(fault.code, fault.where.partition(": ")[2]) for fault in refused.value.faults}
    assert told == {("out-of-range", "change.power_link_length"), ("out-of-range", "goals.0.wanted")}


def test_a_force_needs_a_bore() -> None:
    with pytest.raises(Refused) as refused:
        asked(FORCE.replace("crawler-14t", "published-mini").replace("digging-1500", "published-mini-bucket"))
    assert "no-bore" in {fault.code for fault in refused.value.faults}
