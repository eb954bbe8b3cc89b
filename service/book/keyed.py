"""Requests that may be sent again: a key stands for one request, wherever it was recorded."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Protocol, TypeVar

from sqlalchemy.orm import Session

from kinematics.errors import Fault, Refused


@dataclass(frozen=True, slots=True)
class Key:
    """An idempotency key and what makes two requests the same."""

    key: str | None
    request_hash: str


class Keyed(Protocol):
    """What was recorded under a key."""

    @property
    def request_hash(self) -> str | None:
        """Of the request that it was recorded for."""


Found = TypeVar("Found", bound=Keyed)


def repeated(
    session: Session, key: Key, by_key: Callable[[Session, str], Found | None], words: Callable[[Found], str]
) -> Found | None:
    """What the same request recorded before, None for nothing. `Refused` "idempotency-conflict" for another one, with
    `words` for what the key was used for: "study 3f..."."""
    if key.key is None:
        return None
    found = by_key(session, key.key)
    if found is not None and found.request_hash != key.request_hash:
        raise Refused([
            Fault("idempotency-conflict", "", f"key {key.key!r}, used for {words(found)} with another request",
                  "the same request again", "use a new key for a new request")
        ])  # fmt: skip
    return found
