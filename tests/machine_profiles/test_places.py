"""Line numbers of keys and tables, against awkward but valid TOML."""

import tomllib
from typing import Any

from machine_profiles.places import line_of, lines_of

from .texts import TWO_PIECE, text_of

AWKWARD = '''# [not.a.table]
top = 1
"quoted" = "a = [b] # c"
text = """
[inside]
key = 1
"""
list = [
  [1, 2],  # ]
  [3, 4],
]
[ a . b ]   # spaced
x.y = 'z = [1]'
inline = { p = 1, q = { r = 2 } }
[a."c"]
last = true
'''


def test_awkward_text() -> None:
    assert tomllib.loads(AWKWARD)
    lines = lines_of(AWKWARD)
    assert lines == {
        "": 1, "top": 2, "quoted": 3, "text": 4, "list": 8, "a": 12, "a.b": 12, "a.b.x": 13, "a.b.x.y": 13,
        "a.b.inline": 14, "a.c": 15, "a.c.last": 16,
    }  # fmt: skip
    assert line_of(lines, "a.b.inline.q.r") == 14
    assert line_of(lines, "list.1.0") == 8
    assert line_of(lines, "nowhere.at.all") == 1


def leaves(table: dict[str, Any], path: str = "") -> list[str]:
    found = []
    for key, value in table.items():
        here = f"{path}.{key}" if path else key
        found += leaves(value, here) if isinstance(value, dict) else [here]
    return found


def test_every_key_of_real_files_is_found_on_a_line_that_holds_it() -> None:
    for text in (TWO_PIECE, text_of("machine", "crawler-14t"), text_of("attachment", "tilt-rotator-1600")):
        lines = lines_of(text)
        for path in leaves(tomllib.loads(text)):
            assert path.rpartition(".")[2] in text.splitlines()[line_of(lines, path) - 1], path


def test_a_table_of_its_own_comes_before_one_that_is_implied() -> None:
    assert lines_of("[a.b]\nc = 1\n[a]\nd = 2\n") == {"": 1, "a.b": 1, "a": 3, "a.b.c": 2, "a.d": 4}


def test_windows_line_ends() -> None:
    assert lines_of("a = 1\r\n[b]\r\nc = 2\r\n") == {"": 1, "a": 1, "b": 2, "b.c": 3}
