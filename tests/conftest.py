"""Settings of the whole suite: a compiled-code cache that an edited formula cannot outlive."""

import hashlib
import os
import tempfile
from pathlib import Path


def cache_folder() -> str:
    """A folder named by the sources: numba does not notice an edited callee in another module."""
    root = Path(__file__).parent.parent / "kinematics"
    digest = hashlib.sha256()
    for source in sorted(root.glob("*.py")):
        digest.update(source.read_bytes())
    return str(Path(tempfile.gettempdir()) / f"tipdatum-numba-{digest.hexdigest()[:16]}")


os.environ.setdefault("NUMBA_CACHE_DIR", cache_folder())
