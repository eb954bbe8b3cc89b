"""A described dig: its TOML text read, held against the machine it names, every fault with its place."""

import re
import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from importlib.resources import files
from pathlib import Path
from typing import Any

from pydantic import BaseModel, ValidationError

from kinematics.assembly import Assembly, assemble
from kinematics.errors import Fault, Refused, refuse
from kinematics.machine import Attachment, Machine
from kinematics.sensor import Measure, Mounting, Sensor
from kinematics.sensor_set import SensorSet
from machine_profiles import Profile, ProfileFaulty, parse_profile, shipped
from machine_profiles.places import line_of, lines_of, numbered
from machine_profiles.sensor_pair import sensor_set
from service.text import misfit, nearest, shown

from .tables import (
    STEPS,
    DigDocument,
    Knock,
    Pass,
    Place,
    Quiet,
    Stand,
    Strike,
    Swing,
    Touch,
    Travel,
    TurnJoint,
)

SHIPPED, DEMO, FLEET = "pump-house.toml", "demo.toml", "fleet.toml"
LONGEST_TEXT = 200_000


@dataclass(frozen=True, slots=True, eq=False)
class Dig:
    """A dig that names only what there is. `datums`: heights over the slab's top (m), the slab's own name among them.

    `places`: where each step, stand or key stands in the file, for faults found later.
    """

    document: DigDocument
    machine: Profile
    attachment: Profile
    assembly: Assembly
    sensors: SensorSet
    stands: Mapping[str, Stand]
    datums: Mapping[str, float]
    places: "Places"

    def over_slab(self, over: str, height_m: float) -> float:
        """Height over the slab's top (m) of a height over a named datum: 0.35 over a footing at -1.52 is -1.17."""
        return self.datums[over] + height_m


@dataclass(frozen=True, slots=True)
class Places:
    """Dotted places of a description to words with file and line: "pit.toml:41: step 3: reach_m"; steps count from 1."""

    file: str
    lines: Mapping[str, int]

    def words(self, path: str) -> str:
        """The place of a dotted path ("steps.2.reach_m"), as people find it."""
        line = line_of(dict(self.lines), path)
        numbered = re.sub(
            r"^(step|stand|target)s\.(\d+)\.?",
            lambda found: f"{found[1]} {int(found[2]) + 1}: ",
            path,
        ).removesuffix(": ")
        return f"{self.file}:{line}" + (f": {numbered}" if numbered else "")

    def put(self, fault: Fault, path: str = "") -> Fault:
        """The fault of something at `path`, told at its place in the file."""
        where = ".".join(part for part in (path, fault.where) if part)
        return Fault(fault.code, self.words(where), fault.found, fault.expected, fault.advice, fault.numbers)


def shipped_dig(name: str = SHIPPED) -> Dig:
    """A dig that ships: `SHIPPED`, a village pump house dug off an existing slab, or the shorter `DEMO` and `FLEET`."""
    text = files("service.simulation").joinpath(name).read_text(encoding="utf-8")
    return read_dig(text, name, None)


def read_dig(text: str, file: str, folder: Path | None) -> Dig:
    """A dig from TOML text. Machine and attachment are shipped ids, or profile files in `folder`.

    Raises `Refused` with every fault at its place: first those of the text as TOML, then those of keys and numbers, then
    names that are not there and what does not fit the machine. Whether its poses can be reached: `motion.plan`.
    """
    raw = _toml(text, file)
    places = Places(file, lines_of(numbered(text, ("steps", "stands", "targets"))))
    try:
        document = DigDocument.model_validate(raw)
    except ValidationError as error:
        raise Refused([_misfit(each, places) for each in error.errors(include_url=False)]) from None
    faults: list[Fault] = []
    profiles = [
        _profile(kind, getattr(document, kind), folder, faults, places) for kind in ("machine", "attachment")
    ]
    refuse(faults)
    machine, attachment = profiles
    assert machine is not None and attachment is not None  # noqa: S101, PT018 - no fault, so both are there
    assembly, sensors = _fitted(machine, attachment, places)
    datums = {document.slab.name: 0.0} | dict(document.datums)
    stands = {stand.name: stand for stand in document.stands}
    dig = Dig(document, machine, attachment, assembly, sensors, stands, datums, places)
    refuse(places.put(fault) for fault in _faults(dig))
    return dig


def _toml(text: str, file: str) -> dict[str, Any]:
    if len(text) > LONGEST_TEXT:
        raise Refused([
            Fault("too-large", file, f"{len(text)} characters", f"at most {LONGEST_TEXT}", "describe less in one file")
        ])  # fmt: skip
    try:
        return tomllib.loads(text.removeprefix("\ufeff"))  # some editors put a byte order mark first
    except (ValueError, RecursionError) as error:
        raise Refused([
            Fault("broken-toml", file, str(error), "TOML", "see the shipped description")
        ]) from None  # fmt: skip


