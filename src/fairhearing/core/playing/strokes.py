"""Drums: where the strokes fall, which of them are a roll, and how steady the tempo is.

Strokes are peaks of the growth of the compressed spectrum on a grid of 4 ms. A roll is a run of
strokes faster than 10.5 a second, or a stretch in which the sound does not die away between
strokes too close to be told apart. The tempo is the period at which the strokes agree best with
themselves (autocorrelation), preferring 100 beats a minute among its multiples; common practice,
no source.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from scipy.fft import rfft
from scipy.ndimage import gaussian_filter1d, maximum_filter1d, median_filter, uniform_filter1d

from fairhearing.core.playing.types import RATE_HZ, Drumming, Roll, Stroke

_HOP = 64
_HOP_S = _HOP / RATE_HZ
_WINDOW = 256
_BANDS = 18
_BLOCK_FRAMES = 8192
_LAG = 3
_PEAK_WITHIN_S = 0.022
_LEAST_GROWTH_DB = 3.0
_OVER_MEDIAN = 1.6
_LEAST_OVER_FLOOR_DB = 9.0
_SOFTEST_DB = -42.0
_ROLL_GAP_S = 0.095
_ROLL_STROKES = 5
_BUZZ_S = 0.3
_BUZZ_FALL_DB = 9.0
_LONGEST_BUZZ_S = 30.0
_SLOWEST_BPM, _FASTEST_BPM = 40.0, 208.0
_LEAST_STROKES = 8


def hear_drumming(
    samples: NDArray[np.float32], speech: Sequence[tuple[float, float]] = ()
) -> Drumming:
    """Find strokes, rolls and tempo.

    Parameters
    ----------
    samples : ndarray of float32, shape (n,)
        Mono, at :data:`~fairhearing.core.playing.types.RATE_HZ`.
    speech : sequence of (float, float)
        Stretches in seconds in which nothing is a stroke.
    """
    growth, level = _growth(samples)
    frames = _stroke_frames(growth, level)
    times = frames.astype(np.float64) * _HOP_S
    silent = np.zeros(len(times), dtype=np.bool_)
    for start_s, end_s in speech:
        silent |= (times >= start_s) & (times < end_s)
    frames, times = frames[~silent], times[~silent]
    if not len(frames):
        return Drumming((), (), None, None, "no strokes were heard")
    strength = maximum_filter1d(level, 2 * 8 + 1, origin=-8)[frames]
    rolls = _rolls(times, level)
    alone = np.array([not any(r.start_s <= t <= r.end_s for r in rolls) for t in times])
    loudest = float(strength.max())
    over = np.clip((growth[frames] - _LEAST_GROWTH_DB) / 9, 0, 1)
    strokes = tuple(
        Stroke(float(t), float(s) - loudest, round(0.5 + 0.5 * float(c), 2))
        for t, s, c in zip(times[alone], strength[alone], over[alone], strict=True)
    )
    # A roll begins on a beat as well; its inner strokes say nothing about the tempo.
    beats = np.sort(np.concatenate([times[alone], [roll.start_s for roll in rolls]]))
    tempo, steadiness, reason = measure_tempo(beats)
    return Drumming(strokes, rolls, tempo, steadiness, reason)


def _growth(samples: NDArray[np.float32]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return the mean growth of the bands over 12 ms and the level, in dB, every 4 ms."""
    frames = len(samples) // _HOP + 1
    bank = _filters()
    logs = np.empty((frames, bank.shape[1]), dtype=np.float32)
    level = np.empty(frames)
    window = np.hanning(_WINDOW + 1)[:-1].astype(np.float32)
    half = _WINDOW // 2
    for first in range(0, frames, _BLOCK_FRAMES):
        last = min(first + _BLOCK_FRAMES, frames)
        begin, end = first * _HOP - half, (last - 1) * _HOP + half
        part = samples[max(0, begin) : max(0, end)]
        part = np.pad(part, (max(0, -begin), max(0, end - len(samples))))
        view = np.lib.stride_tricks.sliding_window_view(part, _WINDOW)[::_HOP]
        bands = (np.abs(rfft(view * window, axis=1)) ** 2) @ bank
        level[first:last] = 10 * np.log10(bands.sum(axis=1) / (_WINDOW**2 / 8) + 1e-9)
        logs[first:last] = 10 * np.log10(bands + 1e-4)
    growth = np.zeros(frames)
    lag = min(_LAG, frames)
    growth[lag:] = np.maximum(logs[lag:] - logs[:-lag], 0).mean(axis=1)
    return growth, level


def _filters() -> NDArray[np.float32]:
    bins = _WINDOW // 2 + 1
    edges = np.unique(np.round(np.geomspace(2, bins - 1, _BANDS + 1)).astype(int))
    bank = np.zeros((bins, len(edges) - 1), dtype=np.float32)
    for band, (low, high) in enumerate(pairwise(edges)):
        bank[low:high, band] = 1.0
    return bank


