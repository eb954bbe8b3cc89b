"""Messages as one kind of thing, built in or out of a DBC file: a length and named numbers.

Built in, little-endian, all of 8 bytes. SSI (PGN 61459) and SSI2 (61481): seen in open descriptions. ARI (61482) and ACCS
(61485): numbers seen in public sources, one of which calls them pitch, roll, yaw and lateral, longitudinal, vertical,
another X, Y, Z in this order: which axis of the case each is has to be tried by hand. Their merits and ARI's latency are
from memory of SAE J1939-71, as are all codes. The receiver's frame is ours, PGN 65290, a number that J1939 leaves to each
maker (proprietary B): byte 1: 0 off the plane, 1 on it, 0xFF not told; bytes 2-3: the beam's height over the receiver's
centre along its mast, 0.1 mm a bit, offset -3200 mm; bytes 4-8: 0xFF.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

from kinematics.errors import Fault, Refused

from .framing import ACCS, ARI, LENGTH, RECEIVER, SSI, SSI2, Lack, Said, State
from .items import Item


@dataclass(frozen=True, slots=True)
class Layout:
    """`pgn` where the message is known by its group, whoever sends it; `can_id` where by its whole identifier.

    `merits`: which item tells how good a number is; `latency`: the item that tells how old all are, in ms.
    `origin`: "" of one built in, else the name of its file.
    """

    name: str
    pgn: int | None
    can_id: int | None
    length: int
    items: Mapping[str, Item]
    extended: bool = True
    merits: Mapping[str, str] = field(default_factory=dict)
    latency: str | None = None
    origin: str = ""

    def fits(self, data: bytes, where: str) -> None:
        """Raises `Refused` "wrong-length" of a frame that is not as long as the message."""
        if len(data) != self.length:
            raise Refused([
                Fault("wrong-length", where, f"{len(data)} bytes", f"{self.length} bytes, as {self.name} has",
                      "a unit that lays it out in its own way is not read: describe it in a DBC file")
            ])  # fmt: skip

    def read(self, data: bytes, where: str = "") -> dict[str, Said]:
        """Every number that this frame has, in its own unit, or what stands in its place: a `Lack`, a `State` (a str).

        SSI2's 3B E8 7D F5 BF 7C 00 06 is pitch 1.814301 (deg), roll -0.500336, latency 3.0 (ms). A number that is not
        there for this frame's selecting value is left out. `Refused` "wrong-length".
        """
        self.fits(data, where or self.name)
        little = int.from_bytes(data, "little")
        return {
            name: item.read(data, little)
            for name, item in self.items.items()
            if item.when is None or self.there(item, data)
        }

    def there(self, item: Item, data: bytes) -> bool:
        """Whether this frame has this number: all selecting values are as it wants them."""
        if item.when is None:
            return True
        name, wanted = item.when
        selecting = self.items[name]
        return selecting.raw(data) in wanted and self.there(selecting, data)

    def write(self, values: Mapping[str, float | Lack]) -> bytes:
        """The bytes of a message built in; what is not given is all ones, not available. `Refused` "out-of-range",
        "not-finite"."""
        bits = (1 << 8 * self.length) - 1
        for name, value in values.items():
            item = self.items[name]
            bits = bits & ~(((1 << item.size) - 1) << item.start) | item.put(value)
        return bits.to_bytes(self.length, "little")


def _number(name: str, unit: str, start: int, size: int, bit: float, offset: float) -> Item:
    return Item(name, unit, None, None, start, size, bit, offset, coded=True)


def _few(name: str, start: int) -> Item:
    """Two bits: merit 0 good, 1 degraded, 2 error, 3 not told; of a compensation they are carried raw."""
    return Item(name, "", None, None, start, 2)


def _layout(
    name: str, pgn: int, items: tuple[Item, ...], merits: Mapping[str, str] = MappingProxyType({})
) -> Layout:
    by = {item.name: item for item in items}
    return Layout(name, pgn, None, LENGTH, by, merits=merits, latency="latency" if "latency" in by else None)


_LATENCY = _number("latency", "ms", 56, 8, 0.5, 0.0)
_RATE, _FORCE = (1 / 128, -250.0), (0.01, -320.0)

BUILT_IN: Mapping[str, Layout] = MappingProxyType({
    each.name: each for each in (
        _layout("SSI2", SSI2, (
            _number("pitch", "deg", 0, 24, 1 / 32768, -250.0), _number("roll", "deg", 24, 24, 1 / 32768, -250.0),
            _few("pitch_compensation", 48), _few("pitch_merit", 50), _few("roll_compensation", 52),
            _few("roll_merit", 54), _LATENCY,
        ), {"pitch": "pitch_merit", "roll": "roll_merit"}),
        _layout("SSI", SSI, (
            _number("pitch", "deg", 0, 16, 0.002, -64.0), _number("roll", "deg", 16, 16, 0.002, -64.0),
            _number("pitch_rate", "deg/s", 32, 16, 0.002, -64.0),
            _few("pitch_merit", 48), _few("roll_merit", 50), _few("pitch_rate_merit", 52), _few("compensation", 54),
            _LATENCY,
        ), {"pitch": "pitch_merit", "roll": "roll_merit", "pitch_rate": "pitch_rate_merit"}),
        _layout("ARI", ARI, (
            _number("pitch_rate", "deg/s", 0, 16, *_RATE), _number("roll_rate", "deg/s", 16, 16, *_RATE),
            _number("yaw_rate", "deg/s", 32, 16, *_RATE),
            _few("pitch_rate_merit", 48), _few("roll_rate_merit", 50), _few("yaw_rate_merit", 52), _LATENCY,
        ), {each: f"{each}_merit" for each in ("pitch_rate", "roll_rate", "yaw_rate")}),
        _layout("ACCS", ACCS, (
            _number("lateral", "m/s2", 0, 16, *_FORCE), _number("longitudinal", "m/s2", 16, 16, *_FORCE),
            _number("vertical", "m/s2", 32, 16, *_FORCE),
            _few("lateral_merit", 48), _few("longitudinal_merit", 50), _few("vertical_merit", 52),
        ), {each: f"{each}_merit" for each in ("lateral", "longitudinal", "vertical")}),
    )
})  # fmt: skip

RECEIVED = _layout(
    "RECEIVER", RECEIVER,
    (Item("hit", "", 0.0, 1.0, 0, 8, coded=True), _number("above", "mm", 8, 16, 0.1, -3200.0)),
)  # fmt: skip
"""The receiver's frame; a map names it by its source alone."""

__all__ = ["BUILT_IN", "RECEIVED", "Item", "Lack", "Layout", "Said", "State"]
