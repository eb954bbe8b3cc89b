"""The programs that a fleet on one computer needs, and the Debian packages they are in."""

import shutil
from dataclasses import dataclass
from pathlib import Path

from kinematics.errors import Fault, Refused

_CLUSTERS = "/usr/lib/postgresql/*/bin", "/usr/pgsql-*/bin", "/opt/homebrew/opt/postgresql*/bin"
_BESIDE_PATH = "/usr/sbin", "/usr/local/sbin", "/sbin"
"""Where Debian has what only administrators are thought to start."""
_PACKAGES = {
    "initdb": "postgresql",
    "mosquitto": "mosquitto",
    "mosquitto_passwd": "mosquitto",
    "nginx": "nginx-light",
}


@dataclass(frozen=True, slots=True)
class Programs:
    """Where they are: the folder of PostgreSQL's, and each of the others."""

    postgresql: Path
    mosquitto: str
    mosquitto_passwd: str
    nginx: str


def postgresql() -> Path | None:
    """The folder of initdb and pg_ctl, of the latest release there is."""
    for pattern in _CLUSTERS:
        found = sorted(Path("/").glob(f"{pattern.lstrip('/')}/initdb"))
        if found:
            return found[-1].parent
    on_path = shutil.which("initdb")
    return None if on_path is None else Path(on_path).resolve().parent


def programs() -> Programs:
    """All of them. Raises `Refused` "not-installed" that names each that is missing with its package."""
    folder = postgresql()
    found = {name: _which(name) for name in _PACKAGES if name != "initdb"}
    missing = [name for name in _PACKAGES if not (folder if name == "initdb" else found[name])]
    packages = " ".join(dict.fromkeys(_PACKAGES[name] for name in missing))
    if missing or folder is None:
        raise Refused(
            Fault("not-installed", "--fleet", f"no {name}", f"the program {name}", f"apt-get install {packages}")
            for name in missing
        )  # fmt: skip
    return Programs(folder, *(str(found[name]) for name in ("mosquitto", "mosquitto_passwd", "nginx")))


def _which(name: str) -> str | None:
    return shutil.which(name) or shutil.which(name, path=":".join(_BESIDE_PATH))