def _misfit(each: Mapping[str, Any], places: Places) -> Fault:
    loc = [part for i, part in enumerate(each["loc"]) if not (i == 2 and each["loc"][0] == "steps")]
    told = misfit({**each, "loc": ("body", *loc)}, None)
    path = ".".join(str(part) for part in loc if part != "[key]")
    if each["type"] == "union_tag_invalid":
        return Fault("not-a-choice", places.words(f"{path}.do"), shown(each["input"].get("do")),
                     "one of: " + ", ".join(STEPS), nearest(str(each["input"].get("do")), list(STEPS)))  # fmt: skip
    if each["type"] == "union_tag_not_found":
        return Fault(
            "missing-field", places.words(path), "a step without do", "do = one of: " + ", ".join(STEPS)
        )
    advice = told.advice
    expected = told.expected
    if each["type"] == "extra_forbidden":
        known = _known(each["loc"])
        expected = "one of: " + ", ".join(known)
        advice = nearest(str(loc[-1]), known) or advice
    return Fault(told.code, places.words(path), told.found, expected, advice)


def _known(loc: tuple[int | str, ...]) -> list[str]:
    """The keys of the table around a place in pydantic's words."""
    model: type[BaseModel] = DigDocument
    if loc[0] == "steps" and len(loc) > 3:
        model = STEPS[str(loc[2])]
    elif len(loc) > 1:
        schema = DigDocument.model_json_schema()
        field: Any = schema["properties"][loc[0]]
        while field and "$ref" not in field:
            several = [*field.get("patternProperties", {}).values(), *field.get("anyOf", ()), {}]
            field = field.get("items") or field.get("additionalProperties") or several[0]
        table = field.get("$ref", "").rpartition("/")[2]
        return list(schema["$defs"].get(table, {}).get("properties", ()))
    return list(model.model_fields)


def _profile(
    kind: str, name: str, folder: Path | None, faults: list[Fault], places: Places
) -> Profile | None:
    """A shipped profile, or one from a file beside the description; None with a fault."""
    known = {i: profile for (each, i), profile in shipped().items() if each == kind}
    path = None if folder is None else folder / name
    try:
        if name in known:
            return known[name]
        if path is not None and path.is_file():
            profile = parse_profile(path.read_text(encoding="utf-8"))
            if profile.kind == kind:
                return profile
            faults.append(
                Fault("wrong-kind", places.words(kind), f"a profile of kind {profile.kind}", f"kind {kind}")
            )
            return None
    except ProfileFaulty as faulty:
        faults += [
            Fault(f.code, f"{name}:{f.line or 1}: {f.path}", f.found, f.expected, f.advice)
            for f in faulty.faults
        ]
        return None
    except (OSError, UnicodeDecodeError) as error:
        faults.append(Fault("unreadable", places.words(kind), str(error), "a profile in UTF-8"))
        return None
    faults.append(
        Fault(f"unknown-{kind}", places.words(kind), shown(name),
              "a profile file beside the description, or one of: " + ", ".join(known), nearest(name, list(known)))
    )  # fmt: skip
    return None


def _fitted(machine: Profile, attachment: Profile, places: Places) -> tuple[Assembly, SensorSet]:
    if not (isinstance(machine.geometry, Machine) and isinstance(attachment.geometry, Attachment)):
        raise TypeError("a machine and an attachment are needed")
    try:
        assembly = assemble(machine.geometry, attachment.geometry)
        sensors = sensor_set(machine, attachment, assembly)
    except Refused as refused:
        raise Refused(places.put(fault, "machine") for fault in refused.faults) from None
    if sensors is None:
        raise Refused([
            Fault("no-sensors", places.words("machine"), "profiles that say nothing of sensors",
                  "sensors for the body and every joint", "describe them in the profiles")
        ])  # fmt: skip
    return assembly, sensors


# Names that must be there, and what a sensor or joint of this machine can be told. Faults lie at dotted places.


def _faults(dig: Dig) -> Iterator[Fault]:
    document = dig.document
    for kind, named in (("stands", document.stands), ("targets", document.targets)):
        names = [each.name for each in named]
        for i, name in enumerate(names):
            if name in names[:i]:
                yield Fault("name-taken", f"{kind}.{i}.name", shown(name), "a name of its own")
    if document.slab.name in document.datums:
        yield Fault("name-taken", f"datums.{document.slab.name}", "the slab's name", "a name of its own")
    yield from _among("start.stand", document.start.stand, dig.stands, "stand")
    ranges = dig.assembly.ranges
    for name in document.start.joints_deg:
        yield from _among(f"start.joints_deg.{name}", name, ranges, "joint")
    missing = [name for name in ranges if name not in document.start.joints_deg]
    if missing:
        yield Fault(
            "missing-joint", "start.joints_deg", "no " + ", ".join(missing), "each of " + ", ".join(ranges)
        )
    for name, errors in document.sensors.items():
        yield from _among(f"sensors.{name}", name, dig.sensors.all, "sensor")
        if name in dig.sensors.all:
            yield from _errors_fit(
                f"sensors.{name}", dig.sensors.all[name], errors.model_dump(exclude_none=True)
            )
    for i in range(len(document.steps)):
        yield from _step_faults(dig, i)


