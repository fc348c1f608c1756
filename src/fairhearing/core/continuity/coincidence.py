"""Picture and sound change at the same instant: the strongest evidence that needs no file.

A recording that was stopped and joined changes both at once, within ± 40 ms (frame times and
codec delays leave no closer bound). Each alone has many innocent causes and is listed, if at
all, as too weak to send anybody to look.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from fairhearing.core.continuity.finding import LOOK_STRENGTH, Channel, Finding, clock
from fairhearing.core.continuity.picture_jump import PictureTrace, jump_scores
from fairhearing.core.continuity.sound_joint import BIN_S, SoundTrace, joint_scores

TOGETHER_S = 0.040
MOST_TOGETHER = 5
MOST_ALONE = 3
_EDGE_S = 0.25  # a recorder's own start and stop disturb both tracks
_APART_S = 1.0  # marks closer than this are one event
# Set on the tuning clips of benchmarks/continuity: no plain control and no knock is marked, and
# asking less of the picture finds no further join.
_PICTURE_LEAST, _SOUND_LEAST = 0.5, 0.3
_TOGETHER_LOOK = 1.6
_TOGETHER_SCALE = 0.35
_ALONE_PICTURE, _ALONE_SOUND = 1.2, 1.6
_ALONE_STRENGTH = 0.3

TOGETHER_SAYS = (
    "At {at} picture and sound change together. A light switched, a bump or a knock does this "
    "too. Watch five seconds."
)
PICTURE_SAYS = (
    "At {at} the picture changes from one frame to the next, the sound does not. Somebody "
    "moving close to the camera, a light or a bump does this; on its own it says little."
)
SOUND_SAYS = (
    "At {at} there is a step in the sound, nothing in the picture. A key, a knock or a switch "
    "does this; on its own it says little."
)


def coincidence_findings(
    picture: PictureTrace | None, sound: SoundTrace | None
) -> tuple[Finding, ...]:
    """Return findings from both traces; None for a track that the file does not have."""
    jumps = jump_scores(picture) if picture is not None else np.zeros(0)
    steps = joint_scores(sound) if sound is not None else np.zeros(0)
    findings: list[Finding] = []
    taken: list[float] = []
    if picture is not None and sound is not None and len(jumps) and len(steps):
        scores = together_scores(picture.times_s, jumps, sound.start_s, steps)
        for at_s, score in _peaks(picture.times_s, scores, 0.0, MOST_TOGETHER):
            strength = 1 / (1 + np.exp(-(score - _TOGETHER_LOOK) / _TOGETHER_SCALE))
            if strength >= LOOK_STRENGTH:
                findings.append(
                    _finding(Channel.PICTURE_AND_SOUND, at_s, float(strength), TOGETHER_SAYS)
                )
                taken.append(at_s)
    if picture is not None:
        for at_s, _ in _peaks(picture.times_s, jumps, _ALONE_PICTURE, MOST_ALONE):
            if all(abs(at_s - other) > _APART_S for other in taken):
                findings.append(_finding(Channel.PICTURE, at_s, _ALONE_STRENGTH, PICTURE_SAYS))
    if sound is not None:
        for at_s, _ in _peaks(sound.start_s, steps, _ALONE_SOUND, MOST_ALONE):
            if all(abs(at_s - other) > _APART_S for other in taken):
                findings.append(_finding(Channel.SOUND, at_s, _ALONE_STRENGTH, SOUND_SAYS))
    return tuple(findings)


def together_scores(
    picture_s: NDArray[np.float64],
    jumps: NDArray[np.float64],
    sound_s: NDArray[np.float64],
    steps: NDArray[np.float64],
) -> NDArray[np.float64]:
    """Return one score for each picture step: its own plus the best of the sound near it.

    Parameters
    ----------
    picture_s, jumps : ndarray, shape (n,)
        Times of the picture's steps in seconds and their scores.
    sound_s, steps : ndarray, shape (m,)
        Starts of the sound's bins in seconds and their scores.

    Returns
    -------
    ndarray, shape (n,)
        0 where either stays under its least score.
    """
    reach = int(np.ceil(TOGETHER_S / BIN_S))
    padded = np.pad(steps, reach, mode="constant", constant_values=0.0)
    best = np.lib.stride_tricks.sliding_window_view(padded, 2 * reach + 1).max(axis=1)
    place = np.rint((picture_s - sound_s[0]) / BIN_S).astype(np.intp)
    inside = (place >= 0) & (place < len(best))
    heard = np.where(inside, best[np.clip(place, 0, len(best) - 1)], 0.0)
    both = inside & (jumps >= _PICTURE_LEAST) & (heard >= _SOUND_LEAST)
    return np.where(both, jumps + heard, 0.0)


def _peaks(
    times_s: NDArray[np.float64], scores: NDArray[np.float64], least: float, most: int
) -> list[tuple[float, float]]:
    """Return (time, score) of the highest scores, apart from one another and from the edges."""
    if not len(times_s):
        return []
    inner = (times_s >= times_s[0] + _EDGE_S) & (times_s <= times_s[-1] - _EDGE_S)
    found: list[tuple[float, float]] = []
    for place in np.argsort(-scores):
        if scores[place] <= least or len(found) == most:
            break
        at_s = float(times_s[place])
        if inner[place] and all(abs(at_s - other) > _APART_S for other, _ in found):
            found.append((at_s, float(scores[place])))
    return found


def _finding(channel: Channel, at_s: float, strength: float, says: str) -> Finding:
    return Finding(
        channel,
        max(at_s - TOGETHER_S, 0.0),
        at_s + TOGETHER_S,
        min(strength, 1.0),
        says.format(at=clock(at_s)),
    )
