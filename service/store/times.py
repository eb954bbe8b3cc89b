"""Times as text, the same on every database and in every hash."""

from datetime import UTC, datetime


def utc_now() -> datetime:
    """The wall clock, UTC."""
    return datetime.now(UTC)


def utc_text(when: datetime) -> str:
    """ISO 8601 in UTC with six decimals and Z: "2026-05-04T07:31:12.000250Z". ValueError without a zone."""
    if when.tzinfo is None or when.utcoffset() is None:
        raise ValueError(f"expected a time with its zone, found {when!r}")
    return when.astimezone(UTC).replace(tzinfo=None).isoformat(timespec="microseconds") + "Z"


def utc_time(text: str) -> datetime:
    """The time that `utc_text` wrote. ValueError for any other spelling, even of a valid time."""
    when = datetime.fromisoformat(text)
    if when.tzinfo is None or utc_text(when) != text:
        raise ValueError(f"expected a time such as 2026-05-04T07:31:12.000250Z, found {text!r}")
    return when