def _step_faults(dig: Dig, i: int) -> Iterator[Fault]:
    step, at = dig.document.steps[i], f"steps.{i}"
    if isinstance(step, Place | Touch | Pass):
        yield from _among(f"{at}.over", step.over, dig.datums, "datum")
        if step.tilt_deg is not None and "tilt" not in dig.assembly.ranges:
            yield Fault("no-such-joint", f"{at}.tilt_deg", "a tilt", "none: this attachment does not tilt")
        if step.point.startswith("tooth") and dig.assembly.attachment.teeth is None:
            yield Fault(
                "no-such-point", f"{at}.point", step.point, "left, centre or right: this bucket has no teeth"
            )
    if isinstance(step, TurnJoint) and step.joint not in dig.assembly.ranges:
        yield Fault("no-such-joint", f"{at}.joint", step.joint, "one of " + ", ".join(dig.assembly.ranges))
    if isinstance(step, Travel):
        yield from _among(f"{at}.stand", step.stand, dig.stands, "stand")
    if isinstance(step, Touch):
        yield from _record_faults(dig, step, at)
    if isinstance(step, Strike):
        if dig.document.laser is None:
            yield Fault(
                "no-laser", at, "a strike", "a [laser] in the description", "add it, or take the step out"
            )
        if dig.assembly.machine.receiver is None:
            yield Fault(
                "no-receiver", at, "a strike", "a machine with a receiver", "describe it in the profile"
            )
    if isinstance(step, Knock | Quiet):
        yield from _among(f"{at}.sensor", step.sensor, dig.sensors.all, "sensor")
        if isinstance(step, Knock) and step.sensor in dig.sensors.all:
            yield from _knock_faults(step, dig.sensors.all[step.sensor], at)
    if isinstance(step, Swing) and step.by_deg == 0.0:
        yield Fault("not-positive", f"{at}.by_deg", "0", "a swing to one side")


def _record_faults(dig: Dig, step: Touch, at: str) -> Iterator[Fault]:
    wants = {"turning-point": "name", "station": "name and station_m"}.get(step.record or "", "")
    targets = {target.name for target in dig.document.targets}
    if wants and step.name is None:
        yield Fault("missing-field", f"{at}.name", "nothing", f"{wants}, to record a {step.record}")
    if not wants and step.name is not None:
        yield Fault(
            "unknown-field", f"{at}.name", shown(step.name), "a name only for a turning point or a station"
        )
    if (step.record == "station") != (step.station_m is not None):
        yield Fault(
            "missing-field", f"{at}.station_m", shown(step.station_m), "a station's distance, and only there"
        )
    if step.record == "station" and step.name is not None:
        yield from _among(f"{at}.name", step.name, targets, "target")


def _knock_faults(step: Knock, sensor: Sensor, at: str) -> Iterator[Fault]:
    given = {"nose_up_deg", "left_up_deg", "more_deg", "more_mm"} & set(step.model_dump(exclude_none=True))
    if isinstance(sensor.mounting, Mounting):
        fits = {"nose_up_deg", "left_up_deg"}
    else:
        fits = {"more_mm" if sensor.measures == Measure.LENGTH else "more_deg"}
    if not given:
        yield Fault("missing-field", at, "a knock of nothing", "one of: " + ", ".join(sorted(fits)))
    for name in sorted(given - fits):
        yield Fault(
            "unknown-field", f"{at}.{name}", f"{name} of {step.sensor}", "one of: " + ", ".join(sorted(fits))
        )


def _errors_fit(at: str, sensor: Sensor, given: Mapping[str, float]) -> Iterator[Fault]:
    own, other = ("_mm", "_deg") if sensor.measures == Measure.LENGTH else ("_deg", "_mm")
    for name in given:
        if name.endswith(other):
            yield Fault(
                "wrong-units", f"{at}.{name}", name, f"{name.removesuffix(other)}{own}: it reads {own[1:]}"
            )
    if "side_bias_deg" in given and sensor.measures != Measure.PITCH_ROLL:
        yield Fault("unknown-field", f"{at}.side_bias_deg", "a second number", "none: it gives one number")


def _among(at: str, name: str, known: "Mapping[str, object] | set[str]", what: str) -> Iterator[Fault]:
    if name not in known:
        listed = sorted(known)
        expected = "one of: " + ", ".join(listed) if listed else f"no {what}: there is none"
        yield Fault(f"no-such-{what}", at, shown(name), expected, nearest(name, listed))
