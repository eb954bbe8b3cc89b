"""One service in memory and one behind a real server, each shared by a module: no test leaves anything in it."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from service.api import error_budgets
from service.live.warm import warm_shipped

from .making import Door, service, serving


@pytest.fixture(scope="module")
def door(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Door]:
    with Door(service(_folder(tmp_path_factory))) as opened:
        yield opened


# Both HTTP readers that the server may run with: which one is chosen depends on what is installed.
@pytest.fixture(scope="module", params=["h11", "httptools"])
def port(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Iterator[int]:
    warm_shipped()  # machine code that another run has not left: no start's time
    error_budgets.warm()
    with serving(service(_folder(tmp_path_factory)), request.param) as number:
        yield number


def _folder(factory: pytest.TempPathFactory) -> Path:
    return factory.mktemp("data")
