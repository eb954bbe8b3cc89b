"""How much of what is drawn by chance the tests look at: by itself so much that the suite takes minutes, always the same;
`TIPDATUM_TESTS=thorough` all of it, drawn anew each time."""

import os

THOROUGH = os.environ.get("TIPDATUM_TESTS") == "thorough"
_SHARE = 5
_LEAST = 10


def several(thorough: int) -> int:
    """So many where tests are thorough; else a fifth, but at least ten where there are as many."""
    return thorough if THOROUGH else max(thorough // _SHARE, min(thorough, _LEAST))
