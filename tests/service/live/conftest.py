"""One service for the folder; tests take jobs of their own."""

from collections.abc import Iterator

import pytest

from service.api import error_budgets
from service.live.warm import warm

from .making import Door, sensed, serving


@pytest.fixture(scope="session")
def door(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Door]:
    warm(sensed("midi-8t", "coupled-900"))  # machine code that another run has not left: no test's time
    error_budgets.warm()
    with serving(tmp_path_factory.mktemp("live")) as opened:
        yield opened
