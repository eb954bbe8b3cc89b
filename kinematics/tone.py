"""The near-grade tone: what an operator hears of cut and fill, as a pure function of it.

Above the target: single pulses, high. On grade: one unbroken tone in the middle. Too deep: pulses in pairs, low, and
never silent. Nearer is quicker. Side is told three ways (pitch, pairs, and silence only above), so that no one ear or
loudspeaker decides. The constants are ours: common practice, no source; the widths are the user's.
"""

import math
from collections.abc import Iterator
from dataclasses import dataclass

from .errors import Fault, Refused, refuse
from .grade import NOISE_M

MIDDLE_HZ = 600.0
"""On grade. One octave either way, 300 to 1200 Hz, is where hearing that noise has worn is still good (from memory)."""
SLOWEST_PER_S, FASTEST_PER_S = 1.5, 9.0
_STEP_OCTAVES = 0.25  # from on grade to just off it: three semitones, plain to hear
WIDEST_M = 100.0


@dataclass(frozen=True, slots=True)
class ToneWidths:
    """How near is on grade, and from how far it is heard (m, either way from the target).

    `on_grade_m` 0.03 and `heard_m` 0.3: unbroken within 30 mm, pulses up to 300 mm above, silence higher up.
    Raises `Refused` "not-finite", "out-of-range", "heard-too-near" with every fault.
    """

    on_grade_m: float
    heard_m: float

    def __post_init__(self) -> None:
        refuse(self._faults())

    def _faults(self) -> Iterator[Fault]:
        found = False
        for name in ("on_grade_m", "heard_m"):
            value = getattr(self, name)
            if not math.isfinite(value):
                found = True
                yield Fault("not-finite", name, str(value), "a finite number of metres")
            elif not 0.0 < value <= WIDEST_M:
                found = True
                yield Fault(
                    "out-of-range",
                    name,
                    f"{value:g} m",
                    f"more than 0, at most {WIDEST_M:g} m",
                    "check the unit",
                )
        if not found and self.heard_m <= self.on_grade_m:
            yield Fault("heard-too-near", "heard_m", f"{self.heard_m:g} m", f"more than {self.on_grade_m:g} m",
                        "hear it before it is on grade")  # fmt: skip


@dataclass(frozen=True, slots=True)
class Tone:
    """What to sound: a pitch (Hz); pulses a second, 0 for unbroken; in pairs where it is too deep."""

    pitch_hz: float
    pulses_per_s: float
    in_pairs: bool


def tone(above_target_m: float, widths: ToneWidths) -> Tone | None:
    """The tone of an edge `above_target_m` (m) over its target, None for silence; negative is too deep.

    0.2 over, heard from 0.3: slow single pulses a good half octave up. Pitch and the logarithm of the pulses go evenly
    with the distance, as steps are heard (Weber and Fechner, from memory). Higher than `heard_m` it is silent; deeper it
    stays as it is there. Raises `Refused` "not-finite": a height that is not known has no sound.
    """
    if not math.isfinite(above_target_m):
        raise Refused([
            Fault("not-finite", "above_target_m", str(above_target_m), "a finite number of metres",
                  "where the height is not known nothing sounds")
        ])  # fmt: skip
    off = abs(above_target_m)
    if off <= widths.on_grade_m + NOISE_M:
        return Tone(MIDDLE_HZ, 0.0, in_pairs=False)
    deep = above_target_m < 0.0
    far = (off - widths.on_grade_m) / (widths.heard_m - widths.on_grade_m)
    if far > 1.0:
        if not deep:
            return None
        far = 1.0
    octaves = _STEP_OCTAVES + (1.0 - _STEP_OCTAVES) * far
    pulses = FASTEST_PER_S * (SLOWEST_PER_S / FASTEST_PER_S) ** far
    return Tone(MIDDLE_HZ * 2.0 ** (-octaves if deep else octaves), pulses, in_pairs=deep)
