"""Where the pins are: the same frames as the chain's, for drawing and measuring rather than for depth."""

import math

import numpy as np
from numpy.typing import NDArray

from .chain import arm_pins, body_from_arm
from .compiled import compiled
from .maps import Map, after, lifted, place
from .trig import sincos

PINS = (
    "boom_foot_pin", "fore_boom_pin", "stick_pin", "bucket_pin", "link_pin", "idler_pivot", "idler_pin",
    "boom_cylinder_foot", "boom_cylinder_eye", "fore_boom_cylinder_foot", "fore_boom_cylinder_eye",
    "stick_cylinder_foot", "stick_cylinder_eye", "bucket_cylinder_foot",
)  # fmt: skip


@compiled
def write_pin(m: Map, x: float, z: float, places: NDArray[np.float64], index: int) -> None:
    """Put the place of a pin in a link's plane into row `index`."""
    bx, by, bz = place(m, x, 0.0, z)
    places[index, 0] = bx
    places[index, 1] = by
    places[index, 2] = bz


@compiled
def write_pins(
    records: np.ndarray[tuple[int], np.dtype[np.void]],
    q: NDArray[np.float64],
    idler: float,
    places: NDArray[np.float64],
) -> None:
    """Fill body places of `PINS`, shape (len, 3), NaN where the machine has none; `idler` its angle (rad) or NaN."""
    m = records[0]
    arm = body_from_arm(m, q[2])
    boom_s, boom_c = sincos(q[3])
    fore_s, fore_c = sincos(q[3] + q[4])
    fx, fz, sx, sz = arm_pins(m, boom_s, boom_c, fore_s, fore_c)
    boom = after(arm, lifted(q[3], 0.0, 0.0, 0.0))
    fore = after(arm, lifted(q[3] + q[4], fx, 0.0, fz))
    stick = after(arm, lifted(q[3] + q[4] + q[5], sx, 0.0, sz))
    hitch = after(stick, lifted(q[6], m["stick_length"], 0.0, 0.0))
    write_pin(arm, 0.0, 0.0, places, 0)
    write_pin(arm, fx, fz, places, 1)
    write_pin(arm, sx, sz, places, 2)
    write_pin(stick, m["stick_length"], 0.0, places, 3)
    write_pin(hitch, m["pin_spacing"], 0.0, places, 4)
    px = m["idler_pivot_x"]
    pz = m["idler_pivot_z"]
    write_pin(stick, px, pz, places, 5)
    reach = m["idler_length"]
    write_pin(stick, px + reach * math.cos(idler), pz + reach * math.sin(idler), places, 6)
    # A cylinder's foot is seen from the pin it turns, in the link before; its eye in the link it turns.
    write_pin(arm, m["boom_cylinder_foot_x"], m["boom_cylinder_foot_z"], places, 7)
    write_pin(boom, m["boom_cylinder_eye_x"], m["boom_cylinder_eye_z"], places, 8)
    at_fore = m["boom_length"] + m["fore_boom_cylinder_foot_x"]
    write_pin(boom, at_fore, m["fore_boom_cylinder_foot_z"], places, 9)
    write_pin(fore, m["fore_boom_cylinder_eye_x"], m["fore_boom_cylinder_eye_z"], places, 10)
    # Without a fore boom, `fore` lies on the stick pin, turned as the boom.
    at_stick = m["fore_boom_length"] + m["stick_cylinder_foot_x"]
    write_pin(fore, at_stick, m["stick_cylinder_foot_z"], places, 11)
    write_pin(stick, m["stick_cylinder_eye_x"], m["stick_cylinder_eye_z"], places, 12)
    write_pin(stick, px + m["bucket_cylinder_foot_x"], pz + m["bucket_cylinder_foot_z"], places, 13)
