"""One service a module, over an empty folder; tests take jobs of their own."""

from collections.abc import Callable, Iterator
from zlib import crc32

import pytest
from fastapi import FastAPI

from service.app import create_app
from service.settings import Settings
from tests.service.postgres import own_schema

from .doing import Client, JobDoer, opened


@pytest.fixture(scope="module")
def app(store_kind: str, request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> FastAPI:
    shared = own_schema(request.getfixturevalue("own_postgres")) if store_kind == "postgresql" else None
    return create_app(Settings(data_folder=tmp_path_factory.mktemp("data"), database=shared))


@pytest.fixture(scope="module")
def client(app: FastAPI) -> Iterator[Client]:
    with Client(app) as ready:
        yield ready


@pytest.fixture
def job(client: Client, request: pytest.FixtureRequest) -> Callable[..., JobDoer]:
    """Opens a job with a name of its own."""
    count = iter(range(1000))

    def make(units: str = "m", **more: object) -> JobDoer:
        return opened(client, f"j{crc32(request.node.nodeid.encode()):08x}-{next(count)}", units, **more)

    return make


@pytest.fixture
def dug(job: Callable[..., JobDoer]) -> JobDoer:
    """A job with a slab at 100 m, the 14 t crawler and a level laser."""
    return job().equipped()
