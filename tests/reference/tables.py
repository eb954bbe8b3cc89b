"""Tables of published numbers: `#` lines say where they come from, then names, then rows."""

from pathlib import Path

import numpy as np
from numpy.typing import NDArray


def column(table: str, name: str) -> NDArray[np.float64]:
    """One column of a table beside this file, as printed."""
    text = (Path(__file__).parent / table).read_text(encoding="utf-8")
    names, *rows = [line.split(",") for line in text.splitlines() if not line.startswith("#")]
    return np.array([float(row[names.index(name)]) for row in rows])
