"""From spans of frames to notes with honest cents, and what the cents are allowed to say.

The pitch of a note is stated in cents only when it lasts 250 ms or more and 80 % of its frames
are voiced at that pitch; its attack and release are left out. The tracker is a few cents off (tens
at the top of the piccolo), so the statement comes from the spectrum: the peaks near the first
partials, placed by a parabola through the log magnitudes (Smith & Serra, ICMC 1987).
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from scipy.fft import rfft

from fairhearing.core.playing.notes import Frames, Span
from fairhearing.core.playing.pitch import HOP, HOP_S
from fairhearing.core.playing.types import RATE_HZ, Kind, Note

HONEST_FROM_S = 0.25
HONEST_VOICED_SHARE = 0.8

_ATTACK_S = 0.06
_RELEASE_S = 0.03
_VOICED = 0.5
_NEAR_SEMITONES = 0.8
_LEAST_CONFIDENCE = 0.1
_STEADY_SEMITONES = 0.2
_AUDIBLE = 1e-3
_STEADY_CONFIDENCE = 0.4
_WINDOW = 2048
_LONG_WINDOW = 4096
_PARTIALS = 5
_SEARCH_SEMITONES = 0.6
_WEAKEST_DB = 25.0


def measure_notes(
    samples: NDArray[np.float32],
    spans: Sequence[Span],
    frames: Frames,
    *,
    tuning_semitones: float,
    kind: Kind,
) -> tuple[Note, ...]:
    """Measure each span; one in which no pitch was heard is no note.

    Parameters
    ----------
    samples : ndarray of float32, shape (n,)
        Mono, at :data:`~fairhearing.core.playing.types.RATE_HZ`.
    spans : sequence of Span
    frames : Frames
        Whose ``midi`` is relative to the take's tuning.
    tuning_semitones : float
        The take's tuning relative to A4 = 440 Hz; added again, so that cents are absolute.
    kind : str
        Bars and drums have no harmonic partials; only their fundamental is measured.
    """
    partials = _PARTIALS if kind == "melodic" else 1
    notes = (_measure(samples, span, frames, tuning_semitones, partials) for span in spans)
    return tuple(n for n in notes if kind != "melodic" or n.confidence >= _LEAST_CONFIDENCE)


def _measure(
    samples: NDArray[np.float32],
    span: Span,
    frames: Frames,
    tuning_semitones: float,
    partials: int,
) -> Note:
    body = slice(
        min(span.first + round(_ATTACK_S / HOP_S), span.end - 1),
        max(span.end - round(_RELEASE_S / HOP_S), span.first + 1),
    )
    away = frames.midi[body] - span.midi
    voiced = (frames.confidence[body] >= _VOICED) & (np.abs(away) < _NEAR_SEMITONES)
    share = float(voiced.mean()) if len(voiced) else 0.0
    cents = spread = None
    lasts_s = (span.end - span.first) * HOP_S
    if lasts_s >= HONEST_FROM_S and share >= HONEST_VOICED_SHARE:
        about = span.midi + tuning_semitones + float(np.median(away[voiced]))
        found = _pitch_in_spectrum(samples[body.start * HOP : body.stop * HOP], about, partials)
        if found is not None:
            cents = 100 * (found - span.midi)
            low, high = np.percentile(100 * away[voiced], [16, 84])
            spread = float(high - low) / 2
    sure = float(np.mean(frames.confidence[body] * voiced)) if len(voiced) else 0.0
    sound = samples[body.start * HOP : body.stop * HOP]
    loud = len(sound) > 0 and float(np.sqrt(np.mean(np.square(sound)))) >= _AUDIBLE
    if loud and np.mean(np.abs(away - np.median(away)) < _STEADY_SEMITONES) >= 0.8:
        # The tracker doubts some plain tones; a pitch that does not move is one all the same.
        sure = max(sure, _STEADY_CONFIDENCE)
    return Note(span.first * HOP_S, span.end * HOP_S, span.midi, cents, spread, round(sure, 3))


def _pitch_in_spectrum(part: NDArray[np.float32], about_midi: float, partials: int) -> float | None:
    """Return the fractional MIDI number of a steady tone near a first reading, or None."""
    window = _LONG_WINDOW if len(part) >= 1.5 * _LONG_WINDOW else _WINDOW
    if len(part) < window // 2:
        return None
    part = np.pad(part, (0, max(0, window - len(part))))
    shape = np.hanning(window + 1)[:-1].astype(np.float32)
    starts = range(0, len(part) - window + 1, window // 2)
    readings = [
        reading
        for start in starts
        if (reading := _reading(part[start : start + window] * shape, about_midi, partials))
    ]
    return float(np.median(readings)) if readings else None


def _reading(part: NDArray[np.float32], about_midi: float, partials: int) -> float | None:
    length = 2 * len(part)
    level = 20 * np.log10(np.abs(rfft(part, length)) + 1e-9)
    hz = 440.0 * 2 ** ((about_midi - 69) / 12)
    ratio = 2 ** (_SEARCH_SEMITONES / 12)
    found: list[tuple[float, float, float]] = []
    for partial in range(1, partials + 1):
        low = int(np.floor(hz * partial / ratio * length / RATE_HZ))
        high = int(np.ceil(hz * partial * ratio * length / RATE_HZ))
        if high + 1 >= len(level) or low < 1:
            break
        peak = low + int(np.argmax(level[low : high + 1]))
        if not low < peak < high:
            continue
        left, mid, right = level[peak - 1 : peak + 2]
        bend = left - 2 * mid + right
        place = peak + (0.5 * (left - right) / bend if bend < 0 else 0.0)
        midi = 69 + 12 * np.log2(place * RATE_HZ / length / partial / 440.0)
        # The same error in hertz is a smaller one in cents the higher the partial.
        found.append((float(midi), float(mid), float(partial)))
    if not found:
        return None
    strongest = max(mid for _, mid, _ in found)
    kept = [(m, n * 10 ** ((mid - strongest) / 20)) for m, mid, n in found
            if mid > strongest - _WEAKEST_DB]  # fmt: skip
    values = np.array([m for m, _ in kept])
    weights = np.array([w for _, w in kept])
    middle = values[np.argmax(weights)]
    near = np.abs(values - middle) < 0.2
    return float(np.average(values[near], weights=weights[near]))
