"""Where a written model came from, as words that may stand in an XML comment; and numbers that read back the same."""

import re
import xml.etree.ElementTree as ET
from collections.abc import Iterable
from dataclasses import dataclass

from machine_profiles.loader import Profile

# What XML 1.0 has no way to write, and what ends a comment.
_NOT_XML = re.compile("[^\t\n\r\u0020-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")


@dataclass(frozen=True, slots=True)
class Provenance:
    """Ids, names and content hashes of both profiles, and the release that writes."""

    machine_id: str
    machine_name: str
    machine_revision: str
    attachment_id: str
    attachment_name: str
    attachment_revision: str
    release: str

    @property
    def title(self) -> str:
        """ "crawler-14t with tilting-1800": ids alone, which need no escaping anywhere."""
        return f"{self.machine_id} with {self.attachment_id}"

    def lines(self) -> list[str]:
        """What a reader must know to find the measured machine again."""
        return [
            f"machine {self.machine_id}, {self.machine_name}; revision {self.machine_revision}",
            f"attachment {self.attachment_id}, {self.attachment_name}; revision {self.attachment_revision}",
            f"written by tipdatum {self.release}",
        ]


def provenance_of(machine: Profile, attachment: Profile, release: str) -> Provenance:
    """As the two profiles have it; `release` is this program's version."""
    return Provenance(
        machine.id, machine.name, machine.content_hash, attachment.id, attachment.name, attachment.content_hash, release
    )  # fmt: skip


def add_comment(inside: ET.Element, words: Iterable[str]) -> None:
    """Put in a comment of these lines.

    Two hyphens would end it: a space comes between. What XML cannot hold becomes U+FFFD.
    """
    text = _NOT_XML.sub("\ufffd", "\n".join(f"  {line}" for line in words))
    inside.append(ET.Comment(f"\n{re.sub('-(?=-)', '- ', text)}\n"))


def numbers(*values: float) -> str:
    """Attribute text that reads back to the same doubles; zero has no sign."""
    return " ".join(repr(float(value) + 0.0) for value in values)


def document(root: ET.Element) -> str:
    """The whole file, two spaces a step."""
    ET.indent(root)
    return f'<?xml version="1.0" encoding="utf-8"?>\n{ET.tostring(root, encoding="unicode")}\n'
