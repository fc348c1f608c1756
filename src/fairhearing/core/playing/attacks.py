"""Growth, decay and level of the sound at each frame.

Spectral flux is the growth of the compressed spectrum from one moment to the next (Böck & Widmer,
"Maximum filter vibrato suppression for onset detection", DAFx 2013): each band is compared with
the greatest of its neighbours a moment before, so that vibrato does not count.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.fft import rfft
from scipy.ndimage import maximum_filter1d

from fairhearing.core.playing.pitch import HOP, PitchTrack
from fairhearing.core.playing.types import RATE_HZ

_WINDOW = 512
_BLOCK_FRAMES = 4096
_LAG = 3
_BANDS = 60
_GROUPS = 6
_PARTIALS = 5
_FULL_SCALE = _WINDOW**2 / 8


@dataclass(frozen=True, slots=True, eq=False)
class Attacks:
    """Frame by frame (8 ms): what begins, what ends, how loud it is.

    Attributes
    ----------
    growth : ndarray of float32, shape (n, 6)
        Mean growth over 24 ms in six groups of bands, low to high, in dB.
    decay : ndarray of float32, shape (n, 3)
        Mean fall over 24 ms in the lower, middle and upper third of the bands, in dB.
    level_db, high_db : ndarray of float32, shape (n,)
        Level of the 32 ms around the frame, re full scale; of all bands and of the upper third.
    partials_db : ndarray of float32, shape (n,)
        Level of the first partials of the pitch heard in the frame, re full scale.
    """

    growth: NDArray[np.float32]
    decay: NDArray[np.float32]
    level_db: NDArray[np.float32]
    high_db: NDArray[np.float32]
    partials_db: NDArray[np.float32]


def measure_attacks(
    samples: NDArray[np.float32], track: PitchTrack, *, lowest_hz: float
) -> Attacks:
    """Measure growth, decay and level along a take.

    Parameters
    ----------
    samples : ndarray of float32, shape (n,)
        Mono, at :data:`~fairhearing.core.playing.types.RATE_HZ`.
    track : PitchTrack
    lowest_hz : float
        The lowest note of the instrument; what lies well below is not listened to.
    """
    frames = len(samples) // HOP + 1
    bank = _filters(lowest_hz)
    out = Attacks(
        np.zeros((frames, _GROUPS), dtype=np.float32),
        np.zeros((frames, 3), dtype=np.float32),
        *np.zeros((3, frames), dtype=np.float32),
    )
    hz = 440.0 * 2 ** ((track.midi - 69) / 12)
    for first in range(0, frames, _BLOCK_FRAMES):
        last = min(first + _BLOCK_FRAMES, frames)
        before = max(0, first - _LAG)
        power = _power(samples, before, last)
        _measure(power @ bank, first - before, out, slice(first, last))
        own = power[first - before :]
        out.partials_db[first:last] = _partials(own, hz[first:last])
    return out


def _power(samples: NDArray[np.float32], first: int, last: int) -> NDArray[np.float32]:
    """Return the power spectrum of some frames, shape (last − first, bins)."""
    half = _WINDOW // 2
    begin, end = first * HOP - half, (last - 1) * HOP + half
    part = samples[max(0, begin) : max(0, end)]
    part = np.pad(part, (max(0, -begin), max(0, end - len(samples))))
    view = np.lib.stride_tricks.sliding_window_view(part, _WINDOW)[::HOP]
    window = np.hanning(_WINDOW + 1)[:-1].astype(np.float32)
    spectrum = rfft(view * window, axis=1)
    return np.asarray(spectrum.real**2 + spectrum.imag**2, dtype=np.float32)


def _measure(bands: NDArray[np.float32], skip: int, out: Attacks, place: slice) -> None:
    """Fill in a block; its first ``skip`` frames are only context."""
    count, width = bands.shape
    logs = 10 * np.log10(bands + 1e-5)
    lag = min(_LAG, count)
    spread = maximum_filter1d(logs, 3, axis=1)
    grown = np.zeros_like(logs)
    fallen = np.zeros_like(logs)
    grown[lag:] = np.maximum(logs[lag:] - spread[:-lag], 0)
    fallen[lag:] = np.maximum(logs[:-lag] - logs[lag:], 0)
    for group, part in enumerate(np.array_split(grown[skip:], _GROUPS, axis=1)):
        out.growth[place, group] = part.mean(axis=1)
    for group, part in enumerate(np.array_split(fallen[skip:], 3, axis=1)):
        out.decay[place, group] = part.mean(axis=1)
    total = bands[skip:].sum(axis=1)
    top = bands[skip:, 2 * width // 3 :].sum(axis=1)
    out.level_db[place] = 10 * np.log10(total / _FULL_SCALE + 1e-10)
    out.high_db[place] = 10 * np.log10(top / _FULL_SCALE + 1e-10)


def _partials(power: NDArray[np.float32], hz: NDArray[np.float64]) -> NDArray[np.float32]:
    rows = np.arange(len(power))
    total = np.zeros(len(power), dtype=np.float32)
    for partial in range(1, _PARTIALS + 1):
        index = np.round(hz * partial * _WINDOW / RATE_HZ).astype(np.int64)
        inside = index < power.shape[1]
        total += np.where(inside, power[rows, np.minimum(index, power.shape[1] - 1)], 0)
    return np.asarray(10 * np.log10(total / _FULL_SCALE + 1e-10))


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
