"""The lowest and highest note to listen for: as declared, or guessed from the take itself."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from fairhearing.core.playing.octaves import settle_octaves
from fairhearing.core.playing.pitch import track_pitch
from fairhearing.core.playing.types import Player

WIDEST = (24, 108)
"""Range in which a guess may lie, sounding MIDI: C1 to C8."""

_FIRST_LOOK = (31, 96)
_MARGIN = 5
_LEAST_STEADY_FRAMES = 60


def listening_limits(samples: NDArray[np.float32], player: Player) -> tuple[int, int]:
    """Return the limits, in sounding MIDI numbers, within which notes are looked for.

    Parameters
    ----------
    samples : ndarray of float32, shape (n,)
    player : Player
        Limits that are None are guessed.
    """
    if player.lowest_midi is not None and player.highest_midi is not None:
        return player.lowest_midi, player.highest_midi
    lowest, highest = guess_limits(samples, player)
    return (
        lowest if player.lowest_midi is None else player.lowest_midi,
        highest if player.highest_midi is None else player.highest_midi,
    )


def guess_limits(samples: NDArray[np.float32], player: Player) -> tuple[int, int]:
    """Guess the limits from the steady pitches of the take; a generous margin is added."""
    track = track_pitch(samples, lowest_midi=_FIRST_LOOK[0], highest_midi=_FIRST_LOOK[1])
    track = settle_octaves(
        samples, track, kind=player.kind, lowest_midi=WIDEST[0], highest_midi=WIDEST[1]
    )
    steady = track.steady(within_semitones=0.15, frames=12)
    midi = track.midi[steady]
    if len(midi) < _LEAST_STEADY_FRAMES:
        return _FIRST_LOOK
    low, high = np.percentile(midi, [1, 99])
    lowest = max(WIDEST[0], int(low) - _MARGIN)
    highest = min(WIDEST[1], int(high) + 1 + _MARGIN)
    # Notes below the engine's reach are first heard an octave high; leave room for them.
    if low < _FIRST_LOOK[0] + 12:
        lowest = max(WIDEST[0], lowest - 7)
    return lowest, max(highest, lowest + 12)
