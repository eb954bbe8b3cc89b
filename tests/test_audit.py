"""The audit of what the product rests on: nothing it could not read may pass for clean."""

import importlib
import json
import tomllib
from collections.abc import Iterator
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from packaging.version import Version

ROOT = Path(__file__).parent.parent
PINS = {"h11": Version("0.16.0"), "idna": Version("3.20")}
ROW = {"id": "X-1", "package": "h11", "fixed": "0.16.0", "what": "smuggling", "source": "from memory"}


@pytest.fixture(scope="module", autouse=True)
def _scripts() -> Iterator[None]:
    with pytest.MonkeyPatch.context() as patch:
        patch.syspath_prepend(str(ROOT / ".ci"))
        yield


@pytest.fixture(scope="module")
def audit() -> ModuleType:
    return importlib.import_module("audit")


@pytest.fixture(scope="module")
def flaws() -> ModuleType:
    return importlib.import_module("flaws")


def answer(*dependencies: object) -> str:
    return json.dumps({"dependencies": dependencies, "fixes": []})


def sound(name: str, version: str) -> dict[str, object]:
    return {"name": name, "version": version, "vulns": []}


def skipped(name: str) -> dict[str, object]:
    return {"name": name, "skip_reason": "not found and could not be audited"}


def table(**changed: object) -> str:
    return "[[advisory]]\n" + "\n".join(
        f"{key} = {json.dumps(value)}" for key, value in {**ROW, **changed}.items()
    )


def test_the_repository_holds_against_its_own_table(audit: ModuleType, flaws: ModuleType) -> None:
    pins, misread = audit.read_pins((ROOT / ".ci/constraints.txt").read_text())
    known, faults = flaws.read_advisories((ROOT / ".ci/advisories.toml").read_text())
    project = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]
    direct = [*project["dependencies"], *project["optional-dependencies"]["test"]]
    assert misread == faults == []
    assert len({(each.package, each.id) for each in known}) == len(known) > 30
    assert flaws.below_fixed(known, pins, direct) == []


def test_pins_are_read_by_canonical_name(audit: ModuleType) -> None:
    pins, faults = audit.read_pins("# renewed\nMako==1.4.3  # templates\n\nfastapi_offline==1.7.7\n")
    assert (pins, faults) == ({"mako": Version("1.4.3"), "fastapi-offline": Version("1.7.7")}, [])


@pytest.mark.parametrize(
    "line", ["h11", "h11>=0.16", "h11==", "h11==0.16.*", "h11===0.16", "-e .", "h11[x]==1"]
)
def test_a_line_that_pins_nothing_is_a_fault(audit: ModuleType, line: str) -> None:
    pins, faults = audit.read_pins(f"idna==3.20\n{line}\nidna==3.21")
    assert pins == {"idna": Version("3.20")}
    assert [each.split(":")[0] for each in faults] == [f".ci/constraints.txt line {n}" for n in (2, 3)]
    assert repr(line) in faults[0]


def test_extras_and_markers_are_followed(audit: ModuleType) -> None:
    asked = {
        "server": ["parser>=1", "loop; extra == 'standard'", "never; python_version < '3'"],
        "loop": ["Parser", "server[standard]"],
    }
    assert audit.needed(["server"], lambda name: asked.get(name, [])) == {
        "server": "pyproject.toml",
        "parser": "server",
    }
    assert set(audit.needed(["Server[standard]"], lambda name: asked.get(name, []))) == {
        "server",
        "parser",
        "loop",
    }


def test_what_is_needed_must_be_pinned_and_installed_so(audit: ModuleType) -> None:
    want = {"h11": "uvicorn", "idna": "httpx", "mdurl": "markdown-it-py"}
    here = {"h11": "0.16.0", "idna": "3.20", "mdurl": "0.1.2"}
    assert audit.not_as_pinned(dict.fromkeys(PINS, "httpx"), PINS, here.get) == []
    assert audit.not_as_pinned(want, PINS, (here | {"h11": "0.14.0"}).get) == [
        "h11, needed by uvicorn: expected 0.16.0 installed, found 0.14.0; install with -c .ci/constraints.txt",
        "mdurl, needed by markdown-it-py: expected a pin in .ci/constraints.txt, found none; "
        "pin the version that passes the tests",
    ]
    assert ["found none" in each for each in audit.not_as_pinned(want, PINS, {}.get)] == [True] * 3


def test_a_pin_below_a_fix_is_a_fault(flaws: ModuleType) -> None:
    known, _ = flaws.read_advisories(table(fixed="0.16.1"))
    assert flaws.below_fixed(known, PINS, ["httpx>=0.27"]) == [
        "h11 (X-1: smuggling): expected at least 0.16.1, found 0.16.0 pinned; renew .ci/constraints.txt"
    ]
    assert flaws.below_fixed(flaws.read_advisories(table())[0], PINS, []) == []


@pytest.mark.parametrize(
    ("wanted", "found"), [("H11>=0.15.9,<1", "bound 0.15.9"), ("h11", "missing"), ("h11<1", "missing")]
)
def test_a_lower_bound_below_a_fix_is_a_fault(flaws: ModuleType, wanted: str, found: str) -> None:
    known, _ = flaws.read_advisories(table())
    (fault,) = flaws.below_fixed(known, PINS, [wanted])
    assert found in fault
    assert "raise it in pyproject.toml" in fault
    assert flaws.below_fixed(known, PINS, ["h11>=0.16"]) == []


