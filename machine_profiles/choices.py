"""Keys that exclude or need each other, checked on the parsed file beside the models."""

from collections.abc import Iterator, Mapping
from typing import Any

from kinematics.errors import Fault
from kinematics.sensor import BY_GRAVITY, Measure

from .faults import shown, tables
from .table import Table

_TAPE = {"to_inner", "to_outer", "side"}
# Where one number of gravity may be told by either axis of its case.
_TWO_AXES = {"machine": "body", "attachment": "tilt"}
_ONE_AXIS = {Measure.GRAVITY_ANGLE, Measure.INCLINATION}


def choice_faults(model: type[Table], raw: Mapping[str, Any], path: str = "") -> Iterator[Fault]:
    """Every table that gives none or several of its `one_of` keys, at any depth; what has no table is passed."""
    if model.one_of:
        yield from _exactly_one(path, model.one_of, [key for key in model.one_of if key in raw])
    for name, field in model.model_fields.items():
        inner = raw.get(field.alias or name)
        of = [table for table in tables(field.annotation) if issubclass(table, Table)]
        if isinstance(inner, Mapping) and len(of) == 1:
            yield from choice_faults(of[0], inner, f"{path}.{name}" if path else name)


def _exactly_one(path: str, keys: tuple[str, ...], given: list[str]) -> Iterator[Fault]:
    if len(given) != 1:
        yield Fault(
            "exactly-one", path, " and ".join(given) or "none of them", "exactly one of " + ", ".join(keys),
            "take one out" if given else "add one of them",
        )  # fmt: skip


def machine_choice_faults(raw: Mapping[str, Any]) -> Iterator[Fault]:
    """A linkage needs a bucket cylinder or the idler's range; a measured bucket range needs neither."""
    bucket = raw.get("bucket")
    if not isinstance(bucket, Mapping):
        return
    linkage = bucket.get("linkage")
    cylinder = ["cylinder"] if "cylinder" in bucket else []
    if isinstance(linkage, Mapping):
        given = cylinder + (["linkage.idler_range"] if "idler_range" in linkage else [])
        yield from _exactly_one("bucket", ("cylinder", "linkage.idler_range"), given)
    elif cylinder and linkage is None:
        yield Fault(
            "missing-key", "bucket.linkage", "a bucket cylinder without a linkage", "the linkage that it turns",
            "measure idler and power link, or take the cylinder out",
        )  # fmt: skip


def attachment_choice_faults(raw: Mapping[str, Any]) -> Iterator[Fault]:
    """A straight edge needs a width, one given by points has its own; tape needs pins of known spacing."""
    bucket = raw.get("bucket")
    teeth = raw.get("teeth")
    if isinstance(bucket, Mapping):
        edge = bucket.get("edge")
        by_points = isinstance(edge, Mapping) and bool({"points", "centre"} & edge.keys())
        wanted, advice = ("heel_width", "measure the heel's own") if by_points else ("width", "measure it")
        if wanted not in bucket:
            yield Fault("missing-key", f"bucket.{wanted}", "no such key", f"the key {wanted}", advice)
        if by_points and "width" in bucket:
            yield Fault(
                "not-both", "bucket.width", "width beside edge.points", "points alone", "take the width out"
            )
        yield from _tape_faults(raw, {"bucket.edge": edge, "bucket.heel": bucket.get("heel")})
    if isinstance(teeth, Mapping):
        yield from _tape_faults(raw, {"teeth.tip": teeth.get("tip")})


def _tape_faults(raw: Mapping[str, Any], points: Mapping[str, object]) -> Iterator[Fault]:
    between = [key for key in ("coupler", "mount") if key in raw]
    for path, point in points.items():
        if between and isinstance(point, Mapping) and _TAPE & point.keys():
            yield Fault(
                "tape-needs-pins", path, f"tape distances below a {between[0]}", "x and z",
                "or measure bucket and coupler as one, from the machine's own two pins, and leave the coupler out",
            )  # fmt: skip


def sensor_choice_faults(kind: str, raw: Mapping[str, Any]) -> Iterator[Fault]:
    """What a sensor must say, or must not, since it measures what it does where it does; `kind` of the file."""
    sensors = raw.get("sensors")
    for name, sensor in sensors.items() if isinstance(sensors, Mapping) else ():
        measures = sensor.get("measures") if isinstance(sensor, Mapping) else None
        if isinstance(measures, str) and measures in set(Measure):
            for fault in _sensor_faults(kind, sensor, Measure(measures)):
                yield fault.at(f"sensors.{name}")


def _sensor_faults(kind: str, sensor: Mapping[str, Any], measures: Measure) -> Iterator[Fault]:
    place, mounting = sensor.get("place"), sensor.get("mounting")
    by_gravity = measures in BY_GRAVITY
    if isinstance(mounting, Mapping | float | int) and isinstance(mounting, Mapping) != by_gravity:
        expected = (
            "a table: nose_up, left_up, to_left"
            if by_gravity
            else "one number: what it says over the true value"
        )
        yield Fault("wrong-type", "mounting", shown(mounting), expected, f"it measures {measures}")
    if place == _TWO_AXES[kind] and measures in _ONE_AXIS and "axis" not in sensor:
        yield Fault(
            "missing-key",
            "axis",
            "no such key",
            "the key axis, ahead or left",
            "say which axis of its case it reads",
        )
    if measures == Measure.PITCH_ROLL and "side_sign" not in sensor:
        yield Fault(
            "missing-key", "side_sign", "no such key", "the key side_sign, 1 or -1", "its roll has a sign too"
        )
    if measures != Measure.PITCH_ROLL and "side_sign" in sensor:
        yield Fault(
            "not-sensed-so", "side_sign", f"{measures}", "a side_sign only with pitch-roll", "take it out"
        )
    if place == "bucket" and by_gravity == (kind == "machine"):
        yield Fault(
            "not-sensed-so", "place", f"{measures} on bucket in a file of kind {kind}",
            "what hangs on the bucket in the attachment's file, what turns or draws its joint in the machine's",
            "move its table to the other file",
        )  # fmt: skip
