"""What a check of a profile, or of a machine with an attachment, says: the same from command line and service."""

import math
from collections.abc import Iterable
from dataclasses import asdict, dataclass, field, replace
from typing import Any

import numpy as np

from kinematics.assembly import Assembly, assemble, machine_ranges
from kinematics.drives import four_bar_from_idler
from kinematics.errors import Fault, Refused
from kinematics.machine import Attachment, BucketLinkage, Cylinder, Machine, Range
from kinematics.sensor_set import gives

from .doubts import doubts, pair_doubts, transmission_doubts
from .doubts_sensors import sensor_doubts, unsensed_doubts
from .faults import ProfileFault, ProfileFaulty
from .loader import Profile, parse_profile
from .schema import AttachmentDocument
from .sensor_pair import edge_by_noise, found_together, sensor_set
from .worked import worked_checks

_SAMPLES = 181


@dataclass(frozen=True, slots=True)
class Verdict:
    """Taken or not, and why. `facts` names carry their units; empty where the verdict is no.

    `doubts`: sentences on what is allowed but hardly true (see `doubts`); they never change `ok`.
    `id`, `name`, `content_hash` are None where the file could not be read; of a pair there is no hash.
    """

    ok: bool
    kind: str | None = None
    id: str | None = None
    name: str | None = None
    content_hash: str | None = None
    faults: tuple[ProfileFault, ...] = ()
    facts: dict[str, Any] = field(default_factory=dict)
    doubts: tuple[str, ...] = ()

    def as_json(self) -> dict[str, Any]:
        """The verdict as JSON-able data."""
        lists = {"faults": [asdict(fault) for fault in self.faults], "doubts": list(self.doubts)}
        return asdict(self) | lists  # as JSON has them


def check_profile(text: str) -> Verdict:
    """Read a profile and say what it gives: joint ranges, strokes and lengths, or edge, heel and sign checks; what each
    sensor gives.

    Never raises for what a file may contain; every fault is in the verdict.
    """
    try:
        profile = parse_profile(text)
    except ProfileFaulty as faulty:
        return Verdict(ok=False, faults=faulty.faults)
    geometry = profile.geometry
    facts = (
        _machine_facts(geometry) if isinstance(geometry, Machine) else _attachment_facts(profile, geometry)
    )
    return Verdict(
        ok=True,
        kind=profile.kind,
        id=profile.id,
        name=profile.name,
        content_hash=profile.content_hash,
        facts=facts | _sensor_facts(profile),
        doubts=_doubts(profile),
    )


def check_pair(machine: Profile, attachment: Profile) -> Verdict:
    """Say whether a machine and an attachment close over the whole stroke, with bucket and transmission range.

    Faults name the linkage ("bucket") and have no line, since two files meet. Doubts of either half come with its id
    before them, and with a refusal too: they may be its reason. Of the sensors of both: what each gives, and how far one
    standard deviation moves the edge; a joint that none of them gives is a doubt, since angles typed by hand still work.
    """
    verdict = Verdict(
        ok=True,
        kind="pair",
        id=f"{machine.id} with {attachment.id}",
        name=f"{machine.name} with {attachment.name}",
    )
    carrier, tool = machine.geometry, attachment.geometry
    if not isinstance(carrier, Machine) or not isinstance(tool, Attachment):
        found = f"a profile of kind {machine.kind}, then one of kind {attachment.kind}"
        expected = "a machine, then an attachment"
        return _turned_down(verdict, ProfileFault("wrong-kind", "", None, found, expected, "swap or replace"))
    verdict = replace(
        verdict,
        doubts=(
            *(f"{half.id}: {doubt}" for half in (machine, attachment) for doubt in _doubts(half)),
            *pair_doubts(carrier, tool),
        ),
    )
    try:
        assembly = assemble(carrier, tool)
    except Refused as refused:
        return _turned_down(verdict, *_placeless(refused.faults))
    facts = {"link_lengths_m": _link_lengths(carrier), **_pair_facts(assembly)}
    near = transmission_doubts(*facts["transmission_deg"]) if "transmission_deg" in facts else ()
    verdict = replace(verdict, doubts=(*verdict.doubts, *near))
    facts |= _sensor_facts(machine, attachment)
    return _with_sensors(replace(verdict, facts=facts), machine, attachment, assembly)