def _stroke_frames(growth: NDArray[np.float64], level: NDArray[np.float64]) -> NDArray[np.int64]:
    near = round(_PEAK_WITHIN_S / _HOP_S)
    usual = median_filter(growth, 2 * round(0.25 / _HOP_S) + 1)
    later = maximum_filter1d(level, 2 * 6 + 1, origin=-6)
    floor = np.percentile(level, 10)
    peak = (
        (growth == maximum_filter1d(growth, 2 * near + 1))
        & (growth >= _LEAST_GROWTH_DB + _OVER_MEDIAN * usual)
        & (later >= floor + _LEAST_OVER_FLOOR_DB)
        & (later >= level.max() + _SOFTEST_DB)
    )
    found = np.flatnonzero(peak)
    # The growth peaks when the window is well inside the stroke: 8 ms after it began.
    return np.maximum(found - 2, 0)


def _rolls(times: NDArray[np.float64], level: NDArray[np.float64]) -> tuple[Roll, ...]:
    rolls = []
    edges = np.flatnonzero(np.diff(times) > _ROLL_GAP_S) + 1
    for group in np.split(times, edges):
        if len(group) >= _ROLL_STROKES:
            rate = (len(group) - 1) / float(group[-1] - group[0])
            rolls.append(Roll(float(group[0]), float(group[-1]), rate))
    return tuple(sorted(rolls + _buzzes(times, level, rolls), key=lambda roll: roll.start_s))


def _buzzes(
    times: NDArray[np.float64], level: NDArray[np.float64], rolls: Sequence[Roll]
) -> list[Roll]:
    """Return stretches that begin with a stroke and do not die away as one stroke does."""
    smooth = uniform_filter1d(level, 5)
    found: list[Roll] = []
    for start_s in times:
        if any(roll.start_s <= start_s <= roll.end_s for roll in [*rolls, *found]):
            continue
        first = round(start_s / _HOP_S) + 3
        after = smooth[first : first + round(_LONGEST_BUZZ_S / _HOP_S)]
        fallen = np.flatnonzero(after < np.maximum.accumulate(after) - _BUZZ_FALL_DB)
        length = int(fallen[0]) if len(fallen) else len(after)
        if length * _HOP_S >= _BUZZ_S:
            found.append(Roll(float(start_s), float(start_s + length * _HOP_S), None))
    return found


def measure_tempo(
    times_s: NDArray[np.float64],
) -> tuple[float | None, float | None, str | None]:
    """Return tempo, steadiness and, where there is none, the reason.

    Parameters
    ----------
    times_s : ndarray of float64, shape (n,)
        Onsets in seconds, in order.

    Returns
    -------
    tempo_bpm : float or None
        Beats a minute; a beat may be a division or a multiple of the written one.
    steadiness : float or None
        1 minus the relative spread of the tempo measured in stretches of 8 s; 1 is perfectly
        steady. None when the take is too short for two such stretches.
    reason : str or None
    """
    if len(times_s) < _LEAST_STROKES:
        return None, None, f"only {len(times_s)} strokes; a tempo needs {_LEAST_STROKES}"
    period = _period(times_s, 60 / _FASTEST_BPM, 60 / _SLOWEST_BPM)
    if period is None:
        return None, None, "the strokes do not repeat evenly enough to say a tempo"
    local = []
    for start in np.arange(times_s[0], times_s[-1] - 4.0, 4.0):
        part = times_s[(times_s >= start) & (times_s < start + 8.0)]
        own = _period(part, period * 0.85, period * 1.18) if len(part) >= _LEAST_STROKES else None
        if own is not None:
            local.append(own)
    steadiness = None
    if len(local) >= 2:
        steadiness = max(0.0, 1.0 - float(np.std(local) / np.mean(local)))
    return 60 / period, steadiness, None


def _period(times: NDArray[np.float64], shortest: float, longest: float) -> float | None:
    step = 0.004
    train = np.zeros(int((times[-1] - times[0]) / step) + 2)
    train[np.round((times - times[0]) / step).astype(int)] = 1.0
    train = gaussian_filter1d(train, 3.0)
    spectrum = rfft(train, 2 * len(train))
    agreement = np.fft.irfft(np.abs(spectrum) ** 2)[: len(train)]
    lags = np.arange(len(train)) * step
    inside = (lags >= shortest) & (lags <= longest)
    if not inside.any() or agreement[0] <= 0:
        return None
    # Half and double periods agree too: prefer those near 100 beats a minute.
    lean = np.exp(-0.5 * (np.log2(np.maximum(lags, step) / 0.6) / 0.9) ** 2)
    value = np.where(inside, agreement * lean, 0)
    best = int(np.argmax(value))
    if agreement[best] < 0.25 * agreement[0] or not 0 < best < len(train) - 1:
        return None
    left, mid, right = agreement[best - 1 : best + 2]
    bend = left - 2 * mid + right
    return float((best + (0.5 * (left - right) / bend if bend < 0 else 0.0)) * step)
