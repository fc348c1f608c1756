"""The boxes of an mp4 or mov file, read as they stand.

Source: ISO/IEC 14496-12 §4.2: four bytes of size, four of type; size 1 means that eight bytes of
size follow, size 0 that the box reaches to the end of the file.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import BinaryIO

MOST_BOXES = 100_000


@dataclass(frozen=True, slots=True)
class Box:
    """One box: type, and where its content begins and ends in the file (bytes)."""

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


def has_movie_box(file: BinaryIO) -> bool:
    """Tell whether the file's table of contents (``moov``) is there as a whole."""
    end = file.seek(0, 2)
    return any(box.kind == b"moov" and box.end <= end for box in boxes_between(file, 0, end))