def _with_sensors(verdict: Verdict, machine: Profile, attachment: Profile, assembly: Assembly) -> Verdict:
    """The verdict with what the sensors of both say to each other."""
    try:
        sensors = sensor_set(machine, attachment, assembly)
    except Refused as refused:
        missing = [fault for fault in refused.faults if fault.code == "missing-joint"]
        verdict = replace(verdict, doubts=(*verdict.doubts, *unsensed_doubts(missing)))
        others = [fault for fault in refused.faults if fault.code != "missing-joint"]
        return _turned_down(verdict, *_placeless(others)) if others else verdict
    if sensors is None:
        return verdict
    lost = found_together(machine, attachment, assembly)[1]
    verdict = replace(
        verdict,
        doubts=(*verdict.doubts, *(
            f"{name} is another now than [calibration] found: how it hangs together with others counts no more"
            for name in lost
        )),
    )  # fmt: skip
    moved = {name: move * 1e3 for name, move in edge_by_noise(sensors).items()}
    return replace(verdict, facts=verdict.facts | ({"edge_by_noise_mm": moved} if moved else {}))


def _doubts(profile: Profile) -> tuple[str, ...]:
    return (*doubts(profile.geometry), *sensor_doubts(profile))


def _placeless(faults: Iterable[Fault]) -> list[ProfileFault]:
    return [ProfileFault(f.code, f.where, None, f.found, f.expected, f.advice) for f in faults]


def _turned_down(verdict: Verdict, *faults: ProfileFault) -> Verdict:
    return replace(verdict, ok=False, faults=faults, facts={})


def _degrees(span: Range) -> list[float]:
    return [math.degrees(span.low), math.degrees(span.high)]


def _link_lengths(machine: Machine) -> dict[str, float]:
    lengths = {
        "boom": machine.boom_length,
        "fore_boom": machine.fore_boom_length,
        "stick": machine.stick_length,
    }
    return {name: length for name, length in lengths.items() if length is not None}


def _machine_facts(machine: Machine) -> dict[str, Any]:
    held = {"boom": machine.boom, "fore_boom": machine.fore_boom, "stick": machine.stick}
    bucket = machine.bucket
    ranges = {name: _degrees(span) for name, span in machine_ranges(machine)[0].items()}
    cylinders = {name: part for name, part in held.items() if isinstance(part, Cylinder)}
    if isinstance(bucket, Range):
        ranges["bucket"] = _degrees(bucket)
    elif isinstance(bucket.drive, Cylinder):
        cylinders["bucket"] = bucket.drive
    ground = {} if machine.boom_foot_height is None else {"boom_foot_height_m": machine.boom_foot_height}
    return {
        "link_lengths_m": _link_lengths(machine),
        **ground,
        "joint_ranges_deg": ranges,
        "cylinders_mm": {
            name: [part.stroke.low * 1e3, part.stroke.high * 1e3] for name, part in cylinders.items()
        },
        "bucket_linkage": isinstance(bucket, BucketLinkage),
        "receiver": machine.receiver is not None,
    }


def _attachment_facts(profile: Profile, attachment: Attachment) -> dict[str, Any]:
    edge = attachment.edge
    facts: dict[str, Any] = {
        "pin_spacing_mm": attachment.pin_spacing * 1e3,
        "edge_width_mm": math.dist(edge[0], edge[-1]) * 1e3,
        "teeth": attachment.teeth is not None,
    }
    if attachment.coupler_play is not None:
        facts["coupler_play_deg"] = math.degrees(attachment.coupler_play)
    axes = {"tilt": attachment.tilt, "rotate": attachment.rotate}
    facts["joint_ranges_deg"] = {
        name: _degrees(axis.range) for name, axis in axes.items() if axis is not None
    }
    document = AttachmentDocument.model_validate(profile.document)
    facts["sign_checks"] = {
        check.path: {
            "angle_deg": math.degrees(check.angle),
            "stated_mm": check.stated * 1e3,
            "computed_mm": check.computed * 1e3,
        }
        for check in worked_checks(document, attachment)
    }
    return facts


def _sensor_facts(*halves: Profile) -> dict[str, Any]:
    """What each sensor gives, or is held against; nothing where there is none."""
    told = {
        name: {role: " and ".join(gives(sensor)), "measures": str(sensor.measures)}
        for half in halves
        for role, sensors in (("gives", half.sensors), ("checks", half.checks))
        for name, sensor in sensors.items()
    }
    return {"sensors": told} if told else {}


def _pair_facts(assembly: Assembly) -> dict[str, Any]:
    facts: dict[str, Any] = {"joint_ranges_deg": {n: _degrees(span) for n, span in assembly.ranges.items()}}
    if assembly.idler is not None:
        idlers = np.linspace(assembly.idler.low, assembly.idler.high, _SAMPLES).tolist()
        poses = [four_bar_from_idler(assembly, idler) for idler in idlers]
        facts["idler_deg"] = _degrees(assembly.idler)
        facts["transmission_deg"] = _ends([math.degrees(pose.transmission) for pose in poses])
        facts["bucket_per_idler"] = _ends([abs(pose.ratio) for pose in poses])
    return facts


def _ends(values: list[float]) -> list[float]:
    return [min(values), max(values)]
