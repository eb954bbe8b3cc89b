"""A synthesis: its file read, run, and its candidates written down. The second kind of file that `study` takes."""

import json
import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any, Literal

import numpy as np
import pyarrow as pa
import pyarrow.csv as pcsv
import pyarrow.parquet as pq
from pydantic import Field

from kinematics.assembly import Assembly
from kinematics.errors import Fault, Refused, refuse
from kinematics.forces import stretches
from kinematics.parameters import NAMES
from kinematics.search import SearchState, searches
from kinematics.study import parameter_faults
from kinematics.synthesis import Goal, Limit, Synthesis, synthesis, synthesis_faults
from machine_profiles import Profile
from machine_profiles.loader import content_hash
from machine_profiles.table import Number, Table, Units

from .checkpoint import packed, unpacked
from .folder import MANIFEST, SEARCHING, Folder, put, writing_to
from .plan import angle_factor, length_factor, parameter_column, release, text_hash
from .reading import Find, read_head
from .tables import Count, Name, Numbers, Title
from .tables import Profile as ProfileName

ADVISORY = (
    "Advisory only: geometry alone. Strength, clearance and weight of links are for a licensed engineer; "
    "local codes decide."
)
_KN = 1e3
Tell = Callable[[int, int], None]


class SearchTable(Table):
    """How long is searched: `candidates` in each of `generations`."""

    seed: Annotated[int, Field(ge=0, lt=2**63)]
    generations: Annotated[int, Field(ge=1, le=10_000)] = 60
    candidates: Annotated[int, Field(ge=8, le=10_000)] = 64


class Change(Table):
    """Between which values one parameter may be chosen; `from_measured`: as differences from the number in the
    profile."""

    low: Number
    high: Number
    from_measured: bool = False


class GoalTable(Table):
    """What is to be had: "rotation" as near to `wanted` as can be; "transmission" as far from 0 and 180 deg as can be;
    "force_curve" at the shares `at` of the bucket cylinder's stroke as near to `force_kn` as can be, at a tooth `radius`
    from the bucket pin, with the bore and working pressure of the machine's [hydraulics]; "lever_curve" the same as
    metres of cylinder a radian, `levers` in the file's unit of length."""

    measure: Literal["rotation", "transmission", "force_curve", "lever_curve"]
    wanted: Number | None = None
    at: Numbers | None = None
    force_kn: Numbers | None = None
    levers: Numbers | None = None
    radius: Number | None = None


class LimitTable(Table):
    """What must be kept to."""

    measure: Literal["rotation", "transmission"]
    at_least: Number | None = None
    at_most: Number | None = None


class SynthesisDocument(Table):
    """A whole file."""

    schema_version: Literal[1] = Field(alias="schema")
    kind: Literal["synthesis"]
    name: Title
    machine: ProfileName
    attachment: ProfileName
    units: Units
    search: SearchTable
    change: Annotated[dict[Name, Change], Field(min_length=1, max_length=16)]
    goals: Annotated[list[GoalTable], Field(min_length=1, max_length=2)]
    limits: Annotated[list[LimitTable], Field(max_length=8)] = Field(default_factory=list)
    seen: Count | None = Field(None, description="So many of the front at most are written, evenly along it.")


@dataclass(frozen=True, slots=True, eq=False)
class Asked:
    """A synthesis as its file has it, in m and rad. `force`: newtons of tooth force a metre of lever, None without."""

    text: str
    document: SynthesisDocument
    machine: Profile
    attachment: Profile
    identity: str
    assembly: Assembly
    ranges: dict[str, tuple[float, float]]
    goals: tuple[Goal, ...]
    limits: tuple[Limit, ...]
    force: float | None


_KEYS = {
    "rotation": {"wanted"}, "transmission": set(), "force_curve": {"at", "force_kn", "radius"},
    "lever_curve": {"at", "levers"},
}  # fmt: skip

_KIND_OF = dict.fromkeys(_KEYS, "curve") | {"rotation": "rotation", "transmission": "transmission"}


