"""A machine whose sensors are off by known amounts, and what it meets: touches, rods, levels, as requests."""

import math
from collections.abc import Mapping
from functools import cache
from typing import Any

import numpy as np

from kinematics.arm import Pose, pose
from kinematics.assembly import assemble
from kinematics.calibration_values import value_of, with_values
from kinematics.errors import Refused
from kinematics.machine import Attachment, Machine
from kinematics.reach import place_edge
from kinematics.sensing import readings_of
from kinematics.sensor_set import SensorSet
from machine_profiles import Profile, parse_profile, sensor_set, shipped
from service.live.reading import in_unit

from .doing import Client, Json

MACHINE, BUCKET = "our-digger", "our-bucket"
PLANTED = {"boom.zero": math.radians(0.30), "stick.zero": math.radians(-0.20)}
"""What the sensors truly read beyond what their profile says (rad)."""


def own_text(kind: str, name: str, new: str) -> str:
    """A shipped profile as a machine of one's own: good sensors just fitted, zeros by eye, all else well
    known."""
    text = shipped()[kind, name].source_text.replace(f'id = "{name}"', f'id = "{new}"')
    for old, other in (
        ("zero_uncertainty = 0.05", "zero_uncertainty = 0.5"), ("zero_uncertainty = 0.1", "zero_uncertainty = 0.02"),
        ("noise = 0.05", "noise = 0.01"), ("noise = 0.08", "noise = 0.01"), ("lengths = 3", "lengths = 0.5"),
        ("skew_uncertainty = 0.5", "skew_uncertainty = 0.05"),
    ):  # fmt: skip
        text = text.replace(old, other)
    return text


@cache
def ours() -> tuple[Profile, Profile, SensorSet]:
    """Machine and bucket, and their sensors as the profiles have them."""
    machine = parse_profile(own_text("machine", "crawler-14t", MACHINE))
    bucket = parse_profile(own_text("attachment", "digging-1500", BUCKET))
    return machine, bucket, sensors_of(machine, bucket)


def sensors_of(machine: Profile, bucket: Profile) -> SensorSet:
    carrier, tool = machine.geometry, bucket.geometry
    assert isinstance(carrier, Machine)
    assert isinstance(tool, Attachment)
    found = sensor_set(machine, bucket, assemble(carrier, tool))
    assert found is not None
    return found


@cache
def truly() -> SensorSet:
    """The sensors as they truly are."""
    told = ours()[2]
    return with_values(told, {name: value_of(told, name) + off for name, off in PLANTED.items()})


def said(there: Pose) -> Json:
    """What the true sensors say there, as a request."""
    return {name: in_unit(truly(), name, value) for name, value in readings_of(truly(), there).items()}


@cache
def reaching(count: int, height: float, seed: int) -> tuple[Pose, ...]:
    """Postures of the true machine, edge centre at one height (m over the origin), near and far, curled and stretched."""
    rng, found = np.random.default_rng(seed), list[Pose]()
    while len(found) < count:
        reach, floor = float(rng.uniform(4.3, 7.8)), float(rng.uniform(-1.2, 1.0))
        try:
            placed = place_edge(
                truly().assembly,
                point="centre",
                reach=reach,
                height=height,
                floor_angle=floor,
                pitch=0.008,
                roll=0.004,
            )
        except Refused:
            continue
        found.append(placed.pose)
    return tuple(found)


def touches(name: str = "nail in the slab", count: int = 8, height: float = -1.2, seed: int = 1) -> Json:
    """One fixed point touched in so many postures."""
    poses = [{"readings": said(there)} for there in reaching(count, height, seed)]
    return {"name": name, "edge_point": "centre", "poses": poses}


def staff(
    name: str = "level by the pump house",
    count: int = 6,
    per_m: float = 1.0,
    wrong: Mapping[int, float] | None = None,
) -> Json:
    """Rod readings under a level whose hair is 1.6 m over the origin, `per_m` units a metre; `wrong` by m."""
    seen = []
    for k, height in enumerate(np.linspace(-2.8, 0.9, count).tolist()):
        [there] = reaching(1, height, 100 + k)
        rod = 1.6 - height + (wrong or {}).get(k, 0.0)
        seen.append({"readings": said(there), "edge_point": "centre", "rod": round(rod * per_m, 4)})
    return {"name": name, "by": "level", "seen": seen}


def level_on(link: str, boom: float, stick: float, bucket: float) -> Json:
    """A level on a link's pins while the body stands level (deg)."""
    angles = {"boom": boom, "stick": boom + stick, "bucket": boom + stick + bucket}
    there = pose(
        truly().assembly, pitch=0.0, roll=0.0, boom=math.radians(boom), stick=math.radians(stick),
        bucket=math.radians(bucket),
    )  # fmt: skip
    turned = angles[link]
    ahead = abs(turned) <= 90.0
    return {
        "name": f"level on the {link}", "link": link, "by": "level", "ahead": ahead,
        "inclination_deg": turned if ahead else math.copysign(180.0, turned) - turned,
        "uncertainty_deg": 0.05, "readings": said(there),
    }  # fmt: skip


def body(**more: Any) -> Json:
    """A request that finds what was planted."""
    return {
        "machine": MACHINE, "attachment": BUCKET, "units": "m", "unknowns": [*PLANTED],
        "touches": [touches(), touches("stake on the heap", 8, 1.2, 2)], "staff_readings": [staff()],
        "link_checks": [level_on("boom", 12.0, -80.0, 20.0)],
    } | more  # fmt: skip


def added(client: Client) -> None:
    """Both profiles put on record."""
    for kind, profile in zip(("machines", "attachments"), ours()[:2], strict=True):
        client.post(f"/v1/{kind}", {"toml": profile.source_text})


def revisions(client: Client) -> Json:
    """The current revisions as a request to apply has them."""
    return {
        "machine_revision": client.get(f"/v1/machines/{MACHINE}")["revision"],
        "attachment_revision": client.get(f"/v1/attachments/{BUCKET}")["revision"],
    }
