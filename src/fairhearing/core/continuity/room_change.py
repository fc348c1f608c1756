"""The room sounds different before and after: a step in the noise between the notes.

The typical residual of the sound's predictor (see :mod:`sound_joint`) follows the noise of room
and microphone when nobody plays. Its quietest tenth over four seconds before and after a moment
is compared. A join of two recordings made in different places, or with different settings,
shows as a step; so do a fan, a window, an air conditioner, and a phone's automatic gain.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from fairhearing.core.continuity.finding import Channel, Finding, clock
from fairhearing.core.continuity.sound_joint import BIN_S, SoundTrace

LEAST_DB = 10.0
_SIDE_S = 4.0
_GRID_S = 0.25
_QUIET = 0.1
_STRENGTH = 0.3

SAYS = (
    "About {at} the room begins to sound {how} between the notes. A fan, a window or the "
    "phone's own level control does this; on its own it says little."
)


def floor_steps(trace: SoundTrace) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return times in seconds and the change of the noise there in dB, every quarter second."""
    grid = round(_GRID_S / BIN_S)
    side = round(_SIDE_S / _GRID_S)
    blocks = len(trace.typical) // grid
    if blocks < 2 * side + 1:
        return np.zeros(0), np.zeros(0)
    level = 20 * np.log10(trace.typical[: blocks * grid] + 1e-7).reshape(blocks, grid)
    windows = np.lib.stride_tricks.sliding_window_view(level, side, axis=0)
    floors = np.quantile(windows.reshape(len(windows), -1), _QUIET, axis=1)
    steps = floors[side:] - floors[:-side]
    times_s = trace.start_s[0] + (np.arange(len(steps)) + side) * _GRID_S
    return times_s, steps


def room_findings(trace: SoundTrace) -> tuple[Finding, ...]:
    """Return one weak finding at the largest step, or none."""
    times_s, steps = floor_steps(trace)
    if not len(steps):
        return ()
    at = int(np.argmax(np.abs(steps)))
    if abs(steps[at]) < LEAST_DB:
        return ()
    at_s = float(times_s[at])
    how = "louder" if steps[at] > 0 else "quieter"
    return (
        Finding(
            Channel.SOUND,
            at_s - _GRID_S,
            at_s + _GRID_S,
            _STRENGTH,
            SAYS.format(at=clock(at_s), how=how),
        ),
    )
