"""Letters that would not be seen, or not as they stand, written by their number. Nothing is dropped, nothing replaced."""

import unicodedata
from collections.abc import Callable

# Embeddings, overrides and isolates: they turn the order of what stands around them.
_TURNING = frozenset("\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069")
_UNSEEN = frozenset({"Cc", "Zl", "Zp", "Cs", "Cn", "Co"})


def by_number(letter: str) -> str:
    """A letter by its number in Unicode: "[U+6C34]"."""
    return f"[U+{ord(letter):04X}]"


def visible(text: str) -> str:
    """A text in which nothing is hidden and nothing turns the order of other text; line breaks stay.

    "a\\u202eb" is "a[U+202E]b".
    """
    if text.isascii() and text.isprintable():
        return text
    return "".join(
        by_number(c) if c in _TURNING or (c != "\n" and unicodedata.category(c) in _UNSEEN) else c
        for c in text
    )


class Letters:
    """Texts as one font can write them; `missing`: those it could not, in the order they came."""

    def __init__(self, has: Callable[[str], bool]) -> None:
        self._has = has
        self._known: dict[str, str] = {"\n": "\n"}
        self.missing: dict[str, None] = {}

    def written(self, text: str) -> str:
        """The text with every letter that the font has not by its number; letters with marks in one piece where there
        is such a letter (NFC)."""
        text = visible(text)
        return text if text.isascii() else "".join(self._one(c) for c in unicodedata.normalize("NFC", text))

    def _one(self, letter: str) -> str:
        known = self._known.get(letter)
        if known is None:
            # Without a letter to sit on, or a space of its own width, a format mark has nothing to show.
            known = (
                letter if self._has(letter) and unicodedata.category(letter) != "Cf" else by_number(letter)
            )
            self._known[letter] = known
            if known != letter:
                self.missing[letter] = None
        return known
