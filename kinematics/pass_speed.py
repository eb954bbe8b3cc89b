"""How fast a pass can go when every cylinder gets no more than its flow, and all together no more than a pump gives.

From one place of a pass to the next each cylinder has to take in, or give room for, its area times the way it goes; the
slowest sets the pace. Ways are those between the places, so a cylinder that turns back between two of them is taken
to go straight.
"""

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from itertools import pairwise

from .errors import Fault, refuse
from .hydraulics import L_PER_MIN, Hydraulics
from .passes import Pass

ALL = "all"
"""Limits where the flow of all cylinders together does."""


@dataclass(frozen=True, slots=True)
class PassSpeed:
    """From each place to the next, in the order of the pass's places: `edge` (m/s), the speed of the point along the
    line; `cylinders` (m/s) by joint, of those that move, positive where one gets longer the way the pass goes;
    `limited_by`, the joint whose flow sets the pace, or "all". `duration` (s) of the whole pass.

    120 mm of bore pushed by 60 l/min runs out at 88 mm/s.
    """

    edge: tuple[float, ...]
    cylinders: Mapping[str, tuple[float, ...]]
    limited_by: tuple[str, ...]
    duration: float


def pass_speed(
    found: Pass,
    hydraulics: Hydraulics,
    *,
    flows: Mapping[str, float] | None = None,
    pump: float | None = None,
    outwards: bool = False,
) -> PassSpeed:
    """The fastest a pass can be dug towards the machine, or `outwards` from its near end to its far end.

    `flows` (m^3/s) by joint, in place of what the rams say; `pump` (m^3/s): what all cylinders get together, None where
    that is not to limit. A return line's flow is not held against anything.
    Raises `Refused`: "not-finite", "not-positive", "no-such-joint"; "no-bore" and "no-flow" for every cylinder that
    moves and of which bore or flow is missing (a flow is not needed where `pump` is given).
    """
    # A fore boom that is held stands throughout: its cylinder takes nothing, and need not be known.
    joints = tuple(found.places[0].joints)
    driven = tuple(found.places[0].cylinders)
    moving = tuple(name for name in driven if name in joints)
    given = {name: ram.flow for name, ram in hydraulics.rams.items() if ram.flow is not None} | dict(
        flows or {}
    )
    refuse([*_flow_faults(flows or {}, pump), *_missing(driven, joints, hydraulics, given, pump)])
    places = found.places if outwards else tuple(reversed(found.places))
    edge, limited = [], []
    ways: dict[str, list[float]] = {name: [] for name in moving}
    seconds = []
    for here, there in pairwise(places):
        volumes = {}
        for name in moving:
            way = there.cylinders[name] - here.cylinders[name]
            ways[name].append(way)
            volumes[name] = abs(way) * hydraulics.rams[name].area(pushing=way > 0.0)
        needed = {name: volume / given[name] for name, volume in volumes.items() if name in given}
        if pump is not None:
            needed[ALL] = sum(volumes.values()) / pump
        slowest = max(needed, key=lambda name: needed[name])
        far = math.hypot(there.reach - here.reach, there.height - here.height)
        limited.append(slowest)
        seconds.append(needed[slowest])
        edge.append(far / needed[slowest] if needed[slowest] > 0.0 else math.inf)
    speeds = {
        name: tuple(way / time if time > 0.0 else 0.0 for way, time in zip(each, seconds, strict=True))
        for name, each in ways.items()
    }
    if not outwards:
        edge.reverse()
        limited.reverse()
        speeds = {name: tuple(reversed(each)) for name, each in speeds.items()}
    return PassSpeed(tuple(edge), speeds, tuple(limited), sum(seconds))


def _flow_faults(flows: Mapping[str, float], pump: float | None) -> Iterator[Fault]:
    for where, flow in (*((f"flows.{name}", flow) for name, flow in flows.items()), ("pump", pump)):
        if flow is None:
            continue
        if not math.isfinite(flow):
            yield Fault("not-finite", where, str(flow), "a finite number")
        elif flow <= 0.0:
            found = f"{flow / L_PER_MIN:g} l/min"
            yield Fault("not-positive", where, found, "a flow above 0", "", {"flow_m3_s": flow})


def _missing(
    driven: tuple[str, ...], joints: tuple[str, ...], hydraulics: Hydraulics, flows: Mapping[str, float],
    pump: float | None,
) -> Iterator[Fault]:  # fmt: skip
    for name in flows:
        if name not in driven:
            yield Fault(
                "no-such-joint", f"flows.{name}", repr(name), "a joint with a cylinder: " + ", ".join(driven)
            )
    add = "add them to the machine's profile or the question"
    for name in joints:
        if name not in driven:
            yield Fault(
                "no-cylinder", name, "a joint without a measured cylinder", "the pins of every cylinder that moves",
                "measure its cylinder",
            )  # fmt: skip
        elif name not in hydraulics.rams:
            yield Fault(
                "no-bore", name, "a cylinder of which nobody knows the bore", f"bore and rod of the {name} cylinder", add
            )  # fmt: skip
        elif pump is None and name not in flows:
            expected = f"the flow that the {name} cylinder gets, or what the pump gives"
            yield Fault("no-flow", f"flows.{name}", "no flow", expected, add)
