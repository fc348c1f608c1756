"""The pitch and the sound level along a take, on a grid of 8 ms.

The pitch comes from SwiftF0 (MIT), a small network that covers 46.9 to 2093.8 Hz. Lower and
higher instruments are brought into its range by telling it another sample rate: sound at 8 kHz
declared as 16 kHz is heard an octave higher, sound at 20 or 32 kHz a third or an octave lower.

The take is worked on in blocks, so that memory grows with the few numbers per frame only.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from functools import cache

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import uniform_filter1d
from scipy.signal import resample_poly
from swift_f0 import SwiftF0

from fairhearing.core.playing.types import RATE_HZ

HOP = 128
"""Samples from one frame to the next."""
HOP_S = HOP / RATE_HZ

_ENGINE_LOWEST_HZ = 46.875
_ENGINE_HIGHEST_HZ = 2093.75
_ENGINE_HOP = 256
_BLOCK_S = 60
_MARGIN_S = 1


@dataclass(frozen=True, slots=True, eq=False)
class PitchTrack:
    """Pitch, frame by frame; frame k stands at k · 8 ms.

    Attributes
    ----------
    midi : ndarray of float64, shape (n,)
        Most likely sounding pitch as a fractional MIDI number (A4 = 69 = 440 Hz).
    confidence : ndarray of float64, shape (n,)
        0…1; voiced from 0.5 on.
    stretch : float
        Sample rate at which the take was listened to, over the one that the engine was told.
    """

    midi: NDArray[np.float64]
    confidence: NDArray[np.float64]
    stretch: float

    def steady(self, *, within_semitones: float, frames: int) -> NDArray[np.bool_]:
        """Say for each frame whether the pitch around it holds still, as that of a note does.

        Parameters
        ----------
        within_semitones : float
            Greatest standard deviation of the pitch.
        frames : int
            Length of the stretch that is looked at.
        """
        mean = uniform_filter1d(self.midi, frames)
        square = uniform_filter1d(self.midi**2, frames)
        spread = np.sqrt(np.maximum(square - mean**2, 0))
        sure = uniform_filter1d(self.confidence, frames)
        return np.asarray((spread < within_semitones) & (sure > 0.8))


def hz_of_midi(midi: float) -> float:
    """Return the frequency of a MIDI number: 440 · 2^((m − 69)/12) (ISO 16, equal temperament)."""
    return float(440.0 * 2.0 ** ((midi - 69.0) / 12.0))


def midi_of_hz(hz: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return fractional MIDI numbers of frequencies in Hz."""
    return np.asarray(69.0 + 12.0 * np.log2(hz / 440.0), dtype=np.float64)


@cache
def _engine() -> SwiftF0:
    # One thread: the same numbers on every machine, and the cores stay free for other takes.
    return SwiftF0(threads=1)


def stretch_for(lowest_midi: float, highest_midi: float) -> float:
    """Return the sample rate to listen at, over the engine's: 0.5, 1, 1.25 or 2.

    A low instrument is listened to an octave up when its lowest note lies less than four
    semitones above the engine's limit, a high one lower when its highest is above it.
    """
    if hz_of_midi(lowest_midi) < _ENGINE_LOWEST_HZ * 2 ** (4 / 12):
        return 0.5
    for factor in (1.0, 1.25):
        if hz_of_midi(highest_midi) <= _ENGINE_HIGHEST_HZ * factor:
            return factor
    return 2.0


def track_pitch(
    samples: NDArray[np.float32], *, lowest_midi: float, highest_midi: float
) -> PitchTrack:
    """Measure the pitch along a take.

    Parameters
    ----------
    samples : ndarray of float32, shape (n,)
        Mono, at :data:`~fairhearing.core.playing.types.RATE_HZ`.
    lowest_midi, highest_midi : float
        Limits of the instrument, sounding; the engine looks a semitone beyond them.

    Returns
    -------
    PitchTrack
        With ``n // 128 + 1`` frames.
    """
    factor = stretch_for(lowest_midi, highest_midi)
    frames = len(samples) // HOP + 1
    midi = np.zeros(frames)
    confidence = np.zeros(frames)
    per_block = _BLOCK_S * RATE_HZ // HOP
    margin = _MARGIN_S * RATE_HZ // HOP
    for first in range(0, frames, per_block):
        last = min(first + per_block, frames)
        begin = max(0, first - margin)
        part = samples[begin * HOP : (last + margin) * HOP]
        if len(part) < 2 * _ENGINE_HOP:
            continue
        values, sure = _block(part, factor, lowest_midi - 1.0, highest_midi + 1.0)
        take = slice(first - begin, last - begin)
        values, sure = values[take], sure[take]
        midi[first : first + len(values)] = values
        confidence[first : first + len(sure)] = sure
    return PitchTrack(midi, confidence, factor)


def _block(
    part: NDArray[np.float32], factor: float, lowest_midi: float, highest_midi: float
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return pitch and confidence of a block on the 8 ms grid."""
    heard = part
    if factor != 1.0:
        rate = Fraction(factor)
        heard = resample_poly(part, rate.numerator, rate.denominator).astype(np.float32)
    limits = (
        max(_ENGINE_LOWEST_HZ, hz_of_midi(lowest_midi) / factor),
        min(_ENGINE_HIGHEST_HZ, hz_of_midi(highest_midi) / factor),
    )
    # Every engine frame stands 256 of *its* samples after the one before: 8 to 32 ms.
    hop_s = _ENGINE_HOP / (RATE_HZ * factor)
    result = _engine().detect(heard, RATE_HZ, *limits)
    values, sure = midi_of_hz(result.pitch_hz * factor), result.confidence
    if factor < 1.0:
        # A second reading half a frame later brings the low instruments back to 16 ms.
        late = _engine().detect(heard[_ENGINE_HOP // 2 :], RATE_HZ, *limits)
        values = _interleave(values, midi_of_hz(late.pitch_hz * factor))
        sure = _interleave(sure, late.confidence)
        hop_s /= 2
    grid = np.arange(len(part) // HOP + 1, dtype=np.float64) * (HOP_S / hop_s)
    return _on_grid(values, sure, grid)


def _interleave(a: NDArray[np.float64], b: NDArray[np.float64]) -> NDArray[np.float64]:
    both = np.empty(2 * len(a))
    both[0::2] = a
    both[1::2] = np.concatenate([b, a[-1:]])[: len(a)] if len(b) < len(a) else b[: len(a)]
    return both


def _on_grid(
    values: NDArray[np.float64], sure: NDArray[np.float64], grid: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Interpolate; between two frames of different notes the surer one counts, not their mean."""
    last = len(values) - 1
    low = np.clip(np.floor(grid).astype(np.intp), 0, last)
    high = np.minimum(low + 1, last)
    part = np.clip(grid - low, 0.0, 1.0)
    confidence = sure[low] * (1 - part) + sure[high] * part
    near = np.abs(values[low] - values[high]) < 0.5
    mixed = values[low] * (1 - part) + values[high] * part
    weight_low, weight_high = sure[low] * (1 - part), sure[high] * part
    surer = np.where(weight_low >= weight_high, values[low], values[high])
    return np.where(near, mixed, surer), confidence
