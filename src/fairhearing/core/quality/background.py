"""How loud the room is, and how far the playing stands above it.

The background is what is left in the pauses: the quietest twentieth of 50 ms stretches, without
those that are digitally silent (a gate, a muted microphone, a gap). Levels are mean squares in
dBFS (a full-scale sine reads −3.0), above 40 Hz, the louder channel counts.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy import signal

STEP_S = 0.01
STRETCH_S = 0.05
DIGITAL_SILENCE_DBFS = -96.0
_STEPS_A_STRETCH = 5
_QUIET_SHARE = 0.05
_PLAYING_ABOVE_DB = 10.0
_FEWEST_STRETCHES = 40  # two seconds


class LevelMeter:
    """Level of every 10 ms; keeps a hundred numbers a second."""

    def __init__(self, sample_rate_hz: int, channels: int):
        self._step = round(sample_rate_hz * STEP_S)
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

    def powers(self) -> NDArray[np.float64]:
        """Return the mean square of every 10 ms so far, shape (n,)."""
        return np.concatenate([*self._powers, np.zeros(0)])


def stretches_dbfs(powers: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the level of every 50 ms in dBFS from that of every 10 ms; −200 for silence."""
    whole = len(powers) // _STEPS_A_STRETCH
    means = powers[: whole * _STEPS_A_STRETCH].reshape(whole, _STEPS_A_STRETCH).mean(axis=1)
    return np.asarray(10 * np.log10(np.maximum(means, 1e-20)))


def background_dbfs(powers: NDArray[np.float64]) -> float | str:
    """Return the background's level in dBFS, or a sentence saying why there is none."""
    levels = stretches_dbfs(powers)
    if len(levels) < _FEWEST_STRETCHES:
        return "The recording is too short to tell the background from the playing."
    sounding = levels[levels > DIGITAL_SILENCE_DBFS]
    if len(sounding) < _FEWEST_STRETCHES:
        return "There is no sound in which a background could be heard."
    quiet = np.sort(sounding)[: max(int(_QUIET_SHARE * len(sounding)), 4)]
    return float(10 * np.log10(np.mean(10 ** (quiet / 10))))


def snr_db(powers: NDArray[np.float64]) -> float | str:
    """Return how far the playing stands above the background in dB, or the reason why not.

    Playing is everything at least 10 dB above the background.
    """
    background = background_dbfs(powers)
    if isinstance(background, str):
        return background
    levels = stretches_dbfs(powers)
    playing = levels[levels >= background + _PLAYING_ABOVE_DB]
    if len(playing) < _FEWEST_STRETCHES // 2:
        return "Nothing stands clearly above the background."
    return float(10 * np.log10(np.mean(10 ** (playing / 10))) - background)
