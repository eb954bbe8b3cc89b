"""Bad input out of good: bytes flipped, cut, doubled and spliced, numbers gone to extremes, trees of TOML and JSON bent.

Everything hangs on the generator that is given, so that a case comes again by its number alone.
"""

import json
import math
import re
import tomllib
from collections.abc import Callable, Sequence
from copy import deepcopy
from random import Random
from typing import Any

_NUMBER = re.compile(rb"[-+]?\d+(?:\.\d+)?(?:[eE][-+]?\d+)?")
_WORD = re.compile(rb"[A-Za-z_][\w-]+")
_EXTREMES = (
    b"0", b"-0.0", b"-1", b"1e308", b"-1e308", b"1e400", b"nan", b"inf", b"-inf", b"NaN", b"Infinity", b"5e-324", b"255",
    b"65536", b"2147483648", b"9007199254740993", b"9223372036854775808", b"18446744073709551616",
    b"1" + b"0" * 400, b"9" * 5000, b"1e-400", b"0x7fffffff", b"1_000", b"true", b'""', b"[]", b"{}", b"1979-05-27",
    b"", b"1,5",
    b"100000000",
)  # fmt: skip
_PIECES = (
    b"\0", b"\xff", b"\xef\xbb\xbf", b"\xc0\xaf", b"\xed\xa0\x80", b"\xf4\x90\x80\x80", "\u2028".encode(), b"\r", b"\x1a",
    "\U0001f6a7".encode(), "\u202e".encode(), b"'", b'"', b'"""', b"[", b"]", b"{", b"}", b"[" * 5000, b'{"a":' * 3000,
    b"a = " + b"[" * 900, b",", b";", b"\n\n", b"#", b"\\ud800", b"\\u0000", b"%00", b"../", b"=" * 50, b"\t",
    b"A" * 20_000, b"' OR 1=1; DROP TABLE jobs; --", b"<script>alert(1)</script>", b"(" * 400, b"[[", b".",
    b"a." * 2000 + b"a = 1\n",
)  # fmt: skip
_VALUES: tuple[Any, ...] = (
    0, -1, 1, 2**31, 2**53 + 1, 2**63 - 1, 10**18, -(10**18), 10**400, 1e308, -1e308, 5e-324, 1e-300, math.nan, math.inf,
    -math.inf, 0.0, -0.0, True, False, "", " ", "x", "\0", "a\u202eb", "é" * 300, "A" * 20_000, [], {}, [[]], [0] * 3000,
    {"a": 1}, [{}], "nan", "1e400", "../../etc/passwd", "1; DROP TABLE jobs", "\U0001f6a7", 0.5, 1e9, 100_000_000,
    1_000_000,
)  # fmt: skip

Tree = Any


def spoilt(rng: Random, seeds: Sequence[bytes], form: str) -> bytes:
    """One bad input (it may be good by luck) out of good ones of a form: "toml", "json", or any other as bytes."""
    good = rng.choice(seeds)
    bend = _BENDERS.get(form)
    if bend is not None and rng.random() < 0.6:
        good = bend(rng, good)
        if rng.random() < 0.7:
            return good
    for _ in range(rng.choice((1, 1, 1, 2, 3, 8))):
        good = rng.choice(_BYTEWISE)(rng, good, seeds)
    return good


def _flip(rng: Random, data: bytes, _seeds: Sequence[bytes]) -> bytes:
    spoiled = bytearray(data)
    for _ in range(rng.choice((1, 1, 2, 10)) if spoiled else 0):
        spoiled[rng.randrange(len(spoiled))] ^= rng.choice((1, 2, 4, 8, 16, 32, 64, 128, 255))
    return bytes(spoiled)


def _span(rng: Random, data: bytes) -> tuple[int, int]:
    begin = rng.randrange(len(data) + 1)
    return begin, min(len(data), begin + rng.choice((1, 2, 4, 8, 40, 300, 2000)))


def _cut(rng: Random, data: bytes, _: Sequence[bytes]) -> bytes:
    begin, end = _span(rng, data)
    return data[:begin] if rng.random() < 0.3 else data[:begin] + data[end:]


def _double(rng: Random, data: bytes, _: Sequence[bytes]) -> bytes:
    begin, end = _span(rng, data)
    return data[:end] + data[begin:end] * rng.choice((1, 1, 2, 30, 300)) + data[end:]


def _splice(rng: Random, data: bytes, seeds: Sequence[bytes]) -> bytes:
    other = rng.choice(seeds)
    begin, end = _span(rng, other)
    at = rng.randrange(len(data) + 1)
    return data[:at] + (other[begin:] if rng.random() < 0.5 else other[begin:end]) + data[at:]


def _insert(rng: Random, data: bytes, _: Sequence[bytes]) -> bytes:
    at = rng.randrange(len(data) + 1)
    return data[:at] + rng.choice(_PIECES) + data[at:]


def _instead(pattern: re.Pattern[bytes], pick: Callable[[Random, list[bytes]], bytes]) -> Any:
    def replace(rng: Random, data: bytes, _: Sequence[bytes]) -> bytes:
        found = list(pattern.finditer(data))
        if not found:
            return data
        for each in sorted(
            rng.sample(found, min(len(found), rng.choice((1, 1, 2, 5)))), key=lambda m: -m.start()
        ):
            data = data[: each.start()] + pick(rng, [m[0] for m in found]) + data[each.end() :]
        return data

    return replace