# By how much a candidate misses a goal: its rotation what is wanted, its transmission 90 deg, its curve what is asked
# (root mean square).
_MISSES = {
    "rotation": ("rotation_off", None),
    "transmission": ("transmission_off_90", None),
    "curve": ("curve_off", 100.0),
}


_FILLERS = {
    "schema": 1, "kind": "synthesis", "name": "?", "machine": "?", "attachment": "?",
    "units": {"length": "m", "angle": "rad"}, "search": {"seed": 0}, "change": {"boom_length": {"low": 1.0, "high": 2.0}},
    "goals": [{"measure": "transmission"}],
}  # fmt: skip


def read_synthesis(text: str, file: str, find: Find) -> Asked:
    """A synthesis from TOML text. Raises `Refused` with every fault at its line, as `read_study`."""
    head = read_head(text, file, find, SynthesisDocument, _FILLERS)
    document, machine, attachment, assembly = head.document, head.machine, head.attachment, head.assembly
    if document is None or machine is None or attachment is None or assembly is None:
        refuse(head.faults)
        raise TypeError("no fault, and yet no search")
    named = [] if "change" in head.broken else parameter_faults(assembly, tuple(document.change))
    formed = list(_form_faults(document, machine))
    head.add([*(fault.at("change") for fault in named), *formed])
    found = _asked(text, document, machine, attachment, assembly)
    if not (formed or head.broken):  # else they would be told twice, or of what is not there
        known = [fault for fault in synthesis_faults(assembly, found.ranges, found.goals, found.limits)
                 if fault.code not in {"unknown-parameter", "no-such-parameter"}]  # fmt: skip
        head.add(_in_file(fault) for fault in known)
    refuse(head.faults)
    return found


def _in_file(fault: Fault) -> Fault:
    """A fault of a search where its file has it."""
    where = f"change{fault.where.removeprefix('ranges')}" if fault.where.startswith("ranges") else fault.where
    return Fault(fault.code, where, fault.found, fault.expected, fault.advice, fault.numbers)


def _asked(
    text: str, document: SynthesisDocument, machine: Profile, attachment: Profile, assembly: Assembly
) -> Asked:
    """In metres and radians; of names that there are not, NaN."""
    ranges = {}
    for name, change in document.change.items():
        factor = parameter_column(name, document.units).factor
        measured = float(assembly.parameters[name][0]) if name in NAMES else math.nan
        base = measured if change.from_measured else 0.0
        ranges[name] = (base + change.low / factor, base + change.high / factor)
    angle = angle_factor(document.units)
    limits = tuple(
        Limit(each.measure, -math.inf if each.at_least is None else each.at_least / angle,
              math.inf if each.at_most is None else each.at_most / angle) for each in document.limits
    )  # fmt: skip
    forces = (_newtons_a_metre(each, document, machine, assembly) for each in document.goals)
    force = next((each for each in forces if each is not None), None)
    goals = tuple(_goal(each, document, force) for each in document.goals)
    identity = content_hash({
        "study": document.model_dump(by_alias=True, exclude_none=True), "machine": machine.content_hash,
        "attachment": attachment.content_hash, "tipdatum": release("tipdatum"),
    })  # fmt: skip
    return Asked(text, document, machine, attachment, identity, assembly, ranges, goals, limits, force)


