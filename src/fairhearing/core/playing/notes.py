"""From frames to notes: a hidden Markov model of silence, and an attack and sustain per pitch.

Each semitone has a chain of attack frames followed by a sustain state. During the attack the
measured pitch may still be that of the note before (reverberation holds it for 30–60 ms), so the
chain is tolerant; it also sets the shortest possible note. A new note costs less where the sound
says that something begins. Notes are never ended by voicing alone, because in a reverberant room
up to half of the frames between notes are called voiced.

The best path is found by dynamic programming (Viterbi 1967); costs are in nats.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

SILENCE = -1


@dataclass(frozen=True, slots=True)
class NoteCosts:
    """Settings of the model, in nats unless said otherwise.

    ``off_pitch`` is per semitone beyond ``off_pitch_free`` semitones, up to ``off_pitch_most``.
    """

    attack_frames: int = 9
    off_pitch: float = 3.0
    off_pitch_free: float = 0.25
    off_pitch_most: float = 1.5
    attack_off_pitch_most: float = 0.2
    sounding: float = 0.8
    begin: float = 1.5
    change: float = 3.0
    repeat: float = 4.0
    beginning: float = 1.4
    end: float = 0.0


@dataclass(frozen=True, slots=True, eq=False)
class Frames:
    """What the model looks at, one value per 8 ms frame, float64 of shape (n,) each.

    Attributes
    ----------
    midi : ndarray
        Pitch relative to the take's own tuning, as a fractional MIDI number.
    confidence : ndarray
        Of the pitch, 0…1.
    begins, sounds : ndarray
        Log odds that a note begins here, and that one sounds.
    """

    midi: NDArray[np.float64]
    confidence: NDArray[np.float64]
    begins: NDArray[np.float64]
    sounds: NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Span:
    """A note as the model found it: first frame, frame after the last, semitone."""

    first: int
    end: int
    midi: int


def find_spans(
    frames: Frames, *, lowest_midi: int, highest_midi: int, costs: NoteCosts
) -> list[Span]:
    """Return the notes of the best path.

    Parameters
    ----------
    frames : Frames
    lowest_midi, highest_midi : int
        Pitches that a note may have.
    costs : NoteCosts
    """
    if not len(frames.midi):
        return []
    path, begins = _best_path(frames, lowest_midi, highest_midi, costs)
    spans: list[Span] = []
    edges = np.flatnonzero(begins | np.concatenate([[True], path[1:] != path[:-1]]))
    for first, end in zip(edges, [*edges[1:], len(path)], strict=True):
        if path[first] != SILENCE:
            spans.append(Span(int(first), int(end), int(path[first]) + lowest_midi))
    return spans


def _emissions(
    frames: Frames, lowest: int, highest: int, costs: NoteCosts
) -> tuple[NDArray[np.float32], NDArray[np.float32], NDArray[np.float32]]:
    """Return the costs of sustain (n, p), attack (n, p) and silence (n,)."""
    pitches = np.arange(lowest, highest + 1, dtype=np.float32)
    away = np.abs(frames.midi[:, None].astype(np.float32) - pitches)
    away = np.maximum(away - costs.off_pitch_free, 0) * costs.off_pitch
    sure = frames.confidence[:, None].astype(np.float32)
    odds = np.clip(frames.sounds, -8, 8).astype(np.float32)
    weight = np.float32(costs.sounding)
    silent = weight * np.logaddexp(np.float32(0), odds)
    sounding = weight * np.logaddexp(np.float32(0), -odds)[:, None]
    sustain = sure * np.minimum(away, costs.off_pitch_most) + sounding
    attack = sure * np.minimum(away, costs.attack_off_pitch_most) + 0.5 * sounding
    return sustain, attack, silent


def _best_path(
    frames: Frames, lowest: int, highest: int, costs: NoteCosts
) -> tuple[NDArray[np.int16], NDArray[np.bool_]]:
    sustain, attack, silence = _emissions(frames, lowest, highest, costs)
    evidence = (costs.beginning * np.clip(frames.begins, -6, 6)).astype(np.float32)
    count, pitches = sustain.shape
    chain = costs.attack_frames
    held = np.full(pitches, np.inf, dtype=np.float32)
    rising = np.full((chain, pitches), np.inf, dtype=np.float32)
    still = np.float32(0)
    # Back pointers: into silence (from which pitch, or silence), into an attack, into a sustain.
    from_still = np.full(count, SILENCE, dtype=np.int16)
    from_attack = np.full((count, pitches), SILENCE, dtype=np.int16)
    arrived = np.zeros((count, pitches), dtype=np.bool_)
    for t in range(count):
        best = int(np.argmin(held))
        best_cost = held[best]
        onset = evidence[t]
        begin = still + costs.begin - onset
        change = best_cost + costs.change - onset
        repeat = held + costs.repeat - onset
        entry = np.full(pitches, min(begin, change), dtype=np.float32)
        source = np.full(pitches, SILENCE if begin <= change else best, dtype=np.int16)
        again = repeat < entry
        again[best] = repeat[best] < begin
        if source[best] == best and not again[best]:
            entry[best], source[best] = begin, SILENCE
        entry[again] = repeat[again]
        source[again] = np.flatnonzero(again)
        from_attack[t] = source
        into = rising[-1] < held
        arrived[t] = into
        new_held = np.where(into, rising[-1], held) + sustain[t]
        rising[1:] = rising[:-1]
        rising[0] = entry
        rising += attack[t]
        ended = best_cost + costs.end
        if ended < still:
            from_still[t] = best
            still = ended
        still = still + silence[t]
        held = new_held
        least = min(still, held.min())
        still, held = still - least, held - least
        rising -= least
    last = SILENCE if still <= held.min() else int(np.argmin(held))
    return _trace(from_still, from_attack, arrived, chain=chain, last=last)


def _trace(
    from_still: NDArray[np.int16],
    from_attack: NDArray[np.int16],
    arrived: NDArray[np.bool_],
    *,
    chain: int,
    last: int,
) -> tuple[NDArray[np.int16], NDArray[np.bool_]]:
    count = len(from_still)
    path = np.full(count, SILENCE, dtype=np.int16)
    begins = np.zeros(count, dtype=np.bool_)
    state = last
    t = count - 1
    while t >= 0:
        path[t] = state
        if state == SILENCE:
            state = int(from_still[t])
            t -= 1
            continue
        if not arrived[t, state]:
            t -= 1
            continue
        # The sustain began here; the chain of attack frames lies before it.
        first = t - chain
        path[max(first, 0) : t] = state
        if first < 0:
            break
        begins[first] = True
        state = int(from_attack[first, state])
        t = first - 1
    return path, begins
