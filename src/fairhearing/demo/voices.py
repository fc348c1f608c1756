"""The bundled spoken phrases: who speaks is invented, no family name is said.

Keys: ``introduction/201`` (by audition number), else ``etude/a`` (section and voice letter).
Sound is mono ``float32`` at 48 kHz with an RMS of about 0.1.
"""

from __future__ import annotations

import json
from functools import cache
from pathlib import Path

import av
import numpy as np
from numpy.typing import NDArray

from fairhearing.demo.cast import Player

RATE_HZ = 48_000
_DATA = Path(__file__).with_name("data")


def key(player: Player, section: str) -> str:
    """Return the key of what a player says before a section ("thanks" at the end)."""
    return f"{section}/{player.number if section == 'introduction' else player.voice}"


def length_s(phrase: str) -> float:
    """Return how long a phrase lasts, in seconds.

    Raises
    ------
    KeyError
        If there is no such phrase.
    """
    start, end = _index()[phrase]
    return (end - start) / RATE_HZ


def sound(phrase: str) -> NDArray[np.float32]:
    """Return the sound of a phrase, shape (n,), at 48 kHz.

    Raises
    ------
    KeyError
        If there is no such phrase.
    """
    start, end = _index()[phrase]
    return _everything()[start:end]


@cache
def _index() -> dict[str, tuple[int, int]]:
    table = json.loads((_DATA / "voices.json").read_text(encoding="utf-8"))["phrases"]
    return {phrase: (start, end) for phrase, (start, end) in table.items()}


@cache
def _everything() -> NDArray[np.float32]:
    blocks: list[NDArray[np.float32]] = []
    with av.open(str(_DATA / "voices.ogg")) as file:
        convert = av.AudioResampler(format="flt", layout="mono", rate=RATE_HZ)
        for frame in file.decode(audio=0):
            blocks += [part.to_ndarray()[0] for part in convert.resample(frame)]
    joined = np.concatenate(blocks).astype(np.float32)
    joined.setflags(write=False)
    return joined
