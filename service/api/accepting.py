"""Which of the formats that a route can write a caller asks for."""

from collections.abc import Mapping
from typing import TypeVar

Format = TypeVar("Format", bound=str)


def accepted(accept: str, kinds: Mapping[Format, str], usual: Format) -> Format:
    """The format whose media type an Accept header names first; `usual` where it names none of `kinds`."""
    known = {kind.partition(";")[0]: name for name, kind in kinds.items()}
    named = (part.partition(";")[0].strip().lower() for part in accept.split(","))
    return next((known[each] for each in named if each in known), usual)
