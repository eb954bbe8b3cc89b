"""What moves a machine's joints: the bores of its cylinders, the pressures of their circuits, the flow they get.

Metres, pascals, cubic metres a second. Terms of ISO 6015 (SAE J1179): working pressure is the nominal pressure that a
pump gives a circuit; holding pressure the most that a circuit stands with its valve closed, limited by its relief
valve.
"""

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from types import MappingProxyType

from .errors import Fault, refuse

RAMS = ("boom", "fore_boom", "stick", "bucket")
# Wider than any of a digging arm, narrower than any; above, below any circuit. Beyond lies a wrong unit.
_BORES_M, _PRESSURES_PA, _FLOWS_M3_S = (0.01, 0.6), (1e5, 1e8), (1e-6, 0.1)
MOST_RAMS = 4
BAR, MPA, PSI, L_PER_MIN = 1e5, 1e6, 6894.757293168, 1e-3 / 60.0
"""Of one bar, megapascal and pound a square inch (NIST SP 811) in pascals; of a litre a minute in m^3/s."""


@dataclass(frozen=True, slots=True)
class Ram:
    """The cylinders of one joint: `count` alike, side by side. `bore` and `rod` diameters (m), pressures (Pa); `flow`
    (m^3/s): the most that all of them get together, or None where nobody said.

    120 mm of bore and 343 bar push with 388 kN; with 80 mm of rod they pull with 216 kN.
    """

    bore: float
    rod: float
    count: int
    working_pressure: float
    holding_pressure: float
    flow: float | None = None

    def faults(self, where: str) -> Iterator[Fault]:
        """What is wrong with it."""
        numbers = [("bore", self.bore, _BORES_M, 1e3, "mm"), ("rod", self.rod, _BORES_M, 1e3, "mm"),
                   ("working_pressure", self.working_pressure, _PRESSURES_PA, 1.0 / BAR, "bar"),
                   ("holding_pressure", self.holding_pressure, _PRESSURES_PA, 1.0 / BAR, "bar")]  # fmt: skip
        if self.flow is not None:
            numbers.append(("flow", self.flow, _FLOWS_M3_S, 1.0 / L_PER_MIN, "l/min"))
        count = len(numbers)
        for name, value, (low, high), factor, unit in numbers:
            if not low <= value <= high:
                count -= 1
                yield Fault(
                    "out-of-range", f"{where}.{name}", f"{value * factor:g} {unit}",
                    f"{low * factor:g} to {high * factor:g} {unit}", "check the unit",
                    {"value": value, "low": low, "high": high},
                )  # fmt: skip
        if not 1 <= self.count <= MOST_RAMS:
            yield Fault("out-of-range", f"{where}.count", str(self.count), f"1 to {MOST_RAMS} cylinders", "")
        if count < len(numbers):
            return
        if self.rod >= self.bore:
            yield Fault(
                "rod-too-thick", f"{where}.rod", f"{self.rod * 1e3:g} mm in a bore of {self.bore * 1e3:g} mm",
                "a rod thinner than its bore", "give diameters, both of the inside of the cylinder",
                {"rod_m": self.rod, "bore_m": self.bore},
            )  # fmt: skip
        if self.holding_pressure < self.working_pressure:
            yield Fault(
                "holding-below-working", f"{where}.holding_pressure",
                f"{self.holding_pressure / BAR:g} bar, working at {self.working_pressure / BAR:g} bar",
                "a circuit that holds at least what it works with", "which is which is not guessed",
                {"holding_pa": self.holding_pressure, "working_pa": self.working_pressure},
            )  # fmt: skip

    def area(self, *, pushing: bool) -> float:
        """The area (m^2) that oil presses on, all cylinders: of the bore, less that of the rod where it pulls."""
        return self.count * 0.25 * math.pi * (self.bore**2 - (0.0 if pushing else self.rod**2))


@dataclass(frozen=True, slots=True)
class Hydraulics:
    """Rams by joint, of `RAMS`; a joint without one is one of which nobody knows the bore."""

    rams: Mapping[str, Ram]

    def __post_init__(self) -> None:
        object.__setattr__(self, "rams", MappingProxyType(dict(self.rams)))
        refuse(self.faults())

    def faults(self) -> Iterator[Fault]:
        """Everything that is wrong with them."""
        for name, ram in self.rams.items():
            if name not in RAMS:
                yield Fault("no-such-joint", name, repr(name), "one of " + ", ".join(RAMS))
            yield from ram.faults(name)
