"""How long the recording was clipped, seen after a lossy codec.

A clipped wave has flat tops. AAC and Opus bend them, so equal neighbouring samples are rare in
what a phone hands over, and the tops may sit a little under or over full scale. What remains is
a pile-up: many runs of three samples near one level, fewer below it, almost none above.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

_BINS_A_UNIT = 200
_BINS = 400  # levels up to twice full scale
_LOWEST_LEVEL = 0.2
_NEAR_FULL_SCALE = 0.85
# Runs per unit of level near the top, against just below it. Measured on synthetic melodies
# through AAC and Opus: at most 0.6 unclipped (pure tones held within 3 dB: 0.9), 0.9 and more
# from 4 dB of overdrive. Lower down, where a held tone piles up too, more is asked for.
_PILE_UP = 0.95
_PILE_UP_TURNED_DOWN = 3.0
_FLOOR_S = 0.002


class ClippingMeter:
    """Milliseconds spent on flat tops, any channel; keeps one histogram."""

    def __init__(self, sample_rate_hz: int, channels: int):
        self._rate = sample_rate_hz
        self._tail = np.zeros((4, channels), dtype=np.float32)
        self._levels = np.zeros(_BINS + 1)

    def add(self, samples: NDArray[np.float32]) -> None:
        """Take the next samples, shape (n, channels)."""
        size = np.abs(np.concatenate([self._tail, samples]))
        self._tail = size[-4:]
        if float(size.max(initial=0.0)) < _LOWEST_LEVEL or len(size) < 5:
            return
        loudest = size.max(axis=1)
        # Level at which a sample belongs to a run of three: the highest of the three lowest.
        runs = np.minimum(np.minimum(loudest[:-2], loudest[1:-1]), loudest[2:])
        level = np.maximum(np.maximum(runs[:-2], runs[1:-1]), runs[2:])
        level = level[level >= _LOWEST_LEVEL]
        bins = np.minimum((level * _BINS_A_UNIT).astype(np.intp), _BINS)
        self._levels += np.bincount(bins, minlength=_BINS + 1)

    def clipped_ms(self) -> float:
        """Return the time on flat tops in milliseconds; 0 when no top is flat."""
        below = np.concatenate([[0.0], np.cumsum(self._levels)])
        total = float(below[-1])

        def between(low: float, high: float) -> float:
            ends = [min(int(level * _BINS_A_UNIT), _BINS + 1) for level in (low, high)]
            return float(below[ends[1]] - below[ends[0]])

        best_ratio, best_level = 0.0, 0.0
        for level in np.arange(_LOWEST_LEVEL / 0.75, 1.5, 1 / _BINS_A_UNIT):
            top = between(0.95 * level, 1.05 * level)
            above = between(1.10 * level, 3.0)
            under = between(0.75 * level, 0.90 * level)
            ratio = (top / 0.10) / (under / 0.15 + _FLOOR_S / level * self._rate * 5)
            if above < 0.05 * top and ratio > best_ratio:
                best_ratio, best_level = ratio, float(level)
        asked = _PILE_UP if best_level >= _NEAR_FULL_SCALE else _PILE_UP_TURNED_DOWN
        if best_ratio >= asked:
            samples = between(0.95 * best_level, 3.0)
        else:  # beyond full scale only what a codec made of a wave that stood at it
            samples = total - between(0.0, 1.0)
        return 1000.0 * samples / self._rate
