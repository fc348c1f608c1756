"""The boxes of an mp4 or mov file, read as they stand.

Source: ISO/IEC 14496-12 §4.2: four bytes of size, four of type; size 1 means that eight bytes of
size follow, size 0 that the box reaches to the end of the file.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import BinaryIO

import numpy as np
from numpy.typing import NDArray

MOST_BOXES = 100_000
MOST_PAYLOAD = 64 << 20


@dataclass(frozen=True, slots=True)
class Box:
    """One box: type, and where it, its content and its end lie in the file (bytes)."""

    kind: bytes
    start: int
    content: int
    end: int


def boxes_between(file: BinaryIO, start: int, end: int) -> Iterator[Box]:
    """Walk the boxes between two places; stops at the first that cannot be one.

    A box that reaches beyond `end` is given with its announced end.
    """
    place = start
    for _ in range(MOST_BOXES):
        if place + 8 > end:
            return
        file.seek(place)
        head = file.read(16)
        if len(head) < 8:
            return
        size, content = int.from_bytes(head[:4]), place + 8
        if size == 1 and len(head) == 16:
            size, content = int.from_bytes(head[8:16]), place + 16
        elif size == 0:
            size = end - place
        if size < content - place:
            return
        yield Box(head[4:8], place, content, place + size)
        place += size


def inside(file: BinaryIO, parent: Box, skip: int = 0) -> Iterator[Box]:
    """The boxes within a box, after `skip` bytes of its own fields."""
    for box in boxes_between(file, parent.content + skip, parent.end):
        if box.end > parent.end:
            return
        yield box


def first(file: BinaryIO, parent: Box, *path: bytes) -> Box | None:
    """The first box at the end of a path of types, or None."""
    for kind in path:
        found = next((box for box in inside(file, parent) if box.kind == kind), None)
        if found is None:
            return None
        parent = found
    return parent


def payload(file: BinaryIO, box: Box | None) -> bytes:
    """The content of a box; empty when it is absent or larger than any table may be."""
    if box is None or box.end - box.content > MOST_PAYLOAD:
        return b""
    file.seek(box.content)
    return file.read(box.end - box.content)


def table(content: bytes, columns: int, start: int = 8, kind: str = ">u4") -> NDArray[np.int64]:
    """A full box's table: count at byte 4, then rows of equal numbers, shape (rows, columns).

    Rows that the box announces but does not hold are left out.
    """
    if len(content) < start:
        return np.zeros((0, columns), np.int64)
    width = columns * np.dtype(kind).itemsize
    rows = min(int.from_bytes(content[start - 4 : start]), (len(content) - start) // width)
    numbers = np.frombuffer(content, kind, rows * columns, start)
    return numbers.reshape(rows, columns).astype(np.int64)


def has_movie_box(file: BinaryIO) -> bool:
    """Tell whether the file's table of contents (``moov``) is there as a whole."""
    end = file.seek(0, 2)
    return any(box.kind == b"moov" and box.end <= end for box in boxes_between(file, 0, end))
