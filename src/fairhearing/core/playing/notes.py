"""From frames to notes: a hidden Markov model of silence, and an attack and sustain per pitch.

Each semitone has a chain of attack frames followed by a sustain state. During the attack the
measured pitch may still be that of the note before (reverberation holds it for 30–60 ms), so the
chain is tolerant; it also sets the shortest possible note. A new note costs less where the sound
says that something begins. Notes are never ended by voicing alone, because in a reverberant room
up to half of the frames between notes are called voiced.

The best path is found by dynamic programming (Viterbi 1967); costs are in nats.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

SILENCE = -1
_BLOCK_FRAMES = 4096
_ONSET_WITHIN_DB = 20.0
_HEIGHT_FRAMES = 30
_LATEST_FRAMES = 12


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


def settle_onsets(spans: Sequence[Span], level_db: NDArray[np.floating]) -> list[Span]:
    """Return the notes beginning where they come within 20 dB of their height, not before.

    Parameters
    ----------
    spans : sequence of Span
    level_db : ndarray of float, shape (n,)
        Level of each frame.
    """
    settled = []
    for span in spans:
        height = float(level_db[span.first : min(span.end, span.first + _HEIGHT_FRAMES)].max())
        first = span.first
        latest = min(span.end - 5, first + _LATEST_FRAMES)
        while first < latest and level_db[first] < height - _ONSET_WITHIN_DB:
            first += 1
        settled.append(Span(first, span.end, span.midi))
    return settled


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
) -> tuple[NDArray[np.int8], NDArray[np.bool_]]:
    """Return the pitch of each frame (or silence), and where a note begins."""
    count, pitches = len(frames.midi), highest - lowest + 1
    search = _Search(count, pitches, costs)
    for first in range(0, count, _BLOCK_FRAMES):
        part = slice(first, first + _BLOCK_FRAMES)
        block = Frames(
            frames.midi[part], frames.confidence[part], frames.begins[part], frames.sounds[part]
        )
        sustain, attack, silence = _emissions(block, lowest, highest, costs)
        evidence = (costs.beginning * np.clip(block.begins, -6, 6)).astype(np.float32)
        for k in range(len(block.midi)):
            search.step(first + k, sustain[k], attack[k], silence[k], evidence[k])
    return search.trace()


class _Search:
    """The cost of every state, frame after frame, and how the cheapest path came to it."""

    def __init__(self, count: int, pitches: int, costs: NoteCosts) -> None:
        self.costs = costs
        self.still = np.float32(0)
        self.held = np.full(pitches, np.inf, dtype=np.float32)
        self.rising = np.full((costs.attack_frames, pitches), np.inf, dtype=np.float32)
        # Back pointers: into silence (from which pitch, or silence), an attack, a sustain.
        self.from_still = np.full(count, SILENCE, dtype=np.int8)
        self.from_attack = np.full((count, pitches), SILENCE, dtype=np.int8)
        self.arrived = np.zeros((count, pitches), dtype=np.bool_)

    def step(
        self,
        t: int,
        sustain: NDArray[np.float32],
        attack: NDArray[np.float32],
        silence: np.float32,
        onset: np.float32,
    ) -> None:
        """Take frame `t`."""
        held, rising = self.held, self.rising
        best = int(held.argmin())
        entry, source = self._enter(best, onset)
        self.from_attack[t] = source
        into = rising[-1] < held
        self.arrived[t] = into
        ended = held[best] + self.costs.end
        if ended < self.still:
            self.from_still[t] = best
            self.still = ended
        still = self.still + silence
        held = np.where(into, rising[-1], held) + sustain
        rising[1:] = rising[:-1]
        rising[0] = entry
        rising += attack
        least = min(still, held.min())
        rising -= least
        self.still, self.held = still - least, held - least

    def _enter(self, best: int, onset: np.float32) -> tuple[NDArray[np.float32], NDArray[np.int8]]:
        """Return the cost of beginning each pitch now, and from where (pitch or silence)."""
        costs, held = self.costs, self.held
        begin = self.still + costs.begin - onset
        change = held[best] + costs.change - onset
        repeat = held + costs.repeat - onset
        entry = np.full(len(held), min(begin, change), dtype=np.float32)
        source = np.full(len(held), SILENCE if begin <= change else best, dtype=np.int8)
        again = repeat < entry
        again[best] = repeat[best] < begin
        if source[best] == best and not again[best]:
            entry[best], source[best] = begin, SILENCE
        entry[again] = repeat[again]
        source[again] = again.nonzero()[0]
        return entry, source

    def trace(self) -> tuple[NDArray[np.int8], NDArray[np.bool_]]:
        """Walk back along the cheapest path."""
        last = SILENCE if self.still <= self.held.min() else int(np.argmin(self.held))
        return _trace(
            self.from_still,
            self.from_attack,
            self.arrived,
            chain=self.costs.attack_frames,
            last=last,
        )


def _trace(
    from_still: NDArray[np.int8],
    from_attack: NDArray[np.int8],
    arrived: NDArray[np.bool_],
    *,
    chain: int,
    last: int,
) -> tuple[NDArray[np.int8], NDArray[np.bool_]]:
    count = len(from_still)
    path = np.full(count, SILENCE, dtype=np.int8)
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
