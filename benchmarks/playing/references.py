"""General libraries that hear the same sound: librosa.pyin, and SwiftF0's own note segmenter."""

from __future__ import annotations

import librosa
import numpy as np
from benchmarks.playing.banks import RATE_HZ
from benchmarks.playing.measures import Found
from swift_f0 import SwiftF0, segment_notes


def segmenter_notes(sound: np.ndarray, low: int, high: int) -> Found:
    """Return the notes of swift_f0.segment_notes with its default settings."""
    limits = librosa.midi_to_hz(np.array([low - 1, high + 1], dtype=float))
    detector = SwiftF0(threads=1)
    result = detector.detect(sound, RATE_HZ, max(46.9, limits[0]), min(2093.7, limits[1]))
    return [(n.start, n.end, float(librosa.hz_to_midi(n.pitch_hz))) for n in segment_notes(result)]


def pyin_notes(sound: np.ndarray, low: int, high: int) -> Found:
    """Return librosa's onsets, each with the median of pyin's voiced pitch until the next."""
    hop = 256
    pitch, voiced, _ = librosa.pyin(
        sound,
        sr=RATE_HZ,
        fmin=float(librosa.midi_to_hz(low - 1)),
        fmax=min(float(librosa.midi_to_hz(high + 1)), RATE_HZ / 4),
        hop_length=hop,
        resolution=0.2,
    )
    onsets = librosa.onset.onset_detect(y=sound, sr=RATE_HZ, hop_length=hop, units="frames")
    found: Found = []
    for first, last in zip(onsets, [*onsets[1:], len(pitch)], strict=True):
        own = pitch[first:last][voiced[first:last]]
        if len(own) >= 3:
            middle = float(librosa.hz_to_midi(np.median(own)))
            found.append((first * hop / RATE_HZ, last * hop / RATE_HZ, middle))
    return found
