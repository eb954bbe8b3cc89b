"""The words of a PDF of ours, read back without a library: streams unpacked, letters by the fonts' own maps."""

import re
import zlib


def streams(pdf: bytes) -> list[bytes]:
    """Every stream, unpacked where it is packed."""
    found = []
    for packed in re.findall(rb"stream\n(.*?)\nendstream", pdf, flags=re.DOTALL):
        try:
            found.append(zlib.decompress(packed))
        except zlib.error:
            found.append(packed)
    return found


def sheets_of(pdf: bytes) -> int:
    """How many sheets."""
    return len(re.findall(rb"/Type /Page\n", pdf))


def words_of(pdf: bytes) -> str:
    """Everything that is written, a piece a line, in the order of the file; letters that no map knows raise KeyError."""
    pages = [each for each in streams(pdf) if b" Tj" in each]
    maps = [_map(each) for each in streams(pdf) if b"begincmap" in each]
    told = []
    for page in pages:
        font = 0
        for name, piece in re.findall(rb"/F(\d+) [\d.]+ Tf|\(((?:\\.|[^\\)])*)\) Tj", page, flags=re.DOTALL):
            if name:
                font = int(name) - 1
            else:
                raw = _plain(piece)
                codes = [int.from_bytes(raw[i : i + 2]) for i in range(0, len(raw), 2)]
                told.append("".join(maps[font][code] for code in codes))
    return "\n".join(told)


def _plain(piece: bytes) -> bytes:
    return re.sub(
        rb"\\(.)", lambda found: {b"r": b"\r", b"n": b"\n"}.get(found[1], found[1]), piece, flags=re.DOTALL
    )


def _map(text: bytes) -> dict[int, str]:
    pairs = re.findall(rb"<([0-9A-Fa-f]{4})> <([0-9A-Fa-f]+)>\n", text)
    return {int(code, 16): bytes.fromhex(letter.decode()).decode("utf-16-be") for code, letter in pairs}
