"""Where text goes on a sheet: lines of a width, columns of a table. Any unit of length, the same throughout."""

from collections.abc import Callable, Sequence

Measure = Callable[[str], float]
# What must not be on its own line gets no narrower than this; else a long name would starve all other columns.
_LONGEST_WORD = 0.3


def wrapped(text: str, width: float, measure: Measure) -> list[str]:
    """Lines no wider than `width`, broken between words; a word that is wider is broken anywhere. At least one line."""
    lines = []
    for given in text.split("\n"):
        if measure(given) <= width:
            lines.append(given)
            continue
        line = ""
        for word in given.split(" "):
            longer = f"{line} {word}" if line else word
            if measure(longer) <= width:
                line = longer
                continue
            if line:
                lines.append(line)
            *whole, line = _pieces(word, width, measure)
            lines += whole
        lines.append(line)
    return lines


def _pieces(word: str, width: float, measure: Measure) -> list[str]:
    """A word in pieces no wider than `width`; a letter wider than that stands alone."""
    pieces, begun = [], ""
    for letter in word:
        if begun and measure(begun + letter) > width:
            pieces.append(begun)
            begun = ""
        begun += letter
    return [*pieces, begun]


def columns(
    head: Sequence[str], rows: Sequence[Sequence[str]], whole: Sequence[bool], width: float, gap: float,
    measure: Measure, bold: Measure,
) -> list[float] | None:  # fmt: skip
    """Widths of columns, `gap` between them not counted; None where even broken between words they do not fit.

    As narrow as the text allows; what is left over goes to nobody, what lacks is taken from those that can break.
    `whole`: of each column, whether its cells are figures, which are not broken.
    """
    room = width - gap * (len(head) - 1)
    most = [max(bold(name), *(_widest(row[i], measure) for row in rows), 0.0) for i, name in enumerate(head)]
    if sum(most) <= room:
        return most
    least = [
        _least(name, [row[i] for row in rows], width, measure, bold, whole=whole[i])
        for i, name in enumerate(head)
    ]
    spare = room - sum(least)
    if spare < 0.0:
        return None
    wanted = [m - n for m, n in zip(most, least, strict=True)]
    # Narrow wishes are met in full first, so that no figure breaks for the sake of a long sentence.
    given = [0.0] * len(head)
    left = spare
    waiting = sorted(range(len(head)), key=lambda i: wanted[i])
    for done, i in enumerate(waiting):
        given[i] = min(wanted[i], left / (len(head) - done))
        left -= given[i]
    return [n + g for n, g in zip(least, given, strict=True)]


def _least(
    name: str, cells: Sequence[str], width: float, measure: Measure, bold: Measure, *, whole: bool
) -> float:
    """How narrow a column may get, broken between words; no word asks for more than its share of so wide a table."""
    if whole:
        asked = [_widest(cell, measure) for cell in cells]
    else:
        most = _LONGEST_WORD * width
        asked = [min(measure(word), most) for cell in cells for word in cell.replace("\n", " ").split(" ")]
    return max(*map(bold, name.split(" ")), *asked, 0.0)


def _widest(text: str, measure: Measure) -> float:
    return max(map(measure, text.split("\n")))
