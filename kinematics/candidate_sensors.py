"""Sensors that are not bought yet: the profile's with other figures, or a plain set, alike for every joint."""

import dataclasses
import difflib
import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from .assembly import Assembly, assemble
from .errors import Fault, Refused, refuse
from .machine import AttachmentUncertainty, MachineUncertainty, Range
from .parameters import ATTACHMENT_NAMES, parameters_of
from .sensor import LEFT, Measure, Mounting, Sensor
from .sensor_set import SensorSet
from .sources import USUAL

KINDS_OF_SET = ("gravity", "encoder")
GIVES = ("pin_slop", "flex", "edge_wear")
"""What gives and may be said besides the dimensions: `MachineUncertainty.pin_slop`, `.flex`, and of the edge its wear."""
_MACHINES = ("pin_slop", "flex")
_MOST_LISTED = 8


@dataclass(frozen=True, slots=True)
class Figures:
    """Standard uncertainties of one sensor, rad or m (per kelvin), as of `Sensor`; None: as it was."""

    zero_uncertainty: float | None = None
    noise: float | None = None
    per_kelvin: float | None = None
    skew_uncertainty: float | None = None


def plain_set(assembly: Assembly, by: str, figures: Figures) -> SensorSet:
    """Sensors alike on every joint, square on their links: `by` "gravity" or "encoder".

    The body always by gravity, pitch and roll; swing boom and rotation always by encoders, which gravity cannot see. A
    bucket on a tilt axis is sensed on its coupler, else on its idler. `figures` that are None are the usual ones
    (`sources.USUAL`), a skew counts for sensors of gravity alone.
    Raises `Refused`: "not-a-choice", "not-sensed-so" where nothing of this bucket can be sensed by gravity; as `Sensor`.
    """
    if by not in KINDS_OF_SET:
        raise Refused([Fault("not-a-choice", "by", repr(by[:60]), "one of " + ", ".join(KINDS_OF_SET))])
    told: dict[str, Any] = dataclasses.asdict(figures)
    told["noise"] = USUAL.noise if figures.noise is None else figures.noise
    told |= {"sign": 1, "latency_s": 0.0, "age_limit_s": 1.0}
    turn = Range(-math.pi, math.pi)
    sensors = {
        "body": Sensor(
            place="body", measures=Measure.PITCH_ROLL, side_sign=1, mounting=Mounting(0.0), range=turn, **told
        )
    }
    for joint in assembly.ranges:
        if by == "encoder" or joint in ("swing_boom", "rotate"):
            plain = told | {"skew_uncertainty": None}
            span = Range(-2.0 * math.pi, 2.0 * math.pi)
            sensors[joint] = Sensor(place=joint, measures=Measure.ANGLE, mounting=0.0, range=span, **plain)
        else:
            place, mounting, axis = _by_gravity(assembly, joint)
            sensors[joint] = Sensor(
                place=place, measures=Measure.GRAVITY_ANGLE, mounting=mounting, range=turn, axis=axis, **told
            )
    return SensorSet(assembly, sensors)


def _by_gravity(assembly: Assembly, joint: str) -> tuple[str, Mounting, str]:
    """(place, mounting, axis) of the sensor of gravity that tells a joint."""
    attachment = assembly.attachment
    if joint == "tilt" and attachment.tilt is not None:
        x, _, z = attachment.tilt.direction
        return "tilt", Mounting(math.atan2(z, x)), LEFT
    place = joint
    if joint == "bucket" and (attachment.tilt is not None or attachment.rotate is not None):
        place = "coupler" if attachment.coupler is not None else "idler"
        if place == "idler" and assembly.links is None:
            raise Refused([
                Fault("not-sensed-so", "by", "gravity on a bucket that tilts, with neither coupler nor linkage",
                      "encoder, or a profile with its linkage measured")
            ])  # fmt: skip
    return place, Mounting(0.0), "ahead"


def refigured(sensors: SensorSet, figures: Mapping[str, Figures]) -> SensorSet:
    """The same sensors with other figures, by sensor name; checks are left out, since they change no number. A zero given
    anew hangs together with nothing any more.

    Raises `Refused` with every fault, at "sensors.boom.noise": "no-such-sensor" with near names, and as `Sensor`.
    """
    faults = [
        Fault("no-such-sensor", f"sensors.{name}", repr(name[:60]), "one of " + ", ".join(sensors.sensors),
              _near(name, tuple(sensors.sensors)))
        for name in figures if name not in sensors.sensors
    ]  # fmt: skip
    found: dict[str, Sensor] = {}
    for name, sensor in sensors.sensors.items():
        given = dataclasses.asdict(figures.get(name, Figures()))
        try:
            found[name] = dataclasses.replace(
                sensor, **{figure: value for figure, value in given.items() if value is not None}
            )
        except Refused as refused:
            faults += [fault.at(f"sensors.{name}") for fault in refused.faults]
    refuse(faults)
    anew = [name for name, given in figures.items() if given.zero_uncertainty is not None]
    return SensorSet(sensors.assembly, found, correlations=sensors.apart_from(anew))


def remeasured(assembly: Assembly, of: Mapping[str, float]) -> Assembly:
    """The same machine and attachment, dimensions known otherwise: standard uncertainties (m, rad) by parameter name, or
    of `GIVES` (pin slop the full clearance).

    Raises `Refused` with every fault: "unknown-parameter" with near names, and as `Machine` and `Attachment`.
    """
    machine, attachment = assembly.machine, assembly.attachment
    known = (*parameters_of(machine), *parameters_of(attachment), *GIVES)
    refuse(_unknown(of, known))
    mine: dict[str, float] = {}
    its: dict[str, float] = {}
    fields: dict[str, dict[str, float]] = {"machine": {}, "attachment": {}}
    for name, value in of.items():
        if name in GIVES:
            fields["machine" if name in _MACHINES else "attachment"][name] = value
        else:
            (its if name in ATTACHMENT_NAMES else mine)[name] = value
    of_machine, of_attachment = (
        machine.uncertainty or MachineUncertainty(),
        attachment.uncertainty or AttachmentUncertainty(),
    )
    faults: list[Fault] = []
    carrier, tool = machine, attachment
    try:
        carrier = dataclasses.replace(
            machine,
            uncertainty=dataclasses.replace(of_machine, of={**of_machine.of, **mine}, **fields["machine"]),
        )
    except Refused as refused:
        faults += refused.faults
    try:
        tool = dataclasses.replace(
            attachment,
            uncertainty=dataclasses.replace(
                of_attachment, of={**of_attachment.of, **its}, **fields["attachment"]
            ),
        )
    except Refused as refused:
        faults += refused.faults
    refuse(
        Fault(f.code, f.where.rpartition(".")[2], f.found, f.expected, f.advice, f.numbers) for f in faults
    )
    return assemble(carrier, tool)


def _unknown(of: Mapping[str, float], known: tuple[str, ...]) -> Iterator[Fault]:
    for name in of:
        if name not in known:
            near = difflib.get_close_matches(name, known, n=_MOST_LISTED, cutoff=0.4) or known[:_MOST_LISTED]
            yield Fault(
                "unknown-parameter", name, repr(name[:60]), "a dimension of this machine, such as " + ", ".join(near),
                _near(name, known) or "take it out",
            )  # fmt: skip


def _near(name: str, known: tuple[str, ...]) -> str:
    near = difflib.get_close_matches(name, known, n=1)
    return f"did you mean {near[0]}?" if near else ""
