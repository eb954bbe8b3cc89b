"""The system's Chromium for a benchmark: a page, and everything that it loads."""

import importlib.util
import os
import shutil
import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from playwright.sync_api import Page, Response

CHROMIUM = ("chromium-headless-shell", "chromium", "chromium-browser", "google-chrome")
_PAINTED = "performance.getEntriesByName('first-contentful-paint')[0].startTime"


@dataclass(frozen=True, slots=True)
class Browsing:
    """A page, and the answers that it got so far."""

    page: "Page"
    got: Sequence["Response"]

    def painted_ms(self) -> float:
        """From asking for the page to the first of it seen."""
        return float(self.page.evaluate(_PAINTED))

    def kilobytes(self, *others: str) -> float:
        """Of the page's files, and of addresses that end with one of `others`: the page itself."""
        files = [each for each in self.got if "/page/" in each.url or each.url.endswith(others)]
        return sum(len(each.body()) for each in files) / 1e3


def browser_there(benchmark: str) -> bool:
    """Whether there is a browser; where not, the benchmark is left out, which is told."""
    program = _program()
    if program is not None and importlib.util.find_spec("playwright") is not None:
        return True
    missing = "playwright" if program else " or ".join(CHROMIUM)
    sys.stderr.write(f"benchmark {benchmark}: left out, needs {missing}\n")
    return False


def _program() -> str | None:
    return next(filter(None, map(shutil.which, CHROMIUM)), None)


@contextmanager
def browsing(width: int, height: int) -> Iterator[Browsing]:
    """An empty page of this size (CSS pixels) in a browser of its own, to which there is no other address than ours."""
    from playwright.sync_api import Response, sync_playwright  # noqa: PLC0415  only here: it may be absent

    with sync_playwright() as driver:
        rootly = ["--no-sandbox"] if os.geteuid() == 0 else []
        flags = ["--disable-gpu", "--host-resolver-rules=MAP * ~NOTFOUND, EXCLUDE 127.0.0.1", *rootly]
        browser = driver.chromium.launch(executable_path=_program(), args=flags)
        page = browser.new_page(viewport={"width": width, "height": height})
        got: list[Response] = []
        page.on("response", lambda each: got.append(each))  # noqa: PLW0108  it keeps a mark on what it is given
        try:
            yield Browsing(page, got)
        finally:
            browser.close()
