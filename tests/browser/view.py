"""How a page is looked at, and a watch over what it does meanwhile."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Literal

import pytest

from tests.amounts import THOROUGH

if TYPE_CHECKING:
    from playwright.sync_api import BrowserContext, ConsoleMessage, Page

# CSS pixels: a phone held upright, a tablet, a notebook, a wall.
PHONE, TABLET, NOTEBOOK, WALL = (360, 740), (768, 1024), (1366, 768), (1920, 1080)
SIZES = (PHONE, TABLET, NOTEBOOK, WALL)

Size = tuple[int, int]
Form = Literal["light", "dark"]

_INSIDE = ("about:", "blob:", "data:")
# Chromium tells some violations of a policy to its own tools alone.
_TELL_VIOLATIONS = """addEventListener("securitypolicyviolation", (event) => console.error(
  `policy violated: ${event.effectiveDirective} by ${event.blockedURI || "the page itself"}`));"""


@dataclass(frozen=True, slots=True)
class View:
    """Width and height in CSS pixels; by day or by night; `still`: whoever looks asked for no motion; `touch`: there are
    fingers, no mouse."""

    size: Size = NOTEBOOK
    form: Form = "light"
    still: bool = False
    touch: bool = False

    def __str__(self) -> str:
        more = f"{'-still' if self.still else ''}{'-touch' if self.touch else ''}"
        return f"{self.size[0]}x{self.size[1]}-{self.form}{more}"


def views(*sizes: Size, forms: tuple[Form, ...] = ("light", "dark")) -> pytest.MarkDecorator:
    """The test once for every size and form, by its fixture `page`."""
    every = [View(size, form) for size in sizes for form in forms]
    return pytest.mark.parametrize("page", every, indirect=True, ids=str)


def looks(*always: View, thorough: tuple[View, ...] = ()) -> pytest.MarkDecorator:
    """The test once for every view, by its fixture `page`; where tests are thorough, for further ones."""
    return pytest.mark.parametrize("page", [*always, *(thorough if THOROUGH else ())], indirect=True, ids=str)


@dataclass(slots=True)
class Watch:
    """What pages did that they must not: ask another address than `home`, log an error, throw, violate their policy."""

    home: str
    asked: list[str] = field(default_factory=list)
    """Every address asked for."""
    _wrong: list[str] = field(default_factory=list)
    _expected: list[str] = field(default_factory=list)

    def over(self, context: BrowserContext) -> None:
        """Watch all pages of a context, those it will open too."""

        def said(message: ConsoleMessage) -> None:
            if message.type == "error":
                self._wrong.append(f"{message.text} ({message.location['url']})")

        def opened(page: Page) -> None:
            page.on("websocket", lambda socket: self._ask(socket.url))

        context.add_init_script(_TELL_VIOLATIONS)
        context.on("request", lambda request: self._ask(request.url))
        context.on("page", opened)
        context.on("console", said)
        context.on("weberror", lambda thrown: self._wrong.append(f"thrown: {thrown.error}"))

    def settle(self, context: BrowserContext) -> None:
        """Let the pages of a context tell what they have not yet told: violations are told a task later."""
        for page in context.pages:
            page.evaluate("new Promise((done) => requestAnimationFrame(() => setTimeout(done)))")

    def expect(self, *parts: str) -> None:
        """An error that belongs to the test, as the browser logs every refusal: it must come, and is then no fault."""
        self._expected += parts

    def faults(self) -> list[str]:
        """All that was wrong, and what was expected and did not come."""
        unexpected = [told for told in self._wrong if not any(part in told for part in self._expected)]
        missed = [part for part in self._expected if not any(part in told for told in self._wrong)]
        return unexpected + [f"expected and not told: {part}" for part in missed]

    def _ask(self, address: str) -> None:
        self.asked.append(address)
        own = (f"{self.home}/", f"{self.home.replace('http', 'ws', 1)}/")
        if not f"{address}/".startswith(own) and not address.startswith(_INSIDE):
            self._wrong.append(f"asked another address: {address}")
