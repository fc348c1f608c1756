"""What makes a take doubtful as a whole, each in one plain sentence.

Silence, speech without playing, several sounds at once, an instrument other than declared, a
take without end. Nothing here is a verdict on the student: each remark says what was heard and
what a person may want to check.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from scipy.fft import rfft

from fairhearing.core.playing.pitch import HOP_S, track_pitch
from fairhearing.core.playing.types import RATE_HZ, Note, Remark

SILENT_DBFS = -60.0
"""A take that is never louder than this is called silent."""

_WINDOW = 4096
_PEAK_WITHIN_DB = 22.0
_HARMONIC_WITHIN = 0.025
_HIGHEST_MULTIPLE = 8.0
_LEAST_NOTE_S = 0.3
_MOST_NOTES = 60
_OTHER_SOUND_SHARE = 0.3
_OTHER_SOUND_NOTES = 0.4

_EXCERPTS = 6
_EXCERPT_S = 4.0
_WIDE = (36, 96)
_OUTSIDE_SHARE = 0.35


def remark_on_silence(level_db: NDArray[np.floating]) -> Remark | None:
    """Say so when nothing can be heard at all."""
    if len(level_db) and float(level_db.max()) > SILENT_DBFS:
        return None
    return Remark(
        "silence", "The take is silent. The microphone may have been off or covered; ask again."
    )


def remark_on_no_playing(
    notes: Sequence[object], speech: Sequence[tuple[float, float]]
) -> Remark | None:
    """Say so when no note was heard."""
    if notes:
        return None
    if speech:
        return Remark("no playing", "Somebody speaks, but no playing was heard.")
    return Remark("no playing", "There is sound, but no playing was heard in it.")


def other_sound_share(
    samples: NDArray[np.float32], notes: Sequence[Note]
) -> tuple[float, list[Note]] | None:
    """Return how much of the long notes has other sounds in it, and which notes.

    Parameters
    ----------
    samples : ndarray of float32, shape (n,)
    notes : sequence of Note

    Returns
    -------
    (float, list of Note) or None
        Share of the notes of which more than 30 % of the sound in spectral peaks lies between
        the multiples of their pitch; None when there are no notes long enough to say.
    """
    long = [n for n in notes if n.offset_s - n.onset_s >= _LEAST_NOTE_S]
    if len(long) < 4:
        return None
    step = max(1, len(long) // _MOST_NOTES)
    window = np.hanning(_WINDOW).astype(np.float32)
    crowded = []
    looked_at = long[::step]
    for note in looked_at:
        middle = round((0.5 * note.onset_s + 0.5 * note.offset_s) * RATE_HZ)
        begin = max(0, middle - _WINDOW // 2)
        part = samples[begin : begin + _WINDOW]
        if len(part) < _WINDOW:
            continue
        if _between_partials(part * window, note) > _OTHER_SOUND_SHARE:
            crowded.append(note)
    return len(crowded) / len(looked_at), crowded


def _between_partials(part: NDArray[np.float32], note: Note) -> float:
    """Return the share of the peaks' amplitude that lies between the multiples of the pitch."""
    magnitude = np.abs(rfft(part))
    magnitude[: round(60 * _WINDOW / RATE_HZ)] = 0
    peak = np.zeros(len(magnitude), dtype=np.bool_)
    peak[1:-1] = (magnitude[1:-1] > magnitude[:-2]) & (magnitude[1:-1] >= magnitude[2:])
    peak &= magnitude > magnitude.max() * 10 ** (-_PEAK_WITHIN_DB / 20)
    index = np.flatnonzero(peak)
    if not len(index):
        return 0.0
    cents = note.cents or 0.0
    fundamental = 440.0 * 2 ** ((note.midi + cents / 100 - 69) / 12)
    multiple = index * RATE_HZ / _WINDOW / fundamental
    away = np.abs(multiple - np.maximum(1, np.round(multiple)))
    # A peak is placed no better than half a bin; high partials lie too close to be told apart.
    allowed = np.minimum(_HARMONIC_WITHIN * multiple, 0.15)
    allowed = allowed + 0.6 * RATE_HZ / _WINDOW / fundamental
    strength = magnitude[index] * (multiple < _HIGHEST_MULTIPLE)
    if not strength.any():
        return 0.0
    return float(strength[away > allowed].sum() / strength.sum())


def remark_on_several_sounds(samples: NDArray[np.float32], notes: Sequence[Note]) -> Remark | None:
    """Say so when most long notes have other tones beside their own."""
    found = other_sound_share(samples, notes)
    if found is None or found[0] < _OTHER_SOUND_NOTES:
        return None
    crowded = found[1]
    return Remark(
        "several sounds",
        "More than one instrument is heard at once, perhaps a backing track; the notes and the "
        "tuning listed here may belong to any of them. Listen before using them.",
        crowded[0].onset_s,
        crowded[-1].offset_s,
    )


def share_outside(
    samples: NDArray[np.float32], lowest_midi: int, highest_midi: int
) -> float | None:
    """Return the share of steady pitch that lies beyond an instrument's limits.

    A few seconds from the loudest parts of the take are listened to without limits.
    """
    count = round(_EXCERPT_S * RATE_HZ)
    blocks = len(samples) // count
    if not blocks:
        return None
    power = [float(np.mean(np.square(samples[b * count : (b + 1) * count]))) for b in range(blocks)]
    loudest = np.argsort(power)[::-1][: 2 * _EXCERPTS]
    chosen = sorted(int(block) for block in loudest[:: 2 if blocks >= 2 * _EXCERPTS else 1])
    outside = total = 0
    for block in chosen[:_EXCERPTS]:
        part = samples[block * count : (block + 1) * count]
        track = track_pitch(part, lowest_midi=_WIDE[0], highest_midi=_WIDE[1])
        steady = track.steady(within_semitones=0.15, frames=12)
        midi = track.midi[steady]
        total += len(midi)
        outside += int(np.sum((midi < lowest_midi - 1.5) | (midi > highest_midi + 1.5)))
    return outside / total if total * HOP_S >= 1.0 else None


def remark_on_range(share: float | None) -> Remark | None:
    """Say so when much of the playing lies beyond the declared instrument."""
    if share is None or share < _OUTSIDE_SHARE:
        return None
    return Remark(
        "other instrument",
        f"About {100 * share:.0f} % of the playing lies outside the range of the instrument that "
        "was declared. The take was heard without its limits; check the instrument.",
    )
