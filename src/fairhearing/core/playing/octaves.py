"""In which octave a pitch lies: the tracker's answer held against the spectrum.

A pitch tracker now and then takes a tone whose second partial is strong for the octave below or
above. At the true fundamental the multiples carry sound and the places half-way between them do
not; the candidate with the greatest such contrast wins, the tracker's own with some advance.

Bars and timpani have few, inharmonic partials: about 2.76 times the fundamental for an
untuned bar (glockenspiel), 3 for a xylophone, 4 for a marimba or vibraphone, and more above
(Fletcher & Rossing, *The Physics of Musical Instruments*, chapter 19). Their fundamental is the
strongest partial within the instrument's range, so there the tracker is believed only where it is
about as strong as the strongest. A kettledrum's principal tone is the lowest of its strong ones
(the same book, chapter 18).
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
_BAR_STRONG_DB = 8.0
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
        "mallet" and "timpani" are struck; anything else has harmonic partials.
    lowest_midi, highest_midi : float
        Candidates beyond these limits are not considered.
    """
    window = _LONG_WINDOW if lowest_midi < 45 else _WINDOW
    moved = track.midi.copy()
    for first in range(0, len(moved), _BLOCK_FRAMES):
        last = min(first + _BLOCK_FRAMES, len(moved))
        spectrum = _spectrum_db(samples, first, last, window)
        block = track.midi[first:last]
        if kind in ("mallet", "timpani"):
            moved[first:last] = _struck(
                spectrum,
                block,
                window,
                (lowest_midi, highest_midi),
                lowest_strong=kind == "timpani",
            )
        else:
            moved[first:last] = _octaves(spectrum, block, window, (lowest_midi, highest_midi))
    shift = np.where(track.confidence < 0.3, 0.0, moved - track.midi)
    if kind == "melodic":
        # One doubtful frame in a note is the tracker's to keep.
        shift = median_filter(shift, _SMOOTH_FRAMES)
    return PitchTrack(track.midi + shift, track.confidence, track.stretch)


def _octaves(
    spectrum: NDArray[np.float32],
    midi: NDArray[np.float64],
    window: int,
    limits: tuple[float, float],
) -> NDArray[np.float64]:
    ratios = np.array(_RATIOS)
    hz = 440.0 * 2 ** ((midi - 69) / 12)
    value = _contrast(spectrum, hz[:, None] * ratios, window)
    candidates = midi[:, None] + 12 * np.log2(ratios)
    value[(candidates < limits[0] - 1) | (candidates > limits[1] + 1)] = -np.inf
    return np.asarray(candidates[np.arange(len(midi)), np.argmax(value, axis=1)])


def _struck(
    spectrum: NDArray[np.float32],
    midi: NDArray[np.float64],
    window: int,
    limits: tuple[float, float],
    *,
    lowest_strong: bool,
) -> NDArray[np.float64]:
    """Return the strongest partial within the limits, or the lowest of the strong ones."""
    hz = 440.0 * 2 ** ((np.array([*limits, *midi]) - 69) / 12)
    low = max(1, int(np.floor(hz[0] * 0.97 * window / RATE_HZ)))
    high = min(spectrum.shape[1] - 2, int(np.ceil(hz[1] * 1.03 * window / RATE_HZ)))
    rows = np.arange(len(midi))
    inside = spectrum[:, low : high + 1]
    peak = low + np.argmax(inside, axis=1)
    if lowest_strong:
        before, after = spectrum[:, low - 1 : high], spectrum[:, low + 1 : high + 2]
        strong = inside >= inside.max(axis=1, keepdims=True) - _BAR_STRONG_DB
        peaks = strong & (inside >= before) & (inside >= after)
        peak = np.where(peaks.any(axis=1), low + np.argmax(peaks, axis=1), peak)
    left, mid, right = (spectrum[rows, peak + k].astype(np.float64) for k in (-1, 0, 1))
    bend = left - 2 * mid + right
    aside = 0.5 * (left - right) / np.minimum(bend, -1e-9)
    place = peak + np.clip(aside, -0.5, 0.5)
    strongest = 69 + 12 * np.log2(place * RATE_HZ / window / 440.0)
    own = np.nan_to_num(_at(spectrum, hz[2:, None], window)[:, 0])
    believed = (own >= mid - _BAR_STRONG_DB) & (not lowest_strong)
    return np.where(believed, midi, strongest)


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
    greatest = magnitude.max(axis=1, keepdims=True) + 1e-9
    level = 20 * np.log10(magnitude / greatest + 1e-9)
    return np.asarray(np.maximum(level + _DEEPEST_DB, 0), dtype=np.float32)


def _at(spectrum: NDArray[np.float32], hz: NDArray[np.float64], window: int) -> NDArray[np.float32]:
    """Return the levels at frequencies, shape (frames, candidates); NaN beyond the spectrum."""
    index = np.round(hz * window / RATE_HZ).astype(np.int64)
    inside = index < spectrum.shape[1]
    rows = np.arange(len(spectrum))[:, None]
    last = spectrum.shape[1] - 1
    # A partial may lie between two bins (a neighbour counts 3 dB less).
    found = np.maximum(
        spectrum[rows, np.minimum(index, last)],
        np.maximum(
            spectrum[rows, np.clip(index - 1, 0, last)],
            spectrum[rows, np.minimum(index + 1, last)],
        )
        - 3.0,
    )
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
