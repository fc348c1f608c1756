"""In which octave a pitch lies: the tracker's answer held against the spectrum.

A pitch tracker now and then takes a tone whose second partial is strong for the octave below or
above. At the true fundamental the multiples carry sound and the places half-way between them do
not; the candidate with the greatest such contrast wins, the tracker's own with some advance.

Bars (mallet instruments) have few, inharmonic partials: about 2.76 times the fundamental for an
untuned bar (glockenspiel), 3 for a xylophone, 4 for a marimba or vibraphone (Fletcher & Rossing,
*The Physics of Musical Instruments*, chapter 19). There the lowest candidate that is itself strong
counts.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.fft import rfft
from scipy.ndimage import median_filter

from fairhearing.core.playing.pitch import HOP, PitchTrack
from fairhearing.core.playing.types import RATE_HZ, Kind

_WINDOW = 1024
_LONG_WINDOW = 2048
_BLOCK_FRAMES = 2048
_PARTIALS = 3
_DEEPEST_DB = 25.0
_ADVANCE_DB = 5.0
_RATIOS = (1.0, 2.0, 0.5)
_BAR_RATIOS = (1.0, 1 / 2.76, 1 / 3.0, 1 / 4.0, 0.5)
_BAR_STRONG_DB = 12.0
_SMOOTH_FRAMES = 7


def settle_octaves(
    samples: NDArray[np.float32],
    track: PitchTrack,
    *,
    kind: Kind,
    lowest_midi: float,
    highest_midi: float,
) -> PitchTrack:
    """Return the track with every frame in the octave that the spectrum speaks for.

    Parameters
    ----------
    samples : ndarray of float32, shape (n,)
        Mono, at :data:`~fairhearing.core.playing.types.RATE_HZ`.
    track : PitchTrack
    kind : str
        "mallet" for bars; anything else has harmonic partials.
    lowest_midi, highest_midi : float
        Candidates beyond these limits are not considered.
    """
    window = _LONG_WINDOW if lowest_midi < 45 else _WINDOW
    ratios = np.array(_BAR_RATIOS if kind == "mallet" else _RATIOS)
    choice = np.zeros(len(track.midi), dtype=np.int64)
    for first in range(0, len(choice), _BLOCK_FRAMES):
        last = min(first + _BLOCK_FRAMES, len(choice))
        spectrum = _spectrum_db(samples, first, last, window)
        hz = 440.0 * 2 ** ((track.midi[first:last] - 69) / 12)
        candidates = hz[:, None] * ratios
        value = (_bar if kind == "mallet" else _contrast)(spectrum, candidates, window)
        moved = track.midi[first:last, None] + 12 * np.log2(ratios)
        value[(moved < lowest_midi - 1) | (moved > highest_midi + 1)] = -np.inf
        choice[first:last] = np.argmax(value, axis=1)
    choice[track.confidence < 0.3] = 0
    shift = 12 * np.log2(ratios)[choice]
    if kind != "mallet":
        # One doubtful frame in a note is the tracker's to keep.
        shift = median_filter(shift, _SMOOTH_FRAMES)
    return PitchTrack(track.midi + shift, track.confidence, track.octave_shift)


def _spectrum_db(
    samples: NDArray[np.float32], first: int, last: int, window: int
) -> NDArray[np.float32]:
    """Return magnitudes in dB over 25 dB below the greatest, 0…25, shape (frames, bins)."""
    half = window // 2
    begin, end = first * HOP - half, (last - 1) * HOP + half
    part = samples[max(0, begin) : max(0, end)]
    part = np.pad(part, (max(0, -begin), max(0, end - len(samples))))
    view = np.lib.stride_tricks.sliding_window_view(part, window)[::HOP]
    shape = np.hanning(window + 1)[:-1].astype(np.float32)
    magnitude = np.abs(rfft(view * shape, axis=1))
    # A partial may lie between two bins.
    magnitude[:, 1:-1] = np.maximum(
        magnitude[:, 1:-1], np.maximum(magnitude[:, :-2], magnitude[:, 2:]) * 0.7
    )
    greatest = magnitude.max(axis=1, keepdims=True) + 1e-9
    level = 20 * np.log10(magnitude / greatest + 1e-9)
    return np.asarray(np.maximum(level + _DEEPEST_DB, 0), dtype=np.float32)


def _at(spectrum: NDArray[np.float32], hz: NDArray[np.float64], window: int) -> NDArray[np.float32]:
    """Return the levels at frequencies, shape (frames, candidates); NaN beyond the spectrum."""
    index = np.round(hz * window / RATE_HZ).astype(np.int64)
    inside = index < spectrum.shape[1]
    rows = np.arange(len(spectrum))[:, None]
    found = spectrum[rows, np.minimum(index, spectrum.shape[1] - 1)]
    return np.where(inside, found, np.nan).astype(np.float32)


def _contrast(
    spectrum: NDArray[np.float32], hz: NDArray[np.float64], window: int
) -> NDArray[np.float64]:
    on = np.zeros(hz.shape)
    off = np.zeros(hz.shape)
    total = np.zeros(hz.shape)
    for partial in range(1, _PARTIALS + 1):
        weight = 0.85**partial
        here = _at(spectrum, hz * partial, window)
        between = _at(spectrum, hz * (partial - 0.5), window)
        valid = np.isfinite(here)
        on += np.where(valid, weight * here, 0)
        off += np.where(valid & np.isfinite(between), weight * between, 0)
        total += np.where(valid, weight, 0)
    value = (on - off) / np.maximum(total, 1e-9)
    value[total == 0] = -np.inf
    value[:, 0] += _ADVANCE_DB
    return value


def _bar(
    spectrum: NDArray[np.float32], hz: NDArray[np.float64], window: int
) -> NDArray[np.float64]:
    level = np.nan_to_num(_at(spectrum, hz, window).astype(np.float64))
    strong = level >= level[:, :1] - _BAR_STRONG_DB
    # Among the strong ones the greatest level; the tracker's own with some advance.
    value = np.where(strong, level, -np.inf)
    value[:, 0] += _ADVANCE_DB
    return np.asarray(value)
