"""What a machine of its class usually reaches: maximum digging depth, maximum reach at the ground, maximum dump height.

Terms: ISO 7135, whose text was not to hand. Ranges: from memory, all of them. Looked for and not found within the time
set: a table of representative dimensions in a handbook (R. Peurifoy, Construction Planning, Equipment, and Methods;
US Army FM 5-434, of which only the figure of the terms was seen). No product's figures were used.
"""

from typing import NamedTuple

Range = tuple[float, float]
FROM_MEMORY = "from memory"


class OfClass(NamedTuple):
    """Lowest and highest usual value (m) of each dimension, and where they come from."""

    depth: Range
    reach: Range
    dump: Range
    origin: str = FROM_MEMORY


CLASSES: dict[str, OfClass] = {
    "compact-1t8": OfClass((2.2, 2.6), (3.7, 4.2), (2.3, 2.8)),
    "midi-8t": OfClass((4.0, 4.8), (6.5, 7.4), (4.6, 5.6)),
    "crawler-14t": OfClass((5.0, 6.0), (8.0, 9.0), (5.8, 7.0)),
    "wheeled-16t": OfClass((5.0, 6.0), (8.3, 9.4), (6.0, 7.5)),
    "crawler-21t": OfClass((6.2, 7.0), (9.4, 10.2), (6.4, 7.4)),
    "long-reach-22t": OfClass((11.0, 12.5), (14.8, 16.2), (9.5, 12.0)),
}
"""Long reach: a front of 15 to 16 m. Wheeled: boom of two pieces."""

BUCKETS = {
    "compact-1t8": "compact-bucket-400",
    "midi-8t": "midi-bucket-700",
    "crawler-14t": "digging-1500",
    "wheeled-16t": "digging-1500",
    "crawler-21t": "digging-1500",
    "long-reach-22t": "ditching-1800",
}
"""The bucket meant for each machine."""
