"""A .blf log by python-can, within bounds: no more is unpacked or made room for than a log can hold, and it ends."""

import struct
import zlib
from collections.abc import Iterator
from pathlib import Path
from typing import BinaryIO

import can

MOST = 16 << 20
"""Bytes of a container once unpacked, and of an object in it. Writers put some 128 KiB into one (from memory)."""
_MOST_HEAD = 4096  # 144 in all versions there are (from memory)
_CONTAINER = 10
_PACKED = {0: False, 2: True}  # by method; zlib is the only one (python-can, can/io/blf.py)
_OBJECT = struct.Struct("<4sHHLL")
_METHOD = struct.Struct("<H6xL4x")


def opened(path: Path) -> BinaryIO:
    """The file, which makes room for what is there and not for what is asked for: a size may be any number."""
    return _Sized(path)  # type: ignore[return-value]  # as much of it as is read


class _Sized:
    def __init__(self, path: Path) -> None:
        self._file = path.open("rb")
        self._left = path.stat().st_size
        size = int.from_bytes(self._file.read(8)[4:], "little")
        if size > _MOST_HEAD:
            self._file.close()
            raise ValueError(f"a head of {size} bytes")
        self._file.seek(0)

    def read(self, size: int = -1) -> bytes:
        if size < 0:
            raise ValueError("a size below nothing")
        data = self._file.read(min(size, self._left))
        self._left -= len(data)
        return data

    def close(self) -> None:
        self._file.close()

    def __enter__(self) -> "_Sized":
        return self

    def __exit__(self, *_: object) -> None:
        self.close()


class Blf(can.BLFReader):
    """Frames of a log. Raises ValueError where it breaks off, which python-can would read on from without an end."""

    def __iter__(self) -> Iterator[can.Message]:  # type: ignore[override]
        """Container by container; what stands in none is no frame."""
        while head := self.file.read(_OBJECT.size):
            signature, _, _, size, kind = _OBJECT.unpack(head)
            if signature != b"LOBJ" or size < _OBJECT.size:
                raise ValueError("what is no object of a log")
            body = self.file.read(size - _OBJECT.size)
            self.file.read(size % 4)
            if kind == _CONTAINER:
                data = _unpacked(body)
                _look_over(self._tail + data)
                yield from self._parse_container(data)
        self.stop()


def _unpacked(body: bytes) -> bytes:
    method, _ = _METHOD.unpack_from(body)
    packed = body[_METHOD.size :]
    if method not in _PACKED:
        raise ValueError(f"a container packed by method {method}, which no log has")
    data = zlib.decompressobj().decompress(packed, MOST + 1) if _PACKED[method] else packed
    if len(data) > MOST:
        raise ValueError(f"a container of more than {MOST} bytes")
    return data


def _look_over(data: bytes) -> None:
    """Refuse sizes of objects by which their reader would stand still, or keep everything for one that never ends."""
    at = 0
    while (at := data.find(b"LOBJ", at, at + 8)) >= 0 and at + _OBJECT.size <= len(data):
        size = _OBJECT.unpack_from(data, at)[3]
        if not _OBJECT.size <= size <= MOST:
            raise ValueError(f"an object of {size} bytes")
        at += size
