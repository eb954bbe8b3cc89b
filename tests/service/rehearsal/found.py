"""The programs of a fleet, or a test that is skipped without them."""

import os

import pytest

from kinematics.errors import Refused
from service.rehearsal.programs import Programs, programs


def found() -> Programs:
    """Where they are; skips, or fails where everything is wanted, with what is missing and its packages."""
    try:
        return programs()
    except Refused as refused:
        reason = f"needs {refused}"
    if os.environ.get("TIPDATUM_TESTS_NEED") == "all":
        pytest.fail(reason)
    pytest.skip(reason)
