"""The profiles that come with the program."""

from functools import cache
from importlib.resources import files

from .loader import Profile, parse_profile


def shipped() -> dict[tuple[str, str], Profile]:
    """(kind, id) to profile, of every packaged file; read at the first call. A new dict each time."""
    return dict(_shipped())


@cache
def _shipped() -> dict[tuple[str, str], Profile]:
    found: dict[tuple[str, str], Profile] = {}
    for folder in ("machines", "attachments"):
        for entry in sorted(files(__package__).joinpath(folder).iterdir(), key=lambda item: item.name):
            if entry.name.endswith(".toml"):
                profile = parse_profile(entry.read_text(encoding="utf-8"))
                found[profile.kind, profile.id] = profile
    return found
