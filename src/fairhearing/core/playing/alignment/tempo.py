"""The player's own tempo, and each note's place against it.

Between two breaks (restart, skip, turn) time is a smooth function of the beat. It is fitted by
local straight lines over about two bars, weighted by distance and robust against single late
notes (locally weighted regression, Cleveland 1979, J. Am. Stat. Assoc. 74:829–836). The slope
is the tempo, the residual the rhythm deviation.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

WINDOW_BEATS = 4.0
"""Half the width of the window around a note, in quarter notes."""
LEAST_NOTES = 4
"""A straight line through fewer notes says nothing about them."""


@dataclass(frozen=True, slots=True)
class Pulse:
    """Tempo and deviation of each note of a stretch, shape (k,); NaN where not measurable."""

    beat_s: Floats
    deviation_s: Floats


def fit_pulse(beat: Floats, onset_s: Floats) -> Pulse:
    """Fit the pulse of one unbroken stretch.

    Parameters
    ----------
    beat, onset_s : ndarray, shape (k,)
        Written beat and heard onset of each note, both rising.

    Returns
    -------
    Pulse
        Seconds for a quarter note and onset deviation in seconds (positive is late).
    """
    k = len(beat)
    beat_s = np.full(k, np.nan)
    deviation = np.full(k, np.nan)
    if k < LEAST_NOTES or beat[-1] - beat[0] < 1.0:
        return Pulse(beat_s, deviation)
    for at in range(k):
        near = _window(beat, at)
        x, y = beat[near] - beat[at], onset_s[near]
        weight = (1 - np.minimum(1.0, np.abs(x) / (np.abs(x).max() * 1.02 + 1e-9)) ** 3) ** 3
        here = near == at
        others = ~here
        if others.sum() < LEAST_NOTES - 1 or np.ptp(x[others]) < 0.5:
            continue
        slope, level = _robust_line(x[others], y[others], weight[others])
        if slope <= 0:
            continue
        beat_s[at] = slope
        deviation[at] = onset_s[at] - level
    return Pulse(beat_s, deviation)


def _window(beat: Floats, at: int) -> NDArray[np.int64]:
    """Give the notes around one note: those within the window, at least seven of them."""
    near = np.flatnonzero(np.abs(beat - beat[at]) <= WINDOW_BEATS)
    if len(near) < 7:
        low = max(0, min(at - 3, len(beat) - 7))
        near = np.arange(low, min(len(beat), low + 7))
    return near


def _robust_line(x: Floats, y: Floats, weight: Floats) -> tuple[float, float]:
    """Weighted straight line with two bisquare passes; gives slope and height at x = 0."""
    w = weight.copy()
    slope = level = 0.0
    for _ in range(3):
        total = w.sum()
        if total <= 0:
            break
        mean_x, mean_y = (w * x).sum() / total, (w * y).sum() / total
        spread = (w * (x - mean_x) ** 2).sum()
        if spread <= 1e-12:
            break
        slope = float((w * (x - mean_x) * (y - mean_y)).sum() / spread)
        level = float(mean_y - slope * mean_x)
        rest = np.abs(y - level - slope * x)
        scale = 6 * max(float(np.quantile(rest, 0.5)), 0.004)
        w = weight * (1 - np.minimum(1.0, rest / scale) ** 2) ** 2
    return slope, level


def steadiness(bar_tempi_bpm: Floats) -> float | None:
    """1 minus the relative spread of the bars' tempi (standard deviation over mean), at least 0.

    None for fewer than three bars: two tempi are no curve.
    """
    if len(bar_tempi_bpm) < 3:
        return None
    spread = float(np.std(bar_tempi_bpm)) / float(np.mean(bar_tempi_bpm))
    return max(0.0, 1.0 - spread)
