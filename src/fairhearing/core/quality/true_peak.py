"""True peak by oversampling (ITU-R BS.1770-4 annex 2), as a stream.

Most of a long take cannot hold the peak: a stretch whose largest sample is p never exceeds
p × (largest sum of the interpolator's absolute coefficients) between its samples. Only
stretches that could beat the peak so far are oversampled, so the answer is that of
oversampling everything.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

_HALF_WIDTH = 12  # input samples on either side of an interpolated point
_STRETCH = 480


def _interpolator(factor: int) -> NDArray[np.float64]:
    """Return the phases between the samples, shape (factor − 1, 2 × half width)."""
    position = np.arange(-_HALF_WIDTH + 1, _HALF_WIDTH + 1)
    phases = []
    for part in range(1, factor):
        offset = position - part / factor
        window = np.i0(7.0 * np.sqrt(np.clip(1 - (offset / _HALF_WIDTH) ** 2, 0, 1))) / np.i0(7.0)
        taps = np.sinc(offset) * window
        phases.append(taps / taps.sum())
    return np.array(phases).reshape(factor - 1, 2 * _HALF_WIDTH)


class TruePeakMeter:
    """Largest absolute value of the oversampled signal, any channel.

    Parameters
    ----------
    sample_rate_hz : int
        Below 80 kHz the signal is oversampled 4 ×, below 160 kHz 2 ×, above not at all.
    channels : int
    """

    def __init__(self, sample_rate_hz: int, channels: int):
        factor = 4 if sample_rate_hz < 80_000 else 2 if sample_rate_hz < 160_000 else 1
        self._phases = _interpolator(factor)
        self._bound = max((float(np.abs(p).sum()) for p in self._phases), default=1.0)
        self._tail = np.zeros((2 * _HALF_WIDTH, channels), dtype=np.float32)
        self._peak = 0.0

    def add(self, samples: NDArray[np.float32]) -> None:
        """Take the next samples, shape (n, channels)."""
        joined = np.concatenate([self._tail, samples])
        self._tail = joined[-2 * _HALF_WIDTH :]
        for channel in joined.T:
            self._search(np.ascontiguousarray(channel))

    def _search(self, channel: NDArray[np.float32]) -> None:
        size = np.abs(channel)
        self._peak = max(self._peak, float(size.max(initial=0.0)))
        if not len(self._phases):
            return
        starts = np.arange(0, len(size), _STRETCH)
        tops = np.maximum.reduceat(size, starts)
        # A stretch needs its neighbours' edges too: take the largest of the three.
        near = np.maximum(tops, np.maximum(np.r_[tops[1:], 0], np.r_[0, tops[:-1]]))
        for place in np.argsort(-near):  # loudest first, so that the rest is soon ruled out
            if near[place] * self._bound <= self._peak:
                break
            first = max(int(starts[place]) - 2 * _HALF_WIDTH, 0)
            stretch = channel[first : int(starts[place]) + _STRETCH + 2 * _HALF_WIDTH]
            if len(stretch) < 2 * _HALF_WIDTH:
                continue
            windows = np.lib.stride_tricks.sliding_window_view(stretch, 2 * _HALF_WIDTH)
            self._peak = max(self._peak, float(np.abs(windows @ self._phases.T).max(initial=0.0)))

    def peak_dbtp(self) -> float | None:
        """Return the true peak in dBTP so far; None when every sample was zero."""
        ending = np.concatenate([self._tail, np.zeros_like(self._tail)])
        for channel in ending.T:
            self._search(np.ascontiguousarray(channel))
        return float(20 * np.log10(self._peak)) if self._peak > 0 else None


def true_peak(samples: NDArray[np.float32], sample_rate_hz: int) -> float | None:
    """Return the true peak in dBTP of samples of shape (n, channels); None for silence."""
    meter = TruePeakMeter(sample_rate_hz, samples.shape[1])
    meter.add(samples)
    return meter.peak_dbtp()
