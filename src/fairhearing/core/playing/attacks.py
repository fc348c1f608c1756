"""How strongly something begins at each frame: spectral flux and the rise of the level.

Spectral flux is the growth of the compressed spectrum from one moment to the next (Böck & Widmer,
"Maximum filter vibrato suppression for onset detection", DAFx 2013): each band is compared with
the greatest of its neighbours a moment before, so that vibrato does not count.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import maximum_filter1d, minimum_filter1d

from fairhearing.core.playing.pitch import HOP
from fairhearing.core.playing.types import RATE_HZ

_WINDOW = 512
_BLOCK_FRAMES = 4096
_LAG = 3
_BANDS = 60


@dataclass(frozen=True, slots=True, eq=False)
class Attacks:
    """Frame by frame (8 ms): what begins, and how loud it is.

    Attributes
    ----------
    flux : ndarray of float64, shape (n,)
        Mean growth of the bands, in dB.
    level_db : ndarray of float64, shape (n,)
        Level of the 32 ms around the frame, re full scale, above 80 Hz hum as far as possible.
    rise_db : ndarray of float64, shape (n,)
        Level a moment later minus the lowest level shortly before.
    """

    flux: NDArray[np.float64]
    level_db: NDArray[np.float64]
    rise_db: NDArray[np.float64]


def measure_attacks(samples: NDArray[np.float32], *, lowest_hz: float) -> Attacks:
    """Measure flux and level along a take.

    Parameters
    ----------
    samples : ndarray of float32, shape (n,)
        Mono, at :data:`~fairhearing.core.playing.types.RATE_HZ`.
    lowest_hz : float
        The lowest note of the instrument; what lies an octave below is not listened to.
    """
    frames = len(samples) // HOP + 1
    bank = _filters(lowest_hz)
    logs = np.empty((frames, bank.shape[1]), dtype=np.float32)
    level = np.empty(frames)
    window = np.hanning(_WINDOW + 1)[:-1].astype(np.float32)
    half = _WINDOW // 2
    for first in range(0, frames, _BLOCK_FRAMES):
        last = min(first + _BLOCK_FRAMES, frames)
        begin, end = first * HOP - half, (last - 1) * HOP + half
        part = samples[max(0, begin) : max(0, end)]
        part = np.pad(part, (max(0, -begin), max(0, end - len(samples))))
        view = np.lib.stride_tricks.sliding_window_view(part, _WINDOW)[::HOP]
        power = np.abs(np.fft.rfft(view * window, axis=1)).astype(np.float32) ** 2
        bands = power @ bank
        level[first:last] = 10 * np.log10(bands.sum(axis=1) / (_WINDOW**2 / 8) + 1e-10)
        logs[first:last] = 10 * np.log10(bands + 1e-5)
    flux = np.zeros(frames)
    spread = maximum_filter1d(logs, 3, axis=1)
    flux[_LAG:] = np.maximum(logs[_LAG:] - spread[:-_LAG], 0).mean(axis=1)
    return Attacks(flux, level, _rise(level))


def _rise(level_db: NDArray[np.float64]) -> NDArray[np.float64]:
    later = np.concatenate([level_db[3:], np.repeat(level_db[-1:], min(3, len(level_db)))])
    later = maximum_filter1d(later[: len(level_db)], 3)
    before = minimum_filter1d(level_db, 7, origin=3)
    return np.asarray(later - before)


def _filters(lowest_hz: float) -> NDArray[np.float32]:
    """Return triangular filters, shape (bins, bands), evenly spaced on a log axis."""
    bins = np.fft.rfftfreq(_WINDOW, 1 / RATE_HZ)
    edges = np.geomspace(max(60.0, lowest_hz * 0.8), 7600.0, _BANDS + 2)
    # Near the bottom several edges fall on one bin of the transform; keep each bin once.
    index = np.unique(np.round(edges / bins[1]).astype(int))
    bank = np.zeros((len(bins), len(index) - 2), dtype=np.float32)
    for band in range(len(index) - 2):
        low, mid, high = index[band : band + 3]
        bank[low : mid + 1, band] = np.linspace(0, 1, mid - low + 1)
        bank[mid : high + 1, band] = np.linspace(1, 0, high - mid + 1)
    return bank
