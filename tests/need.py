"""Referees that may be absent: skip with the package's name, or fail where the environment demands all."""

import importlib
import os
import shutil
from types import ModuleType

import pytest


def need(module: str, package: str | None = None) -> ModuleType:
    """The imported `module`; skips the test with the missing package's name where it is not installed.

    With TIPDATUM_TESTS_NEED=all an absent package fails the test instead.
    """
    try:
        return importlib.import_module(module)
    except ImportError as missing:
        reason = f"needs the Python package {package or module}: {missing}"
    if os.environ.get("TIPDATUM_TESTS_NEED") == "all":
        pytest.fail(reason)
    pytest.skip(reason)


def need_program(*names: str) -> str:
    """The path of a program the test needs, by any of its names; skips naming it, or fails where everything is wanted."""
    found = next(filter(None, map(shutil.which, names)), None)
    if found is None:
        reason = f"needs the program {' or '.join(names)}"
        if os.environ.get("TIPDATUM_TESTS_NEED") == "all":
            pytest.fail(reason)
        pytest.skip(reason)
    return found
