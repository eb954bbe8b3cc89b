"""One service a module, with a holder of every role; a test that changes a holder makes one of its own."""

from collections.abc import Iterator

import pytest

from .making import ADMINISTRATOR, BUILDER, OPERATOR, VIEWER, Site


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Site]:
    with Site(tmp_path_factory.mktemp("data")) as opened:
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
    return str(request.node.name)[:60]
