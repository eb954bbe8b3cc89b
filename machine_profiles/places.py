"""Line numbers of tables and keys in a TOML text, which the standard parser does not report."""

import re
from collections.abc import Collection

# Strings and comments, longest quotes first; what they hold must not look like structure.
_OPAQUE = re.compile(
    r"""\"\"\"(?:\\.|[^\\])*?\"\"\" | '''.*?''' | "(?:\\.|[^"\\\n])*" | '[^'\n]*' | \#[^\n]*""",
    re.VERBOSE | re.DOTALL,
)
# No place in a profile lies deeper; a key of ten thousand parts must not cost ten thousand paths.
_DEEPEST = 12
_HEADER = re.compile(r"\s*\[{1,2}([^\[\]]+)\]{1,2}\s*")
_MANY = re.compile(r"^(\s*)\[\[\s*(\w+)\s*\]\]", re.MULTILINE)
_KEY = re.compile(r"\s*([^=\s][^=]*?)\s*=(.*)")


def lines_of(text: str) -> dict[str, int]:
    """Dotted path of each table and key to its line, from 1, in a text that is already known to be TOML.

    Keys inside an inline table stand on its own line: `line_of` finds them through their parents.
    """
    found: dict[str, int] = {"": 1}
    implied: dict[str, int] = {}  # [a.b] makes a table "a" that need not have a line of its own
    table = ""
    depth = 0
    for number, line in enumerate(_OPAQUE.sub(_blanked, text).split("\n"), start=1):
        rest = line
        if depth == 0:
            if header := _HEADER.fullmatch(line):
                table = _path(header[1])
                found.setdefault(table, number)
                _imply(implied, table, number)
                continue
            if key := _KEY.fullmatch(line):
                path = f"{table}.{_path(key[1])}" if table else _path(key[1])
                found.setdefault(path, number)
                _imply(implied, path, number)
                rest = key[2]
        depth += sum(rest.count(bracket) for bracket in "[{") - sum(rest.count(bracket) for bracket in "]}")
    return implied | found


def numbered(text: str, names: Collection[str]) -> str:
    """The text with each [[steps]] of these names as [steps.0], [steps.1], so that each has lines of its own."""
    counts: dict[str, int] = {}

    def number(found: re.Match[str]) -> str:
        name = found[2]
        if name not in names:
            return found[0]
        counts[name] = counts.get(name, -1) + 1
        return f"{found[1]}[{name}.{counts[name]}]"

    return _MANY.sub(number, text)


def _imply(implied: dict[str, int], path: str, number: int) -> None:
    while path := path.rpartition(".")[0]:
        implied.setdefault(path, number)


def line_of(lines: dict[str, int], path: str) -> int:
    """Line of a path, or of the nearest table or key around it."""
    while path not in lines:
        path = path.rpartition(".")[0]
    return lines[path]


def _blanked(match: re.Match[str]) -> str:
    """A short string keeps its letters, since it may be a key; all else keeps only its line ends."""
    text = match[0]
    if text[0] == "#":
        return ""
    return re.sub(r"[\[\]{}=.#]", "_", text)


def _path(dotted: str) -> str:
    return ".".join(part.strip().strip("\"'") for part in dotted.split(".", _DEEPEST)[:_DEEPEST])
