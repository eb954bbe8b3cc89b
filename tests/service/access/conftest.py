"""One service a module, with a holder of every role; a test that changes a holder makes one of its own."""

from collections.abc import Iterator
from zlib import crc32

import pytest

from tests.service.postgres import own_schema

from .making import ADMINISTRATOR, BUILDER, OPERATOR, VIEWER, Site


@pytest.fixture(scope="module")
def site(
    store_kind: str, request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[Site]:
    shared = own_schema(request.getfixturevalue("own_postgres")) if store_kind == "postgresql" else None
    with Site(tmp_path_factory.mktemp("data"), database=shared) as opened:
        yield opened


@pytest.fixture(scope="module")
def viewer(site: Site) -> str:
    return site.create("vera", VIEWER, machines=[])


@pytest.fixture(scope="module")
def operator(site: Site) -> str:
    """Of the 14 t crawler alone."""
    return site.create("olaf", OPERATOR, machines=["crawler-14t"])


@pytest.fixture(scope="module")
def builder(site: Site) -> str:
    return site.create("berta", BUILDER, machines=[])


@pytest.fixture(scope="module")
def administrator(site: Site) -> str:
    return site.create("ada", ADMINISTRATOR, machines=[])


@pytest.fixture
def name(request: pytest.FixtureRequest) -> str:
    """A holder's name that no other test takes."""
    return f"{request.node.originalname[:40]} {crc32(request.node.name.encode()):08x}"
