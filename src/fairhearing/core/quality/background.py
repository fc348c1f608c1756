"""How loud the room is, and how far the playing stands above it.

The background is what is left in the pauses: the quietest twentieth of 50 ms stretches, without
those that are digitally silent (a gate, a muted microphone, a gap). Levels are mean squares in
dBFS (a full-scale sine reads −3.0), above 40 Hz, the louder channel counts.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy import signal

STRETCH_S = 0.05
DIGITAL_SILENCE_DBFS = -96.0
_QUIET_SHARE = 0.05
_PLAYING_ABOVE_DB = 10.0
_FEWEST_STRETCHES = 40  # two seconds


class BackgroundMeter:
    """Level of every 50 ms; keeps twenty numbers a second."""

    def __init__(self, sample_rate_hz: int, channels: int):
        self._step = round(sample_rate_hz * STRETCH_S)
        self._high_pass = signal.butter(2, 40.0, "highpass", fs=sample_rate_hz, output="sos")
        self._state = np.zeros((1, channels, 2))
        self._rest = np.zeros((channels, 0))
        self._powers: list[NDArray[np.float64]] = []

    def add(self, samples: NDArray[np.float32]) -> None:
        """Take the next samples, shape (n, channels)."""
        heard, self._state = signal.sosfilt(self._high_pass, samples.T, axis=-1, zi=self._state)
        joined = np.concatenate([self._rest, heard], axis=1)
        whole = joined.shape[1] // self._step
        cut = whole * self._step
        body = joined[:, :cut].reshape(joined.shape[0], whole, self._step)
        self._powers.append(np.mean(body * body, axis=2).max(axis=0))
        self._rest = joined[:, cut:]

    def levels_dbfs(self) -> NDArray[np.float64]:
        """Return the level of every 50 ms so far in dBFS, shape (n,); −200 for silence."""
        powers = np.concatenate([*self._powers, np.zeros(0)])
        return np.asarray(10 * np.log10(np.maximum(powers, 1e-20)))

    def background_dbfs(self) -> float | str:
        """Return the background's level in dBFS, or a sentence saying why there is none."""
        levels = self.levels_dbfs()
        if len(levels) < _FEWEST_STRETCHES:
            return "The recording is too short to tell the background from the playing."
        sounding = levels[levels > DIGITAL_SILENCE_DBFS]
        if len(sounding) < _FEWEST_STRETCHES:
            return "There is no sound in which a background could be heard."
        quiet = np.sort(sounding)[: max(int(_QUIET_SHARE * len(sounding)), 4)]
        return float(10 * np.log10(np.mean(10 ** (quiet / 10))))

    def snr_db(self) -> float | str:
        """Return how far the playing stands above the background in dB, or the reason why not.

        Playing is everything at least 10 dB above the background.
        """
        background = self.background_dbfs()
        if isinstance(background, str):
            return background
        levels = self.levels_dbfs()
        playing = levels[levels >= background + _PLAYING_ABOVE_DB]
        if len(playing) < _FEWEST_STRETCHES // 2:
            return "Nothing stands clearly above the background."
        return float(10 * np.log10(np.mean(10 ** (playing / 10))) - background)
