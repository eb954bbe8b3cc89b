"""The page for signing in: what its text promises and what its script may not do."""

import re
from html.parser import HTMLParser
from pathlib import Path

import pytest

from service.access.caller import RIGHTS, Right, Role
from service.secret import mint

from .making import Door

PAGE = Path(__file__).parents[3] / "service" / "page"
OWN, ASKING = ((PAGE / name).read_text(encoding="utf-8") for name in ("sign-in.js", "ask.js"))
SCRIPT = OWN + ASKING
ADMISSION = (Path(__file__).parents[3] / "service" / "access" / "admission.py").read_text(encoding="utf-8")


class Elements(HTMLParser):
    """Every element of a page with its attributes, and the text of the page."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.all: list[tuple[str, dict[str, str | None]]] = []
        self.text = ""
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.all.append((tag, dict(attrs)))

    def handle_data(self, data: str) -> None:
        self.text += data

    def of(self, tag: str) -> list[dict[str, str | None]]:
        return [attributes for name, attributes in self.all if name == tag]

    def by_id(self, name: str) -> dict[str, str | None]:
        [found] = [attributes for _, attributes in self.all if attributes.get("id") == name]
        return found


@pytest.fixture(scope="module")
def elements(door: Door) -> Elements:
    return Elements(door.ask("GET", "/sign-in").text)


def test_one_field_with_a_label_that_is_seen(elements: Elements) -> None:
    assert {"for": "token"} in elements.of("label")
    token = elements.by_id("token")
    assert token["type"] == "password"
    assert token["autocomplete"] == "current-password"
    assert token["spellcheck"] == "false"
    assert token["autocapitalize"] == "none"
    for described in str(token["aria-describedby"]).split():
        assert elements.by_id(described)
    assert "placeholder" not in token
    assert elements.by_id("show")["type"] == "checkbox"


def test_the_browser_itself_sends_no_token_anywhere(elements: Elements) -> None:
    """Without its script the form is hidden; shown all the same it has no address, and its fields no names."""
    [form] = elements.of("form")
    assert form["method"] == "post"
    assert "action" not in form
    assert all("name" not in field and "value" not in field for field in elements.of("input"))
    assert all(not {"formaction", "formmethod"} & set(button) for button in elements.of("button"))
    sections = {str(section["id"]): "hidden" in section for section in elements.of("section")}
    assert [name for name, hidden in sections.items() if not hidden] == ["wait"]


def test_what_is_wrong_is_said_aloud(elements: Elements) -> None:
    for name in ("problem", "stuck", "trouble-words"):
        assert elements.by_id(name)["role"] == "alert"
    assert elements.by_id("said")["role"] == "status"


def test_without_script_it_says_so(elements: Elements) -> None:
    assert elements.of("noscript")
    assert "needs its script" in elements.text


def test_nothing_inside_the_page_runs_or_paints(elements: Elements) -> None:
    assert elements.of("script") == [{"type": "module", "src": "/page/sign-in.js"}]
    assert elements.of("style") == []
    for tag, attributes in elements.all:
        assert "style" not in attributes, tag
        assert not [name for name in attributes if name.startswith("on")], tag


def test_the_same_page_for_everybody(door: Door) -> None:
    first = door.ask("GET", "/sign-in")
    second = door.ask("GET", "/sign-in", headers={"cookie": "tipdatum-session=x"})
    assert first.content == second.content


def test_every_page_leads_there(door: Door) -> None:
    for path in ("/", "/guide", "/guide/cautions", "/sign-in"):
        assert {"href": "/sign-in"} in Elements(door.ask("GET", path).text).of("a")


@pytest.mark.parametrize(
    "word",
    ["innerHTML", "outerHTML", "insertAdjacentHTML", "document.write", "createContextualFragment", "setHTML",
     "DOMParser", "eval", "Function(", "import(", "localStorage", "sessionStorage", "indexedDB", "console", "cookie =",
     "document.cookie", "location", "history", "window.open", "postMessage", "sendBeacon", "XMLHttpRequest", "WebSocket",
     ".src", ".href", ".action", ".submit(", "setAttribute(\"on", "http:", "https:", "?token", "import "],
)  # fmt: skip
def test_what_the_script_may_not_do(word: str) -> None:
    assert word not in SCRIPT.replace('import { ask, codeOf, inWords, isProblem } from "./ask.js";\n', "")


def test_the_script_asks_two_addresses_of_this_service() -> None:
    addresses = re.findall(r'"(/[^"]*)"', SCRIPT)
    assert sorted(set(addresses)) == ["/v1/sessions", "/v1/sessions/current"]
    assert SCRIPT.count("fetch(") == 1
    assert 'credentials: "same-origin"' in SCRIPT
    assert 'redirect: "error"' in SCRIPT


def test_every_id_the_script_writes_to_is_there(elements: Elements) -> None:
    for name in set(re.findall(r'(?:at|write|list|show|alone)\("([a-z-]+)"', SCRIPT)):
        assert elements.by_id(name)


def test_the_script_and_the_service_agree_on_what_a_token_is(elements: Elements) -> None:
    [pattern] = re.findall(r"^const WHOLE = /(.*)/;$", SCRIPT, re.MULTILINE)
    [length] = re.findall(r"^const LENGTH = ([0-9]+);$", SCRIPT, re.MULTILINE)
    text = mint().text
    assert re.fullmatch(pattern, text)
    assert not re.fullmatch(pattern, text[:-1])
    assert len(text) == int(length)
    assert f"{length} signs" in elements.text


def test_it_has_words_for_every_reason_not_to_be_let_in() -> None:
    codes = set(re.findall(r'_nobody\(\s*"([a-z-]+)"', ADMISSION))
    assert codes >= {"bad-token", "expired-token", "revoked-token", "no-token"}
    token, session = (words(name) for name in ("OF_TOKEN", "OF_SESSION"))
    assert codes - {"no-token"} == token
    assert codes == session


def test_it_has_words_for_every_role() -> None:
    assert words("ROLES") == {role.value for role in Role}
    [recording] = re.findall(r"^const RECORDING = \[(.*)\];$", SCRIPT, re.MULTILINE)
    assert set(re.findall(r'"(\w+)"', recording)) == {
        role.value for role, rights in RIGHTS.items() if Right.RECORD in rights
    }


def words(name: str) -> set[str]:
    """The keys of a map of words in the script."""
    [body] = re.findall(rf"^const {name} = new Map\(\[\n(.*?)^\]\);$", SCRIPT, re.MULTILINE | re.DOTALL)
    return set(re.findall(r'^  \["([a-z-]+)"', body, re.MULTILINE))
