"""How much a recording may cost: size, length, memory and time.

A limit is there for hostile and broken files; a genuine take of a student never meets one. The
time allowed grows with the take that has been decoded so far, so that a long genuine take on a
slow computer is not cut off while a small file that never ends is.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Limits:
    """Bounds that hold while one recording is decoded.

    Attributes
    ----------
    file_bytes : int
        Largest file that is opened.
    picture_pixels : int
        Largest picture, width × height (the default lets 4K through).
    duration_s : float
        Longest take.
    pictures : int
        Most pictures in a take.
    memory_bytes : int
        Address space of the child process (POSIX only).
    start_s : float
        Waiting time for the child that is always allowed, in seconds.
    pace : float
        Further seconds of waiting allowed for each second of the take decoded so far.
    decode_threads : int
        Threads that the picture decoder may use.
    """

    file_bytes: int = 8 << 30
    picture_pixels: int = 4096 * 2304
    duration_s: float = 2700.0
    pictures: int = 400_000
    memory_bytes: int = 3 << 29
    start_s: float = 60.0
    pace: float = 8.0
    decode_threads: int = 2