def _form_faults(document: SynthesisDocument, machine: Profile) -> Iterator[Fault]:
    for i, each in enumerate(document.goals):
        given = {
            key for key in ("wanted", "at", "force_kn", "levers", "radius") if getattr(each, key) is not None
        }
        wanted = _KEYS[each.measure]
        if given != wanted:
            yield Fault("wrong-form", f"goals.{i}", ", ".join(sorted(given)) or "no other key",
                        f"with {each.measure}: " + (", ".join(sorted(wanted)) or "no other key"))  # fmt: skip
        elif each.radius is not None and not each.radius > 0.0:
            yield Fault("out-of-range", f"goals.{i}.radius", f"{each.radius:g}", "more than 0")
        if each.measure == "force_curve" and (
            machine.hydraulics is None or "bucket" not in machine.hydraulics.rams
        ):
            yield Fault("no-bore", f"goals.{i}", "a machine without bore and pressure of its bucket cylinder",
                        "[hydraulics] in its profile", "add them, or ask for a lever_curve")  # fmt: skip
        if _KIND_OF[each.measure] in (_KIND_OF[before.measure] for before in document.goals[:i]):
            yield Fault("given-twice", f"goals.{i}", f"{each.measure} beside {document.goals[0].measure}",
                        "two goals of different measures", "a curve takes any number of places")  # fmt: skip
    for i, limit in enumerate(document.limits):
        if limit.at_least is None and limit.at_most is None:
            yield Fault("wrong-form", f"limits.{i}", "neither at_least nor at_most", "one of them, or both")


def _newtons_a_metre(
    each: GoalTable, document: SynthesisDocument, machine: Profile, assembly: Assembly
) -> float | None:
    """Tooth force of a lever of 1 m a radian: the thrust with which the cylinder curls in over the tooth's radius."""
    if each.measure != "force_curve" or each.radius is None or machine.hydraulics is None:
        return None
    if "bucket" not in assembly.cylinders:  # refused as "no-linkage" by the search
        return None
    ram, span = machine.hydraulics.rams["bucket"], assembly.ranges["bucket"]
    # One sign over the whole stroke: no machine passes a toggle or a dead centre.
    pushing = float(stretches(assembly, "bucket", np.array([0.5 * (span.low + span.high)]))[0]) < 0.0
    return ram.working_pressure * ram.area(pushing=pushing) / (each.radius / length_factor(document.units))


def _goal(each: GoalTable, document: SynthesisDocument, force: float | None) -> Goal:
    if each.measure == "rotation":
        return Goal("rotation", (each.wanted or 0.0) / angle_factor(document.units))
    if each.measure == "transmission":
        return Goal("transmission")
    if each.measure == "force_curve" and force is not None:
        return Goal(
            "lever_curve",
            at=tuple(each.at or ()),
            curve=tuple(_KN * value / force for value in each.force_kn or ()),
        )
    factor = length_factor(document.units)
    return Goal(
        "lever_curve", at=tuple(each.at or ()), curve=tuple(value / factor for value in each.levers or ())
    )


def begin(asked: Asked, path: Path, *, resume: bool = False) -> None:
    """A new folder with the file, its profiles, and what the numbers hang on; or, to `resume`, that of this very search.
    `Refused` "folder-taken", "other-study", "no-study-here", and what the disk says."""
    if resume and (path / MANIFEST).exists():
        if Folder(path).manifest().get("identity") != asked.identity:
            raise Refused([Fault("other-study", str(path), "another search", "this very search, by this release",
                                 "name a new folder; what was found in this one stays")])  # fmt: skip
        Folder(path).forget_stop()
        for leftover in path.glob("*.new"):
            leftover.unlink(missing_ok=True)
        return
    if path.exists() and (not path.is_dir() or any(path.iterdir())):
        raise Refused([Fault("folder-taken", str(path), "something else", "a new or empty folder",
                             "go on with it (--resume), or name another folder")])  # fmt: skip
    with writing_to(path):
        path.mkdir(parents=True, exist_ok=True)
        for name, text in (("study.toml", asked.text), ("machine.toml", asked.machine.source_text),
                           ("attachment.toml", asked.attachment.source_text),
                           (MANIFEST, json.dumps(manifest(asked), indent=2) + "\n")):  # fmt: skip
            put(path / name, text.encode())


