"""How likely a note begins, and how likely one sounds, at each frame: a small trained network.

The network (one hidden layer, two outputs) looks at a few plain measures of the ±130 ms around a
frame: growth and decay of the spectrum, level, voicing, movement of the pitch. It was trained on
generated performances with exact truth, see ``benchmarks/playing/train.py``; instruments and bank
of the training are not those of the accuracy table. Its weights are in ``beginnings.npz``.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from importlib.resources import as_file, files

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import maximum_filter1d

from fairhearing.core.playing.attacks import Attacks
from fairhearing.core.playing.pitch import PitchTrack

CONTEXT = (-16, -10, -6, -4, -3, -2, -1, 0, 1, 2, 3, 4, 6, 10, 16)
"""Frames, relative to the one that is judged, that the network sees."""

_NEAR_FRAMES = 101
_BLOCK_FRAMES = 8192


@dataclass(frozen=True, slots=True, eq=False)
class Beginnings:
    """Frame by frame (8 ms), in nats (log odds), shape (n,) each.

    ``begins``: that a note begins within a frame of this one; ``sounds``: that a note sounds.
    """

    begins: NDArray[np.float64]
    sounds: NDArray[np.float64]


def measures(attacks: Attacks, track: PitchTrack) -> NDArray[np.float32]:
    """Return the measures of each frame, shape (n, m); gain and pitch have no influence."""
    level = attacks.level_db
    floor = np.percentile(level, 5) if len(level) else 0.0
    columns = [
        np.clip(_below_near(level), -40, 0) / 15,
        np.clip(level - floor, 0, 40) / 15,
        np.clip(_below_near(attacks.high_db), -40, 0) / 15,
        np.clip(_below_near(attacks.partials_db), -40, 0) / 15,
        np.clip(attacks.partials_db - level, -30, 0) / 15,
        track.confidence,
        _moves(track, 3),
        _moves(track, 8),
    ]
    return np.concatenate(
        [attacks.growth / 4, attacks.decay / 4, np.stack(columns, axis=1)], axis=1
    ).astype(np.float32)


def _below_near(level_db: NDArray[np.float32]) -> NDArray[np.float32]:
    """Return the level relative to the greatest within 0.4 s."""
    return np.asarray(level_db - maximum_filter1d(level_db, _NEAR_FRAMES))


def _moves(track: PitchTrack, frames: int) -> NDArray[np.float64]:
    """Return by how much the pitch differs before and after each frame, at most 2 semitones."""
    padded = np.pad(track.midi, frames, mode="edge")
    sure = np.pad(track.confidence, frames, mode="edge")
    away = np.abs(padded[2 * frames :] - padded[: -2 * frames])
    return np.asarray(np.minimum(away, 2) * np.minimum(sure[2 * frames :], sure[: -2 * frames]))


def in_context(values: NDArray[np.float32], first: int, last: int) -> NDArray[np.float32]:
    """Return the measures around frames ``first`` … ``last − 1``, shape (last − first, c · m)."""
    index = np.arange(first, last)[:, None] + np.array(CONTEXT)
    index = np.clip(index, 0, len(values) - 1)
    return np.asarray(values[index].reshape(last - first, -1))


@cache
def _weights() -> tuple[NDArray[np.float32], ...]:
    with (
        as_file(files("fairhearing.core.playing") / "beginnings.npz") as path,
        np.load(path) as stored,
    ):
        return tuple(stored[name].astype(np.float32) for name in ("w1", "b1", "w2", "b2"))


def find_beginnings(attacks: Attacks, track: PitchTrack) -> Beginnings:
    """Judge every frame of a take."""
    w1, b1, w2, b2 = _weights()
    values = measures(attacks, track)
    odds = np.empty((len(values), 2))
    for first in range(0, len(values), _BLOCK_FRAMES):
        last = min(first + _BLOCK_FRAMES, len(values))
        hidden = np.maximum(in_context(values, first, last) @ w1 + b1, 0)
        odds[first:last] = hidden @ w2 + b2
    return Beginnings(odds[:, 0], odds[:, 1])
