"""A credential as text: made, taken apart, digested, and never shown.

`tipdatum_ID_SECRET`: the id is public, the secret is 256 random bits in base 32 (RFC 4648, lower case, no padding).
The form is one word to a mouse and to a scanner of logs. On disk there is only the SHA-256 of the secret, which is
random: a slow hash would protect a password, and nothing here.
"""

import base64
import hashlib
import hmac
import re
import secrets
from dataclasses import dataclass, field

_PREFIX = "tipdatum_"
_ID_BYTES = 10
_SECRET_BYTES = 32  # 256 bits, 52 letters
_WHOLE = re.compile(_PREFIX + "([a-z2-7]{16})_([a-z2-7]{52})")
# What could be one, cut off, spoilt or in capitals; taken whole, so that a megabyte of beginnings is read once.
_RUN = re.compile(_PREFIX + "([a-z2-7_]*)", re.IGNORECASE)
# As long as an id, or longer: less holds no secret, and TIPDATUM_PORT is none.
_LEAST_PIECE = 16
_NOBODY = "0" * 64


@dataclass(frozen=True, slots=True)
class Credential:
    """A credential's public id and its secret, which no repr shows."""

    id: str
    secret: str = field(repr=False)

    @property
    def text(self) -> str:
        """The whole, to be given once to whoever will hold it."""
        return f"{_PREFIX}{self.id}_{self.secret}"

    @property
    def digest(self) -> str:
        """SHA-256 of the secret, in hex: what is stored."""
        return hashlib.sha256(self.secret.encode()).hexdigest()

    def matches(self, digest: str | None) -> bool:
        """Whether the secret has this digest, in a time that tells nothing; None matches nothing, as slowly."""
        same = hmac.compare_digest(self.digest, digest or _NOBODY)
        return same and digest is not None


def mint() -> Credential:
    """A new credential from the system's random source."""
    return Credential(_letters(_ID_BYTES), _letters(_SECRET_BYTES))


def parse(text: str) -> Credential | None:
    """The credential that a text is, None for any other text, a shorter or longer one too."""
    found = _WHOLE.fullmatch(text)
    return None if found is None else Credential(found[1], found[2])


def holds_one(text: str) -> bool:
    """Whether a credential, or a piece of one, stands in a text."""
    return _PREFIX in text.lower() and any(map(_is_piece, _RUN.finditer(text)))


def hide(text: str) -> str:
    """The text with every credential, or piece of one, struck out."""
    return _RUN.sub(lambda run: f"{_PREFIX}(hidden)" if _is_piece(run) else run[0], text)


def _is_piece(run: re.Match[str]) -> bool:
    return any(len(part) >= _LEAST_PIECE for part in run[1].split("_"))


def _letters(count: int) -> str:
    return base64.b32encode(secrets.token_bytes(count)).decode().rstrip("=").lower()
