"""Which source address on the bus is which sensor, as a file beside the log."""

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Literal

from pydantic import Field, ValidationError

from kinematics.errors import Fault, Refused, refuse
from machine_profiles.table import Table
from service.text import misfit, shown

from .framing import SSI, SSI2
from .reading import SensorName

PGN = {"SSI2": SSI2, "SSI": SSI}
Address = Annotated[int, Field(ge=0, le=253)]


class Wired(Table):
    """One sensor: its source address, how many numbers it tells (one: as pitch), by which message."""

    source: Address
    sensor: SensorName
    numbers: Literal[1, 2] = 1
    message: Literal["SSI2", "SSI"] = "SSI2"


class Heard(Table):
    """The receiver's source address."""

    source: Address


class MapDocument(Table):
    """Which source address is which sensor."""

    can_map: Literal[1]
    sensors: Annotated[list[Wired], Field(min_length=1, max_length=64)]
    receiver: Heard | None = None


@dataclass(frozen=True, slots=True)
class BusMap:
    """Source addresses and sensors, each once."""

    sensors: Mapping[str, Wired]
    receiver: int | None

    def text(self) -> str:
        """As a file."""
        lines = ["# Which source address on the bus is which sensor.", "can_map = 1", ""]
        if self.receiver is not None:
            lines += ["[receiver]", f"source = 0x{self.receiver:X}", ""]
        for each in self.sensors.values():
            lines += [
                "[[sensors]]", f"source = 0x{each.source:X}", f'sensor = "{each.sensor}"', f"numbers = {each.numbers}",
                f'message = "{each.message}"', "",
            ]  # fmt: skip
        return "\n".join(lines)


def map_beside(log: Path) -> Path:
    """The map file of a log: pit.log has pit.log.map.toml."""
    return log.with_name(log.name + ".map.toml")


def read_map(file: Path) -> BusMap:
    """The map of a file. `Refused` with every fault: TOML, keys, an address or a sensor given twice."""
    try:
        document = MapDocument.model_validate(tomllib.loads(file.read_text(encoding="utf-8")))
    except ValidationError as error:
        raise Refused(
            Fault(
                told.code,
                f"{file}: {'.'.join(map(str, each['loc']))}",
                told.found,
                told.expected,
                told.advice,
            )
            for each in error.errors(include_url=False)
            for told in [misfit({**each, "loc": ("body", *each["loc"])}, None)]
        ) from None
    except FileNotFoundError:
        raise Refused([
            Fault("unreadable", str(file), "no such file", "a map of source addresses in TOML",
                  "simulate writes one beside each CAN log; see /guide/simulation")
        ]) from None  # fmt: skip
    except (OSError, ValueError) as error:
        raise Refused(
            [Fault("unreadable", str(file), str(error), "a map of source addresses in TOML")]
        ) from None
    sources = [each.source for each in document.sensors]
    sources += [] if document.receiver is None else [document.receiver.source]
    names = [each.sensor for each in document.sensors]
    refuse(
        Fault("name-taken", str(file), f"{what} twice", "each address and each sensor once")
        for what in (
            *(f"source 0x{s:X}" for i, s in enumerate(sources) if s in sources[:i]),
            *(shown(n) for i, n in enumerate(names) if n in names[:i]),
        )
    )
    return BusMap(
        {each.sensor: each for each in document.sensors},
        None if document.receiver is None else document.receiver.source,
    )
