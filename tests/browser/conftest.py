"""A service of its own and a real browser for every file of tests.

A file, not the session: while playwright runs, its thread has a running event loop, and tests of other
files start their own. The browser is the system's; none is ever fetched.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING

import pytest

from tests.need import need, need_program
from tests.service.running import service

from .view import View, Watch

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page

_FLAGS = (
    "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
    "--disable-component-update", "--disable-sync",
    # Whatever asks for another address, the browser itself included, finds none.
    "--host-resolver-rules=MAP * ~NOTFOUND, EXCLUDE 127.0.0.1",
)  # fmt: skip
# The same engine without windows of its own opens an empty page in 0.2 s of processor time, else 1.0.
_CHROMIUM = ("chromium-headless-shell", "chromium", "chromium-browser", "google-chrome")


@pytest.fixture(scope="module")
def home(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """The address of a service with nothing in it and access control off: no file finds what another left."""
    need_program(*_CHROMIUM)
    with service(tmp_path_factory.mktemp("data")) as address:
        yield address


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    """The system's Chromium."""
    playwright = need("playwright.sync_api", "playwright")
    program = need_program(*_CHROMIUM)
    # Chromium has no sandbox for root.
    rootly = ["--no-sandbox"] if os.geteuid() == 0 else []
    with playwright.sync_playwright() as driver:
        started = driver.chromium.launch(executable_path=program, args=[*_FLAGS, *rootly])
        yield started
        started.close()


@pytest.fixture
def watch(home: str) -> Watch:
    """The watch over all pages of a test; whatever it saw fails the test at its end."""
    return Watch(home)


@pytest.fixture
def look(browser: Browser, watch: Watch) -> Iterator[Callable[[View], Page]]:
    """Opens an empty page in a browser profile of its own; addresses may be given from "/"."""
    contexts = []

    def opened(view: View) -> Page:
        width, height = view.size
        context = browser.new_context(
            base_url=watch.home, viewport={"width": width, "height": height}, color_scheme=view.form,
            reduced_motion="reduce" if view.still else "no-preference", has_touch=view.touch,
        )  # fmt: skip
        contexts.append(context)
        watch.over(context)
        return context.new_page()

    yield opened
    for context in contexts:
        watch.settle(context)
        context.close()
    assert watch.faults() == []


@pytest.fixture
def page(look: Callable[[View], Page], request: pytest.FixtureRequest) -> Page:
    """An empty page on a notebook by day, or as the test's parameter says (`view.views`)."""
    return look(getattr(request, "param", View()))