def search_into(asked: Asked, path: Path, *, tell: Tell, stop: Callable[[], bool]) -> dict[str, Any]:
    """Search, and write `candidates.parquet` and `candidates.csv` into a folder that was begun. Goes on after the last
    generation that `searching.npz` there knows, and comes to the same as a search that nobody interrupted.

    What it came to, for programs; "finished" is False where `stop` ended it. `Refused` as `synthesis`, and what the disk
    says.
    """

    def going(done: int, of: int) -> bool:
        tell(done, of)
        return not stop()

    def keep(state: SearchState) -> None:
        with writing_to(path):
            put(path / SEARCHING, packed(state, asked.identity), settled=False)

    settings, state = asked.document.search, None
    if (path / SEARCHING).exists():
        state = unpacked((path / SEARCHING).read_bytes(), asked.identity)
    try:
        found = synthesis(
            asked.assembly, asked.ranges, asked.goals, asked.limits, seed=settings.seed, generations=settings.generations,
            candidates=settings.candidates, tell=going, keep=keep, state=state,
        )  # fmt: skip
    except Refused as refused:
        raise Refused(_in_file(fault) for fault in refused.faults) from None
    went = {
        "looked_at": found.searched.looked_at,
        "kept": found.searched.kept,
        "finished": found.searched.whole,
    }
    told, table = manifest(asked) | went, candidates(asked, found)
    with writing_to(path):
        sink = pa.BufferOutputStream()
        pq.write_table(table.replace_schema_metadata({b"tipdatum": json.dumps(told).encode()}), sink)
        put(path / "candidates.parquet", memoryview(sink.getvalue()))
        sink = pa.BufferOutputStream()
        for line in json.dumps(told, indent=1).splitlines():
            sink.write(f"# {line}\n".encode())
        pcsv.write_csv(table, sink)
        put(path / "candidates.csv", memoryview(sink.getvalue()))
    return told | {"candidates": table.to_pylist()}


def candidates(asked: Asked, found: Synthesis) -> Any:
    """What was found as an Arrow table, units in the names of its columns."""
    units = asked.document.units
    rows = np.arange(len(found.numbers))
    if asked.document.seen is not None and len(rows) > asked.document.seen:
        rows = np.unique(np.linspace(0, len(rows) - 1, asked.document.seen).round().astype(np.int64))
    columns: dict[str, Any] = {}
    for i, name in enumerate(found.names):
        column = parameter_column(name, units)
        columns[column.name] = found.numbers[rows, i] * column.factor
    angle = angle_factor(units)
    columns[f"rotation_{units.angle}"] = found.rotation[rows] * angle
    columns[f"least_transmission_{units.angle}"] = found.transmission[rows] * angle
    for k, share in enumerate(found.at):
        place = f"{100.0 * share:g}".replace(".", "_")
        columns[f"lever_at_{place}_{units.length}"] = found.levers[rows, k] * length_factor(units)
        if asked.force is not None:
            columns[f"force_at_{place}_kn"] = found.levers[rows, k] * asked.force / _KN
    for i, goal in enumerate(asked.document.goals):
        name, factor = _MISSES[_KIND_OF[goal.measure]]
        off = found.searched.goals[rows, i]
        columns[f"{name}_{units.angle}" if factor is None else f"{name}_percent"] = off * (factor or angle)
    return pa.table(columns)


def manifest(asked: Asked) -> dict[str, Any]:
    """Provenance. "parts": how many searches it is made of."""
    document = asked.document
    return {
        "study": document.name, "identity": asked.identity, "file_sha256": text_hash(asked.text),
        "machine": {"id": asked.machine.id, "content_hash": asked.machine.content_hash},
        "attachment": {"id": asked.attachment.id, "content_hash": asked.attachment.content_hash},
        "seed": document.search.seed, "goals": [each.measure for each in document.goals],
        "measured": {name: float(asked.assembly.parameters[name][0]) * parameter_column(name, document.units).factor
                     for name in NAMES if name in document.change},
        "parts": searches(len(document.goals)), "units": document.units.model_dump(exclude_none=True),
        "versions": {name: release(name) for name in ("tipdatum", "numpy", "scipy", "numba", "pyarrow")},
        "advisory": ADVISORY,
    }  # fmt: skip
