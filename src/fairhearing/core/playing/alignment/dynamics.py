"""How loud each heard note is: the level of its sounding part, for the dynamics of the etude."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from fairhearing.core.playing.alignment.result import HeardNote

ATTACK_S = 0.03
SHORTEST_S = 0.06
"""Of a shorter note the attack is all there is, and its level says nothing about dynamics."""


def note_levels_db(
    samples: NDArray[np.float32], rate_hz: int, notes: Sequence[HeardNote]
) -> list[float | None]:
    """Measure the level of each note, in dB re full scale.

    The root mean square of the samples from 30 ms after the onset to the offset. Levels of one
    take may be compared with one another; across takes they depend on the phone and the room.

    Parameters
    ----------
    samples : ndarray of float32, shape (n,)
        Mono, −1 … 1; the first sample stands at second 0 of the notes' times.
    rate_hz : int
        Sample rate.
    notes : sequence of HeardNote
        Where to measure.

    Returns
    -------
    list of float or None
        In the order of `notes`; None for a note under 60 ms, outside the samples or silent.
    """
    levels: list[float | None] = []
    for note in notes:
        first = max(0, round((note.onset_s + ATTACK_S) * rate_hz))
        last = min(len(samples), round(note.offset_s * rate_hz))
        if note.offset_s - note.onset_s < SHORTEST_S or last <= first:
            levels.append(None)
            continue
        power = float(np.mean(np.square(samples[first:last].astype(np.float64))))
        levels.append(10 * float(np.log10(power)) if power > 0 else None)
    return levels
