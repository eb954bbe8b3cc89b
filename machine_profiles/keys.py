"""Which key of a file holds a dimension: the way back from the parameter vector to what was taped.

Most parameters stand at one key. A pin of a cylinder is taped from its link's inner pin and reckoned from the joint, so
its key less another is the parameter; a straight edge has one key for three points; a point by two tapes has none.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from kinematics.errors import Fault
from kinematics.parameters import EDGE_POINTS, HEEL_POINTS, TOOTH_POINTS

Path = tuple[str | int, ...]
_TAPE = ("to_inner", "to_outer")


@dataclass(frozen=True, slots=True)
class Key:
    """Where a parameter stands. `less`: the parameter whose value is taken off what stands there, "" for none: of
    "stick_cylinder_foot_x" the boom's length. `shared`: parameters that stand there too and go with it."""

    path: Path
    less: str = ""
    shared: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class NoKey:
    """A parameter that no single key holds: `paths` together do, `why` in words. `plane`: the point by two tapes that
    would be one key as x and z, taped from pins `between` apart."""

    paths: tuple[Path, ...]
    why: str
    plane: Path | None = None
    between: str = ""
    less: str = ""


Holder = Key | NoKey


def holders(document: Mapping[str, Any]) -> dict[str, Holder]:
    """Of every dimension that this validated file gives rise to, where it stands."""
    return dict(_of_machine(document) if document["kind"] == "machine" else _of_attachment(document))


def not_written(name: str, held: NoKey, advice: str = "") -> Fault:
    """The fault of an unknown that cannot be written back."""
    keys = " and ".join(dotted(path) for path in held.paths)
    return Fault("not-written-so", name, f"{name}, which {held.why}: {keys}", "a dimension that one key holds",
                 advice or "leave it out of the unknowns")  # fmt: skip


def dotted(path: Path) -> str:
    """A place as it is told: ("bucket", "edge", "points", 1, 0) is "bucket.edge.points.1.0"."""
    return ".".join(str(part) for part in path)


def _of_machine(doc: Mapping[str, Any]) -> Iterator[tuple[str, Holder]]:
    if "swing_boom" in doc:
        yield "swing_post_x", Key(("swing_boom", "post", "forward"))
        yield "swing_post_y", Key(("swing_boom", "post", "left"))
    yield "boom_foot_x", Key(("boom", "foot", "forward"))
    yield "boom_foot_y", Key(("boom", "foot", "left"))
    before = ""
    for link in ("boom", "fore_boom", "stick"):
        if link not in doc:
            continue
        yield f"{link}_length", Key((link, "length"))
        cylinder = doc[link].get("cylinder")
        if cylinder is not None:
            at: Path = (link, "cylinder")
            foot, eye = (*at, "foot"), (*at, "eye")
            yield from _point(f"{link}_cylinder_foot", foot, cylinder["foot"], before, between=before)
            yield from _point(f"{link}_cylinder_eye", eye, cylinder["eye"], between=f"{link}_length")
        before = f"{link}_length"
    if "receiver" in doc:
        for axis in "xyz":
            yield f"receiver_{axis}", Key(("receiver", "place", axis))
            why = "comes of the mast's direction as a whole"
            yield f"mast_{axis}", NoKey((("receiver", "mast_angle"),), why)
    bar = doc["bucket"].get("linkage")
    if bar is not None:
        at = ("bucket", "linkage")
        yield from _point("idler_pivot", (*at, "idler_pivot"), bar["idler_pivot"], between=before)
        yield "idler_length", Key((*at, "idler"))
        yield "power_link_length", Key((*at, "power_link"))
        if "cylinder" in doc["bucket"]:
            pin = doc["bucket"]["cylinder"]["foot"]
            path: Path = ("bucket", "cylinder", "foot")
            yield from _point(
                "bucket_cylinder_foot", path, pin, "idler_pivot_x", "idler_pivot_z", between=before
            )


def _of_attachment(doc: Mapping[str, Any]) -> Iterator[tuple[str, Holder]]:
    yield "pin_spacing", Key(("pins", "spacing"))
    for step in ("coupler", "mount"):
        if step in doc:
            for key in ("x", "z", "angle"):
                yield f"{step}_{key}", Key((step, key))
    for axis in ("tilt", "rotate"):
        if axis in doc:
            for key in "xyz":
                yield f"{axis}_point_{key}", Key((axis, "point", key))
                why = "is a direction's, of length 1 whatever the file says"
                yield f"{axis}_axis_{key}", NoKey(tuple((axis, "direction", each) for each in "xyz"), why)
    bucket = doc["bucket"]
    edge = bucket["edge"]
    if "points" in edge:
        at = dict(zip(EDGE_POINTS, (0, edge["centre"], len(edge["points"]) - 1), strict=True))
        for point, i in at.items():
            for j, axis in enumerate("xyz"):
                yield f"{point}_{axis}", Key(("bucket", "edge", "points", i, j))
    else:
        yield from _line(EDGE_POINTS, ("bucket", "edge"), edge, ("bucket", "width"))
    width: Path = ("bucket", "heel_width" if "heel_width" in bucket else "width")
    yield from _line(HEEL_POINTS, ("bucket", "heel"), bucket["heel"], width)
    if "teeth" in doc:
        yield from _line(TOOTH_POINTS, ("teeth", "tip"), doc["teeth"]["tip"], ("teeth", "width"))


def _point(
    name: str, path: Path, point: Mapping[str, Any], less_x: str = "", less_z: str = "", *, between: str
) -> Iterator[tuple[str, Holder]]:
    """A point in a link's plane, by x and z or by two tapes."""
    for axis, less in (("x", less_x), ("z", less_z)):
        if "x" in point:
            yield f"{name}_{axis}", Key((*path, axis), less)
        else:
            yield f"{name}_{axis}", _taped(path, between, less)


def _taped(path: Path, between: str, less: str = "") -> NoKey:
    return NoKey(tuple((*path, key) for key in _TAPE), "comes of two tapes", path, between, less)


def _line(
    points: tuple[str, ...], path: Path, point: Mapping[str, Any], width: Path
) -> Iterator[tuple[str, Holder]]:
    """Points across the bucket's plane, alike in x and z."""
    for axis in "xz":
        names = tuple(f"{each}_{axis}" for each in points)
        for name in names:
            held = Key((*path, axis), shared=tuple(each for each in names if each != name))
            yield name, held if "x" in point else _taped(path, "pin_spacing")
    for each in points:
        yield f"{each}_y", NoKey((width,), "comes of a width, which moves both ends")