def test_an_entry_that_guards_nothing_is_a_fault(flaws: ModuleType) -> None:
    known, _ = flaws.read_advisories(table(package="h1l"))
    (fault,) = flaws.below_fixed(known, PINS, [])
    assert "expected a package that is pinned, found h1l" in fault


@pytest.mark.parametrize(
    "text", ["", "[[advisory]", "advisory = 3", "[[advisory]]\nid = 'X-1'", table(fixed="soon"), table(what=" "),
             table(severity="high"), table(fixed=16)]
)  # fmt: skip
def test_a_table_that_cannot_be_read_is_a_fault(flaws: ModuleType, text: str) -> None:
    known, faults = flaws.read_advisories(text)
    assert known == []
    assert len(faults) == 1


def test_all_audited_and_sound_is_clean(flaws: ModuleType) -> None:
    assert flaws.read_audit(answer(sound("h11", "0.16.0"), sound("idna", "3.20")), PINS) == ([], [])
    told, faults = flaws.not_audited([], 2, "advisories")
    assert (told, faults) == ("advisories were read for all 2 packages", [])


def test_a_known_flaw_is_a_fault(flaws: ModuleType) -> None:
    flawed = {"name": "h11", "version": "0.16.0", "vulns": [
        {"id": "X-1", "fix_versions": ["0.17.0", "1.0"]}, {"id": "X-2", "fix_versions": []},
    ]}  # fmt: skip
    unread, faults = flaws.read_audit(answer(flawed, sound("idna", "3.20")), PINS)
    assert unread == []
    assert faults == [
        f"h11: expected no known flaw, found {said}; renew .ci/constraints.txt"
        for said in ("X-1 in 0.16.0, fixed in 0.17.0, 1.0", "X-2 in 0.16.0, fixed in none yet")
    ]


def test_what_was_skipped_is_counted_and_a_fault_where_advisories_are_needed(flaws: ModuleType) -> None:
    unread, faults = flaws.read_audit(answer(skipped("h11"), sound("idna", "3.20")), PINS)
    assert (unread, faults) == (["h11"], [])
    told, faults = flaws.not_audited(unread, 2, "")
    assert told == "WARNING: advisories could not be read for 1 of 2 packages here: not audited by advisory"
    assert faults == []
    (fault,) = flaws.not_audited(unread, 2, "advisories")[1]
    assert "1 of 2 packages" in fault


def test_an_unknown_need_is_a_fault(flaws: ModuleType) -> None:
    (fault,) = flaws.not_audited([], 2, "advisory")[1]
    assert "expected advisories, or nothing, found 'advisory'" in fault


@pytest.mark.parametrize(
    "dependencies", [[], [sound("idna", "3.20")], [sound("h11", "0.16.1"), sound("idna", "3.20")]]
)
def test_silence_on_a_pin_is_a_fault(flaws: ModuleType, dependencies: list[object]) -> None:
    unread, faults = flaws.read_audit(answer(*dependencies), PINS)
    assert "h11" in unread
    (fault,) = faults
    assert "none on h11" in fault


@pytest.mark.parametrize(
    "text", ["", "No known vulnerabilities found", "[]", "{}", "null", '{"dependencies": {"h11": []}}',
             answer({"name": "h11"}), answer({"name": "h11", "version": "0.16.0", "vulns": ["X-1"]}),
             answer({"name": "h11", "version": "0.16.0", "vulns": None}), answer({"name": "h11", "skip_reason": ""})]
)  # fmt: skip
def test_an_answer_that_cannot_be_read_is_a_fault_and_audits_nothing(flaws: ModuleType, text: str) -> None:
    unread, faults = flaws.read_audit(text, PINS)
    assert unread == sorted(PINS)
    assert len(faults) == 1


_anything = st.recursive(
    st.none() | st.booleans() | st.integers() | st.text(max_size=5),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=3), inner, max_size=3),
    max_leaves=5,
)
_dependency = st.fixed_dictionaries(
    {}, optional={"name": st.just("h11") | _anything, "version": st.just("0.16.0") | _anything,
                  "vulns": _anything, "skip_reason": _anything}
)  # fmt: skip


@given(dependencies=st.lists(_dependency | _anything, max_size=3))
def test_no_answer_without_a_word_on_every_pin_is_clean(flaws: ModuleType, dependencies: list[Any]) -> None:
    unread, faults = flaws.read_audit(answer(*dependencies), PINS)
    assert "idna" in unread
    assert faults


def test_a_plain_copyleft_licence_or_none_is_a_fault(audit: ModuleType) -> None:
    fine = {
        "a": "MIT", "b": "LGPL-2.1-only", "c": "GNU Lesser General Public License v3 (LGPLv3)", "d": "MIT OR GPL-2.0",
        "e": "BSD-3-Clause AND GPL-3.0-or-later WITH GCC-exception-3.1", "f": "Mozilla Public License 2.0 (MPL 2.0)",
    }  # fmt: skip
    assert audit.not_to_ship(fine) == []
    for said in ("", "GPL-3.0-or-later", "AGPL-3.0-only", "GNU Affero General Public License v3", "GPLv3 OR GPLv2",
                 "GNU General Public License v3 or later (GPLv3+)", "MIT AND GPL-2.0-only"):  # fmt: skip
        (fault,) = audit.not_to_ship({"a": said})
        assert f"found {said or 'none'};" in fault


def test_a_licence_is_read_from_what_is_installed(audit: ModuleType) -> None:
    assert "MIT" in audit.licence("h11")
    assert "BSD" in audit.licence("starlette")
    assert audit.licence("resvg-py") == "MIT"  # its metadata say nothing, its file does