def _lines(rng: Random, data: bytes, _: Sequence[bytes]) -> bytes:
    lines = data.splitlines(keepends=True)
    if len(lines) < 2:
        return data
    i, j = rng.randrange(len(lines)), rng.randrange(len(lines))
    how = rng.randrange(3)
    if how == 0:
        lines[i], lines[j] = lines[j], lines[i]
    elif how == 1:
        lines.insert(i, lines[j])
    else:
        del lines[i]
    return b"".join(lines)


def _field(rng: Random, data: bytes, _: Sequence[bytes]) -> bytes:
    """A length or offset of a binary format gone to an extreme."""
    width = rng.choice((2, 4, 8))
    if len(data) < width:
        return data
    at = rng.randrange(len(data) - width + 1) // width * width
    told = rng.choice((0, 1, -1, 2**31 - 1, -(2**31), 2**62, 65_535, rng.randrange(1000)))
    return data[:at] + (told % (1 << 8 * width)).to_bytes(width, "little") + data[at + width :]


_BYTEWISE: tuple[Callable[[Random, bytes, Sequence[bytes]], bytes], ...] = (
    _flip, _cut, _double, _splice, _insert, _lines, _field,
    _instead(_NUMBER, lambda rng, _: rng.choice(_EXTREMES)), _instead(_NUMBER, lambda rng, found: rng.choice(found)),
    _instead(_WORD, lambda rng, found: rng.choice(found)),
)  # fmt: skip


# Trees.


def _places(tree: Tree, above: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    inner = tree.items() if isinstance(tree, dict) else enumerate(tree) if isinstance(tree, list) else ()
    return [place for key, each in inner for place in ((*above, key), *_places(each, (*above, key)))]


def _at(tree: Tree, place: Sequence[Any]) -> Tree:
    for key in place:
        tree = tree[key]
    return tree


def bent(rng: Random, tree: Tree) -> Tree:
    """A tree of plain data with something in it replaced, gone, doubled, moved, wrapped or nested."""
    tree = deepcopy(tree)
    for _ in range(rng.choice((1, 1, 1, 2, 4))):
        places = _places(tree)
        if not places:
            return rng.choice(_VALUES)
        *above, key = rng.choice(places)
        holder = _at(tree, above)
        old = holder[key]
        how = rng.randrange(8)
        if how <= 2:
            holder[key] = deepcopy(rng.choice(_VALUES))
        elif how == 3:
            del holder[key]
        elif how == 4:
            holder[key] = deepcopy(_at(tree, rng.choice(places)))
        elif how == 5:
            holder[key] = [old] * rng.choice((1, 2, 300)) if rng.random() < 0.5 else {str(key): old}
        elif how == 6:
            for _ in range(rng.choice((3, 30, 70))):
                old = [old]
            holder[key] = old
        elif isinstance(holder, dict):
            holder[rng.choice(("", " ", "\0", "é", "a.b", "x" * 5000, "__proto__", str(key) + "s"))] = old
        if isinstance(old, float) and rng.random() < 0.3:
            _scale(rng, tree)
    return tree


def _scale(rng: Random, tree: Tree) -> None:
    """A number of plausible size gone a little or a lot."""
    numbers = [p for p in _places(tree) if type(_at(tree, p)) in (int, float)]
    if numbers:
        *above, key = rng.choice(numbers)
        _at(tree, above)[key] *= rng.choice((-1, 0.5, 2, 10, 1000, 1e-9, 1e9, 1e300))


def _bent_toml(rng: Random, good: bytes) -> bytes:
    try:
        tree = bent(rng, tomllib.loads(good.decode()))
    except (ValueError, OverflowError):
        return good
    if not isinstance(tree, dict):
        return _toml(tree).encode("utf-8", "surrogatepass")
    return as_toml(tree)


def as_toml(tree: dict[str, Tree]) -> bytes:
    """A tree as TOML, a line a key."""
    lines = "".join(f"{json.dumps(key)} = {_toml(value)}\n" for key, value in tree.items())
    return lines.encode("utf-8", "surrogatepass")


def _toml(value: Tree) -> str:
    if isinstance(value, dict):
        return "{" + ", ".join(f"{json.dumps(k)} = {_toml(v)}" for k, v in value.items()) + "}"
    if isinstance(value, list):
        return "[" + ", ".join(map(_toml, value)) + "]"
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False) if value.isprintable() else json.dumps(value)
    return str(value)


def _bent_json(rng: Random, good: bytes) -> bytes:
    lines = good.splitlines()
    i = rng.randrange(len(lines)) if lines else 0
    try:
        whole = json.loads(good)
    except ValueError:  # an object a line
        try:
            lines[i] = json.dumps(bent(rng, json.loads(lines[i]))).encode()
        except (ValueError, IndexError, OverflowError):
            return good
        return b"\n".join(lines) + b"\n"
    try:
        return json.dumps(bent(rng, whole), ensure_ascii=rng.random() < 0.5).encode("utf-8", "surrogatepass")
    except OverflowError:
        return good


_BENDERS: dict[str, Callable[[Random, bytes], bytes]] = {"toml": _bent_toml, "json": _bent_json}
