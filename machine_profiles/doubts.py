"""What a profile may say and is hardly ever true: told beside the verdict, never refused, since scale models exist.

Every limit here: common practice, no source.
"""

import math
from collections.abc import Iterator, Mapping

from kinematics.chain import hitch_from_bucket
from kinematics.machine import Attachment, AttachmentUncertainty, Machine, MachineUncertainty, is_turn
from kinematics.maps import place
from kinematics.parameters import record

BOOM_M = (0.8, 25.0)
STICK_M = (0.4, 20.0)
FOOT_M = (0.2, 5.0)
PIN_SPACING_M = (0.08, 1.2)
EDGE_M = (0.15, 4.0)
NARROWEST_M, WIDEST_M = 0.15, 4.0
TRANSMISSION_DEG = (15.0, 165.0)
KNOWN_TO_MM, KNOWN_TO_DEG = (0.1, 50.0), (0.005, 2.0)
_MAY_BE_NONE = ("pin_slop", "flex", "edge_wear")
_UNIT = "check units.length and the decimal point"


def doubts(geometry: Machine | Attachment) -> tuple[str, ...]:
    """What is hardly true of one machine or attachment, a sentence each, lengths in m; empty where nothing is.

    A boom of 16.5 in a file in inches: "boom.length is 0.419 m; usual are 0.8 to 25 m: check units.length and ...".
    An edge with z > 0 in the bucket's own frame lies above its pin line. Never raises.
    """
    found = _of_machine(geometry) if isinstance(geometry, Machine) else _of_attachment(geometry)
    return (*found, *(() if geometry.uncertainty is None else _too_sure(geometry.uncertainty)))


def pair_doubts(machine: Machine, attachment: Attachment) -> tuple[str, ...]:
    """What is hardly true of the two together: an edge further (m) from the bucket pin than the stick is long.

    Seen at zero tilt and rotation, coupler and mount included. Never raises.
    """
    hitch = hitch_from_bucket(record(machine, attachment)[0], 0.0, 0.0)
    x, _, z = place(hitch, *attachment.edge[attachment.centre])
    far = math.hypot(x, z)
    if far <= machine.stick_length:
        return ()
    return (
        f"the edge lies {far:.3f} m from the bucket pin, further than the stick is long ({machine.stick_length:.3f} m): "
        "check units.length in both files",
    )


def transmission_doubts(least: float, most: float) -> tuple[str, ...]:
    """What is hardly true of a pair that closes: a transmission angle (deg) near dead centre somewhere in the stroke."""
    low, high = TRANSMISSION_DEG
    if low <= least and most <= high:
        return ()
    return (
        f"the transmission angle runs from {least:.0f} to {most:.0f} deg over the stroke; usual are {low:g} to {high:g}: "
        "is this the attachment for this machine, and are the linkage's pins right?",
    )


def _of_machine(machine: Machine) -> Iterator[str]:
    boom, name = machine.boom_length, "boom.length"
    if machine.fore_boom_length is not None:
        boom, name = boom + machine.fore_boom_length, "boom.length and fore_boom.length together"
    yield from _unusual(name, boom, BOOM_M)
    yield from _unusual("stick.length", machine.stick_length, STICK_M)
    if machine.boom_foot_height is not None:
        yield from _unusual("boom.foot_above_ground", machine.boom_foot_height, FOOT_M)
    away = math.hypot(machine.boom_foot_x, machine.boom_foot_y)
    if away > boom:
        axis = "swing axis" if machine.swing_boom is None else "swing post"
        yield (
            f"boom.foot lies {away:.3f} m from the {axis}, further than the boom is long ({boom:.3f} m): "
            "check forward and left"
        )


def _of_attachment(attachment: Attachment) -> Iterator[str]:
    yield from _unusual("pins.spacing", attachment.pin_spacing, PIN_SPACING_M)
    x, _, z = attachment.edge[attachment.centre]
    yield from _unusual("the way from the bucket's pin to its edge", math.hypot(x, z), EDGE_M)
    points = {
        "bucket.edge": attachment.edge,
        "bucket.heel": attachment.heel,
        "teeth.tip": attachment.teeth or (),
    }
    yield from _above(points)
    width = max(math.dist(attachment.edge[0], attachment.edge[-1]), math.dist(*attachment.heel))
    if width > WIDEST_M:
        yield f"the bucket is {width:.3f} m wide; usual are up to {WIDEST_M:g} m: {_UNIT}"
    edge = math.dist(attachment.edge[0], attachment.edge[-1])
    if edge < NARROWEST_M:
        yield f"the edge is {edge:.3f} m wide; usual are {NARROWEST_M:g} m and more: {_UNIT}"


def _unusual(name: str, value: float, usual: tuple[float, float]) -> Iterator[str]:
    if not usual[0] <= value <= usual[1]:
        yield f"{name} is {value:.3f} m; usual are {usual[0]:g} to {usual[1]:g} m: {_UNIT}"


def _too_sure(known: MachineUncertainty | AttachmentUncertainty) -> Iterator[str]:
    said = {name: getattr(known, name, None) for name in ("lengths", "angles", *_MAY_BE_NONE)}
    said |= {f"of.{name}": value for name, value in known.of.items()}
    for name, value in said.items():
        if value is None or (value == 0.0 and name in _MAY_BE_NONE):
            continue
        turn = name == "angles" or is_turn(name.removeprefix("of."))
        shown = math.degrees(value) if turn else value * 1e3
        low, high = KNOWN_TO_DEG if turn else KNOWN_TO_MM
        unit, key = ("deg", "units.angle") if turn else ("mm", "units.length")
        if not low <= shown <= high:
            yield f"uncertainty.{name} is {shown:.3g} {unit}; usual are {low:g} to {high:g} {unit}: check {key}"


def _above(points: Mapping[str, tuple[tuple[float, float, float], ...]]) -> Iterator[str]:
    for name, places in points.items():
        highest = max((z for _, _, z in places), default=0.0)
        if highest > 0.0:
            what = name.rpartition(".")[2]
            yield (
                f"{name} lies {highest:.3f} m above the pin line (z > 0); a bucket's {what} lies below its pin line: "
                "is the sign right?"
            )
