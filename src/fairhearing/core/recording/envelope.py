"""The outline of a take for the eye: the loudest sample in each small stretch of time.

Bounded state whatever the length: when the list is full, neighbours are merged and each entry
stands for twice the time.
"""

from __future__ import annotations

from fractions import Fraction

import numpy as np

from fairhearing.core.recording.types import Picture, Probe, SoundBlock

FULL = 4096


class Envelope:
    """Observer that keeps the peaks of the sound track.

    Attributes
    ----------
    step_s : Fraction
        Time that one entry stands for, in seconds; starts at 1/50.
    """

    def __init__(self) -> None:
        self.step_s = Fraction(1, 50)
        self._peaks = np.zeros(FULL, dtype=np.float32)
        self._used = 0
        self._rate_hz = 0

    def begin(self, probe: Probe) -> None:
        """Note the sample rate; without sound the outline stays empty."""
        self._rate_hz = probe.audio.sample_rate_hz if probe.audio else 0

    def sound(self, block: SoundBlock) -> None:
        """Fold a block into the entries that its samples fall into."""
        loudest = np.abs(block.samples).max(axis=1)
        times = float(block.start) + np.arange(len(loudest)) / self._rate_hz
        while len(times) and times[-1] / float(self.step_s) >= FULL:
            self._merge()
        entries = np.maximum(times / float(self.step_s), 0).astype(np.intp)
        np.maximum.at(self._peaks, entries, loudest)
        self._used = max(self._used, int(entries[-1]) + 1) if len(entries) else self._used

    def picture(self, picture: Picture) -> None:
        """Pictures have no outline."""

    def finish(self) -> None:
        """Nothing is left to compute."""

    def peaks(self, bins: int) -> list[float]:
        """Return at most `bins` peaks (0…1, three decimals) over the whole sound track."""
        if not self._used:
            return []
        edges = np.linspace(0, self._used, min(bins, self._used) + 1).astype(np.intp)[:-1]
        found = np.maximum.reduceat(self._peaks[: self._used], edges)
        return [round(float(peak), 3) for peak in found]

    def _merge(self) -> None:
        pairs = self._peaks.reshape(-1, 2).max(axis=1)
        self._peaks[:] = 0.0
        self._peaks[: FULL // 2] = pairs
        self._used = (self._used + 1) // 2
        self.step_s *= 2
