"""A file's [calibration]: what is wrong with it, and which of what was found together still stands."""

import math
import re
from collections.abc import Iterator, Mapping, Sequence
from datetime import date
from typing import Any

import numpy as np

from kinematics.errors import Fault, Refused
from kinematics.parameters import NAMES, TURNS
from kinematics.sensor import Mounting, Sensor
from kinematics.uncertain_inputs import Inputs

from .measures import Measures
from .schema import AttachmentDocument, MachineDocument
from .schema_calibration import CalibrationTable, MachineCalibrationTable
from .table import Units

Correlations = tuple[tuple[str, str, float], ...]
DECIMALS = 9
"""Of a coefficient: of 30 names no sum of them then misses a variance of 0 by more than `Inputs` allows."""
_HASH = re.compile(r"[0-9a-f]{64}")
_SAME = 1e-9
"""Relative, of the same decimals read twice."""


def calibration_faults(document: MachineDocument | AttachmentDocument) -> Iterator[Fault]:
    """All that is wrong with [calibration] and [restored], each at its place in the file."""
    for place, said in (("calibration", document.calibration), ("restored", document.restored)):
        if said is None:
            continue
        yield from _day(f"{place}.date", said.date)
        for key, value in said.model_dump(exclude_none=True).items():
            if key in ("from_revision", "observations_sha256", "attachment", "revision", "instead_of"):
                yield from _hash(f"{place}.{key}", value)
    if document.calibration is not None:
        yield from _names(document, document.calibration)
        yield from _rows(document.calibration)


def _day(where: str, said: str) -> Iterator[Fault]:
    try:
        good = date.fromisoformat(said).isoformat() == said
    except ValueError:
        good = False
    if not good:
        yield Fault("not-a-date", where, f'"{said[:60]}"', 'a day such as "2026-05-04"')


def _hash(where: str, said: str) -> Iterator[Fault]:
    if not _HASH.fullmatch(said):
        yield Fault("not-a-hash", where, f'"{said[:70]}"', "64 of 0 to 9 and a to f")


def _names(document: MachineDocument | AttachmentDocument, said: CalibrationTable) -> Iterator[Fault]:
    for name in sorted({each for each in said.names if said.names.count(each) > 1}):
        yield Fault("given-twice", "calibration.names", repr(name), "each name once")
    for name in said.of:
        if name not in said.names:
            yield Fault(
                "unknown-parameter",
                f"calibration.of.{name}",
                repr(name[:60]),
                "a name that stands in names too",
            )
    others = [name for name in said.names if name not in said.of]
    bound = isinstance(said, MachineCalibrationTable) and said.attachment is not None
    if others and not bound:
        yield Fault(
            "half-described", "calibration.of", "nothing of " + ", ".join(others), "every name of this file",
            "or, in a machine's file, the attachment that they were found with" if document.kind == "machine" else "",
        )  # fmt: skip


def _rows(said: CalibrationTable) -> Iterator[Fault]:
    if said.correlations is None:
        return
    n = len(said.names)
    if [len(row) for row in said.correlations] != [*range(1, n)]:
        yield Fault(
            "wrong-length", "calibration.correlations", f"rows of {[len(row) for row in said.correlations]}"[:80],
            f"rows of 1 to {n - 1} coefficients, of {n} names",
        )  # fmt: skip
        return
    if len({*said.names}) < n:
        return  # told already
    table = np.eye(n)
    for i, row in enumerate(said.correlations, start=1):
        table[i, :i] = table[:i, i] = row
    try:
        Inputs(tuple(said.names), np.ones(n), table)
    except Refused as refused:
        for fault in refused.faults:
            yield Fault(fault.code, "calibration.correlations", fault.found, fault.expected, fault.advice)


def of_file(document: Mapping[str, Any]) -> CalibrationTable | None:
    """The table of a profile's validated document."""
    said = document.get("calibration")
    if said is None:
        return None
    model = MachineCalibrationTable if document["kind"] == "machine" else CalibrationTable
    return model.model_validate(said)


def standing(
    document: Mapping[str, Any], now: Mapping[str, tuple[float, float]]
) -> tuple[list[str], list[str]]:
    """Of a file's calibrated names those that count, and those that do not; `now`: value and standard uncertainty
    (rad or m) of each source as they are believed now.

    A boom.zero found 3.7013 deg whose file says 3.9 now, or whose sensor is gone: counts no more.
    """
    said = of_file(document)
    if said is None:
        return [], []
    kept: list[str] = []
    lost: list[str] = []
    for name, each in said.of.items():
        there = now.get(name)
        scale = scale_of(document, name)
        good = there is not None and all(
            math.isclose(one, scale * other, rel_tol=_SAME, abs_tol=1e-12)
            for one, other in zip(there, (each.found, each.standard), strict=True)
        )
        (kept if good else lost).append(name)
    return kept, lost


def correlations(document: Mapping[str, Any], names: Sequence[str]) -> Correlations:
    """What a file says hangs together among `names`."""
    said = of_file(document)
    if said is None or said.correlations is None:
        return ()
    told = said.names
    return tuple(
        (told[i], told[j], coefficient)
        for i, row in enumerate(said.correlations, start=1)
        for j, coefficient in enumerate(row)
        if coefficient != 0.0 and told[i] in names and told[j] in names
    )


def scale_of(document: Mapping[str, Any], name: str) -> float:
    """Radians or metres of one of the file's units of a source: 0.001 of "boom_length" in a file in mm."""
    sensor, _, _ = name.partition(".")
    if name in NAMES:
        turns = name in TURNS
    else:
        table = (document.get("sensors") or {}).get(sensor)
        turns = table is None or table["measures"] != "length"
    m = Measures(Units.model_validate(document["units"]))
    return m.turned(1.0) if turns else m.unlimited(1.0)


def believed(sensors: Mapping[str, Sensor]) -> dict[str, tuple[float, float]]:
    """Value and standard uncertainty (rad or m) of these sensors' zeros and skews, as `sources.Sources` names them."""
    found: dict[str, tuple[float, float]] = {}
    for name, sensor in sensors.items():
        mounting, known = sensor.mounting, sensor.zero_uncertainties
        if isinstance(mounting, Mounting) and sensor.skew_uncertainty is not None:
            found[f"{name}.skew"] = mounting.to_left, sensor.skew_uncertainty
        if not known:
            continue
        if not isinstance(mounting, Mounting):
            found[f"{name}.zero"] = mounting, known[0]
        elif sensor.side_sign is not None:
            found[f"{name}.zero.pitch"] = mounting.nose_up, known[0]
            found[f"{name}.zero.roll"] = mounting.left_up, known[-1]
        else:
            found[f"{name}.zero"] = (
                (mounting.left_up if sensor.axis == "left" else mounting.nose_up),
                known[0],
            )
    return found
