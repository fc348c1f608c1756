"""How in tune: the take's own A4, and which pitches this player plays high or low.

Only notes whose pitch may honestly be stated in cents take part. Differences of a few cents say
nothing about a student: natural drift during an attack alone is that large.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from fairhearing.core.playing.types import Note, PitchTendency, Tuning

_LEAST_NOTES = 5
# A note that wavers more than this says nothing about where it was meant to be.
_STEADIEST_CENTS = 20.0
_LEAST_NOTES_OF_A_PITCH = 2


def centre_of_frames(midi: NDArray[np.float64], weight: NDArray[np.float64]) -> float:
    """Return the offset of a set of frame pitches from the semitone grid, in semitones (±0.5).

    The circular mean of the deviations: a take that is 49 cents sharp and one that is 51 cents
    flat are neighbours.

    Parameters
    ----------
    midi : ndarray of float64, shape (n,)
        Fractional MIDI numbers.
    weight : ndarray of float64, shape (n,)
    """
    if not len(midi) or not weight.sum() > 0:
        return 0.0
    turned = np.sum(weight * np.exp(2j * np.pi * midi))
    return float(np.angle(turned) / (2 * np.pi))


def measure_tuning(notes: Sequence[Note]) -> Tuning:
    """Return centre, spread and tendency by pitch of the notes with honest cents."""
    stated = [
        (note.midi, note.cents)
        for note in notes
        if note.cents is not None and (note.cents_spread or 0.0) <= _STEADIEST_CENTS
    ]
    if len(stated) < _LEAST_NOTES:
        return Tuning(
            None, None, None, (), f"only {len(stated)} notes are long and steady enough to say"
        )
    cents = np.array([value for _, value in stated])
    centre = float(np.median(cents))
    low, high = np.percentile(cents, [16, 84])
    by_pitch = []
    for midi in sorted({m for m, _ in stated}):
        own = np.array([value for m, value in stated if m == midi])
        if len(own) >= _LEAST_NOTES_OF_A_PITCH:
            by_pitch.append(PitchTendency(midi, float(np.median(own)) - centre, len(own)))
    return Tuning(
        reference_hz=float(440.0 * 2 ** (centre / 1200)),
        cents=centre,
        spread_cents=float(high - low) / 2,
        by_pitch=tuple(by_pitch),
    )
