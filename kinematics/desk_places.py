"""The compiled parts of a sensor set and its machine beside each other: where a dimension stands among them, and the same
without ends of ranges, for what is read again with errors or other dimensions."""

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from .assembly import Assembly
from .drive_block import BAR, CYLINDER, DRIVEN
from .drives import four_bar_from_bucket
from .errors import Fault, Refused
from .parameters import CYLINDER_PINS, NAMES
from .sensing_block import ANGLES, SENSED, Program, sense
from .sensor import Measure
from .sensor_set import LEAN

Floats = NDArray[np.float64]
Parts = tuple[NDArray[np.void], NDArray[np.void], NDArray[np.void]]
_ROOM_RAD = 0.3  # around an angle: far past any error, and short of another turn
_BAR_OF = {
    "idler_pivot_x": "pivot_x", "idler_pivot_z": "pivot_z", "idler_length": "idler_length",
    "power_link_length": "power_link", "stick_length": "bucket_pin_x", "pin_spacing": "pin_spacing",
}  # fmt: skip
_BRANCHES = (1, -1)
_ALIKE_RAD = 1e-6
_INCLINATION, _JOINTS = [None, *Measure].index(Measure.INCLINATION), len(LEAN)


def dimension_places(name: str, starts: Sequence[int], rows: NDArray[np.void]) -> list[int]:
    """Where a dimension stands on a desk: in the chain, and in what is between sensors and joints.

    `starts`: where on it the record, the program's `rows`, the bar and the cylinders begin, each counted in numbers.
    """
    record, sensed, bar, cylinders = starts
    at = [record + NAMES.index(name)]
    width = len(CYLINDER.names or ())
    if name in _BAR_OF:
        at.append(bar + (BAR.names or ()).index(_BAR_OF[name]))
    if name == "idler_length":
        at.append(cylinders + DRIVEN.index("bucket") * width + (CYLINDER.names or ()).index("eye_x"))
    if "_cylinder_" in name:
        joint, _, pin = name.partition("_cylinder_")
        if pin in CYLINDER_PINS[joint]:
            at.append(cylinders + DRIVEN.index(joint) * width + (CYLINDER.names or ()).index(pin))
    least = {"coupler_angle": 1, "mount_angle": 2}.get(name)
    row = SENSED.itemsize // 8
    if least is not None:
        held = SENSED.fields["held"][1] // 8  # type: ignore[index]
        at += [sensed + i * row + held for i in range(len(ANGLES)) if rows[i]["steps"] >= least]
    if name.startswith("tilt_axis_"):
        about = SENSED.fields[f"about_{name[-1]}"][1] // 8  # type: ignore[index]
        at.append(sensed + ANGLES.index("tilt") * row + about)
    return at


def loosened(steps: Program) -> Program:
    """A set's program without ends of ranges and strokes: an error may carry a joint past its stop."""
    rows, cylinders = steps.rows.copy(), steps.cylinders.copy()
    for low, high in (("low", "high"), ("side_low", "side_high")):
        rows[low], rows[high] = -math.inf, math.inf
    rows["one_place"] = 1
    cylinders["shortest"], cylinders["longest"] = -math.inf, math.inf
    return Program(steps.numbers, rows, steps.bar, cylinders)


def relaxed(steps: Program, loose: Program, assembly: Assembly, said: Floats) -> Parts:
    """The parts (rows, bar, cylinders) of a `loosened` program, its joints free around where readings put them. Where two
    angles would then fit, it keeps to the one at hand. Raises `Refused` "no-pose"."""
    q = np.empty(len(ANGLES))
    status = sense(steps.rows, steps.bar, steps.cylinders, said, q)
    if status != 0:
        raise Refused([
            Fault("no-pose", "pose", f"readings that give no angle for {ANGLES[status - 1]}", "readings that give a pose",
                  "ask what is wrong with them as readings of a pose")
        ])  # fmt: skip
    rows, bar, cylinders = loose.rows.copy(), loose.bar.copy(), loose.cylinders
    low, high = q - _ROOM_RAD, q + _ROOM_RAD
    rows["least"] = rows["stop_least"] = low
    rows["most"] = rows["stop_most"] = high
    if assembly.idler is not None:
        bar_at = four_bar_from_bucket(assembly, float(q[ANGLES.index("bucket")]))
        bar["idler_least"], bar["idler_most"] = bar_at.idler - _ROOM_RAD, bar_at.idler + _ROOM_RAD
    again = np.empty(len(ANGLES))
    for i in np.flatnonzero((rows["kind"] == _INCLINATION) & (rows["branch"] == 0)).tolist():
        if i < _JOINTS:
            continue
        for branch in _BRANCHES:
            rows[i]["branch"] = branch
            failed = sense(rows, bar, cylinders, said, again) - 1
            if (failed < 0 or failed > i) and abs(again[i] - q[i]) < _ALIKE_RAD:
                break
    return rows, bar, cylinders
