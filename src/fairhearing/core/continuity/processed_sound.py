"""Processed sound, cause unknown: pauses that fall silent at once.

In a room a note rings off over some tenths of a second. When the level falls by 25 dB within
20 ms, again and again, something closed the sound: a gate or a denoiser. Phones and video-call
apps do this by themselves, so the finding is listed for the judges' ears and sends nobody to
look.

Not built because it could not be shown honestly on phone-like material: changes of speed or
pitch, equalising, added reverberation, compression, a second lossy coding.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from fairhearing.core.continuity.finding import Channel, Finding
from fairhearing.core.continuity.sound_joint import BIN_S, SoundTrace

LEAST_A_MINUTE = 6.0
_FALL_DB = 25.0
_FALL_BINS = 4
_HOLD_BINS = 10
_STRENGTH = 0.3

SAYS = (
    "Processed sound, cause unknown: {count} times a note stops dead, as with noise "
    "suppression. Many phones do this by themselves; judge tone and note endings with care."
)


def sudden_ends(trace: SoundTrace) -> NDArray[np.float64]:
    """Return the times in seconds at which the level falls by 25 dB within 20 ms and stays."""
    if len(trace.level) < _FALL_BINS + _HOLD_BINS + 2:
        return np.zeros(0)
    level_db = 10 * np.log10(trace.level + 1e-12)
    after = level_db[_FALL_BINS:]
    hold = np.lib.stride_tricks.sliding_window_view(after, _HOLD_BINS).max(axis=1)
    n = len(hold)
    falls = level_db[:n] - hold >= _FALL_DB
    starts = np.flatnonzero(falls & ~np.r_[False, falls[:-1]])
    return np.asarray(trace.start_s[starts])


def processed_findings(trace: SoundTrace) -> tuple[Finding, ...]:
    """Return one weak finding for the whole take, or none."""
    ends = sudden_ends(trace)
    minutes = max(len(trace.level) * BIN_S / 60, 1e-9)
    if len(ends) < 3 or len(ends) / minutes < LEAST_A_MINUTE:
        return ()
    start_s = float(trace.start_s[0])
    return (
        Finding(
            Channel.PROCESSED_SOUND,
            start_s,
            start_s + 60 * minutes,
            _STRENGTH,
            SAYS.format(count=len(ends)),
        ),
    )
