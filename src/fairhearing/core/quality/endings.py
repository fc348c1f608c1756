"""What happens after a note: the room's echo, a gate that shuts, a gain that creeps up.

Conventions: ``powers`` are mean squares of consecutive 10 ms (see :mod:`background`). A note
end is a fall by 20 dB or more within half a second from a level that was held.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from fairhearing.core.quality.background import STEP_S

_FEWEST_ENDS = 4
_TAIL_STEPS = 150
_GATE_FALL_DB = 25.0
_GATE_STEPS, _GATE_HOLD = 2, 5
_SILENT_DB = -96.0
_BURST_STEPS, _ALONE_STEPS = 12, 30
_PAUSE_STEPS = 100  # a second of pause before a creeping gain can be told


def note_ends(powers: NDArray[np.float64]) -> NDArray[np.intp]:
    """Return the last 10 ms step of each held sound that is followed by a fall of 20 dB."""
    level = 10 * np.log10(powers + 1e-12)
    if len(level) < 80:
        return np.zeros(0, dtype=np.intp)
    held = np.lib.stride_tricks.sliding_window_view(level, 5).mean(axis=1)  # starts at i
    now = held[:-55]
    later = np.lib.stride_tricks.sliding_window_view(held[5:], 46).min(axis=1)[: len(now)]
    falls = now - later >= 20
    # The end is where the level last stood within 2 dB of the held level.
    ends: list[int] = []
    for start in np.flatnonzero(falls & ~np.r_[False, falls[:-1]]):
        stretch = level[start : start + 60]
        top = float(np.median(stretch[:5]))
        last = int(np.flatnonzero(stretch >= top - 2)[-1])
        ends.append(int(start) + last)
    return np.array(ends, dtype=np.intp)


def echo_s(powers: NDArray[np.float64]) -> float | None:
    """Return the time in which sound dies by 60 dB in this room, in seconds; None if unclear.

    The slope from 5 to 20 dB under the note is taken after each end; an instrument's own decay
    only lengthens it, so that the faster ends come closest to the room (cf. Ratnam et al.,
    J. Acoust. Soc. Am. 114 (2003) 2877–2892).
    """
    level = 10 * np.log10(powers + 1e-12)
    times = []
    for end in note_ends(powers):
        tail = level[end : end + _TAIL_STEPS] - level[end]
        under_5 = int(np.argmax(tail <= -5))
        under_20 = int(np.argmax(tail <= -20))
        if under_20 <= under_5 or under_5 == 0:
            continue
        if under_20 - under_5 >= 3:
            part = tail[under_5 : under_20 + 1]
            slope = float(np.polyfit(np.arange(len(part)) * STEP_S, part, 1)[0])
            if slope < 0:
                times.append(-60 / slope)
        else:
            times.append((under_20 - under_5) * STEP_S * 4)
    if len(times) < _FEWEST_ENDS:
        return None
    return float(np.quantile(times, 0.3))


def gated_ends(powers: NDArray[np.float64]) -> int:
    """Return how often the level falls by 25 dB within 20 ms and stays down for 50 ms."""
    level = 10 * np.log10(powers + 1e-12)
    if len(level) < 20:
        return 0
    hold = np.lib.stride_tricks.sliding_window_view(level[_GATE_STEPS:], _GATE_HOLD).max(axis=1)
    falls = level[: len(hold)] - hold >= _GATE_FALL_DB
    return int(np.sum(falls & ~np.r_[False, falls[:-1]]))


def gain_pumping_db(powers: NDArray[np.float64]) -> float | None:
    """Return how far the noise rises during pauses of a second and more, in dB (median).

    A recorder that levels by itself turns up slowly once the player stops. None when there are
    fewer than three such pauses.
    """
    level = 10 * np.log10(powers + 1e-12)
    rises = []
    for end in note_ends(powers):
        pause = level[end : end + 3 * _PAUSE_STEPS]
        ceiling = level[end] - 15
        over = np.flatnonzero(pause[30:] > ceiling)
        until = 30 + int(over[0]) if len(over) else len(pause)
        if until < _PAUSE_STEPS + 30:
            continue
        smooth = np.convolve(pause[:until], np.full(10, 0.1), mode="valid")
        lowest = int(np.argmin(smooth))
        rises.append(float(np.median(smooth[-20:]) - smooth[lowest]))
    if len(rises) < 3:
        return None
    return float(np.median(rises))


def sudden_noises_s(powers: NDArray[np.float64]) -> tuple[float, ...]:
    """Return the times of short bursts in pauses: at most 120 ms, 20 dB over what is around.

    A chair, a dropped pencil, a door; a single stroke of a drum looks the same, so that the
    list means nothing on percussion.
    """
    level = 10 * np.log10(powers + 1e-12)
    if len(level) < 80:
        return ()
    quiet = float(np.quantile(level[level > _SILENT_DB], 0.05)) if (level > _SILENT_DB).any() else 0
    over = level > quiet + 12
    edges = np.flatnonzero(np.diff(np.r_[False, over, False].astype(np.int8)))
    found = []
    for first, beyond in zip(edges[::2], edges[1::2], strict=True):
        if beyond - first > _BURST_STEPS or level[first:beyond].max() < quiet + 20:
            continue
        around = np.r_[
            over[max(first - _ALONE_STEPS, 0) : first], over[beyond : beyond + _ALONE_STEPS]
        ]
        if not around.any():
            found.append(first * STEP_S)
    return tuple(found)
