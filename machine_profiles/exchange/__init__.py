"""A machine in the words of other programs: rigid-body models out, tables of pin coordinates in."""

from collections.abc import Callable, Mapping
from types import MappingProxyType

from kinematics.assembly import Assembly

from .bucket_pins import attachment_text
from .machine_pins import machine_text
from .mjcf import mjcf
from .pin_needs import USUAL_TOLERANCE_M, Stroke, Told
from .pin_table import KNOWN as KNOWN_PINS
from .pin_table import PinTable, read_pin_table
from .provenance import Provenance, provenance_of
from .tree import Attitude
from .urdf import urdf

WRITERS: Mapping[str, Callable[[Assembly, Attitude, Provenance], str]] = MappingProxyType(
    {"urdf": urdf, "mjcf": mjcf}
)
"""The text of a model, by the name of its format."""

__all__ = [
    "KNOWN_PINS",
    "USUAL_TOLERANCE_M",
    "WRITERS",
    "Attitude",
    "PinTable",
    "Provenance",
    "Stroke",
    "Told",
    "attachment_text",
    "machine_text",
    "mjcf",
    "provenance_of",
    "read_pin_table",
    "urdf",
]
