"""The score as the search sees it: one state for each thing that is struck.

Notes tied on are folded into the note that they prolong; notes of a chord become one state that
accepts any of its pitches (the hearing knows one pitch at a time).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fairhearing.core.playing.alignment.score import Score

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Flags = NDArray[np.bool_]

NO_PITCH = -1


@dataclass(frozen=True, slots=True)
class States:
    """Everything struck, in order; all arrays have shape (n,) unless said.

    Attributes
    ----------
    members : tuple of tuple of int
        The score notes of each state (one, or several for a chord).
    beat, length : ndarray of float
        Onset and sounding length in beats, ties included.
    pitch : ndarray of int, shape (n, chord)
        Sounding MIDI numbers, ``NO_PITCH`` for a stroke or an empty place.
    bar : ndarray of int
        Place of the bar.
    grace, trill, opens_bar, same_as_before : ndarray of bool
        Grace note; trill or roll; first struck note of its bar; same pitch as the state before.
    rest_before : ndarray of float
        Beats of silence on the page in front of it.
    turn_from, turn_to, turn_index, turn_left_out : ndarray of int, shape (edges,)
        From which state to which state a repeat, ending and so on may lead, which turn of the
        score that is, and how many notes are left out on the way.
    turn_shift : ndarray of float, shape (edges,)
        What to add to the beat of the source.
    """

    members: tuple[tuple[int, ...], ...]
    beat: Floats
    length: Floats
    pitch: Ints
    bar: Ints
    grace: Flags
    trill: Flags
    opens_bar: Flags
    same_as_before: Flags
    rest_before: Floats
    turn_from: Ints
    turn_to: Ints
    turn_shift: Floats
    turn_left_out: Ints
    turn_index: Ints

    def __len__(self) -> int:
        return len(self.members)

    def of_note(self, score_index: int) -> int:
        """Give the state of a struck score note."""
        return next(s for s, group in enumerate(self.members) if score_index in group)

    @property
    def unpitched(self) -> bool:
        """True when no state has a pitch."""
        return bool((self.pitch == NO_PITCH).all())


def build_states(score: Score) -> States:
    """Fold ties and chords of a score into states."""
    members: list[list[int]] = []
    ends: list[float] = []
    for index, note in enumerate(score.notes):
        end = float(note.onset + note.duration)
        if note.tied and members:
            ends[-1] = max(ends[-1], end)
            continue
        first = score.notes[members[-1][0]] if members else None
        if first is not None and first.onset == note.onset and first.grace == note.grace is False:
            members[-1].append(index)
            ends[-1] = max(ends[-1], end)
        else:
            members.append([index])
            ends.append(end)
    heads = [score.notes[group[0]] for group in members]
    beat = np.array([float(note.onset) for note in heads])
    bar = np.array([note.bar for note in heads], dtype=np.int64)
    pitch = _pitches(score, members)
    edges = _turn_edges(score, beat)
    end_before = np.concatenate([[0.0], np.maximum.accumulate(ends)[:-1]]) if heads else beat
    opens = np.ones(len(heads), dtype=np.bool_)
    opens[1:] = bar[1:] != bar[:-1]
    same = np.zeros(len(heads), dtype=np.bool_)
    same[1:] = (pitch[1:] == pitch[:-1]).all(axis=1) & (pitch[1:, 0] != NO_PITCH)
    return States(
        members=tuple(tuple(group) for group in members),
        beat=beat,
        length=np.array(ends) - beat,
        pitch=pitch,
        bar=bar,
        grace=np.array([note.grace for note in heads], dtype=np.bool_),
        trill=np.array([note.trill for note in heads], dtype=np.bool_),
        opens_bar=opens,
        same_as_before=same,
        rest_before=np.maximum(0.0, beat - end_before),
        turn_from=edges[:, 0].astype(np.int64),
        turn_to=edges[:, 1].astype(np.int64),
        turn_shift=edges[:, 2],
        turn_left_out=edges[:, 3].astype(np.int64),
        turn_index=edges[:, 4].astype(np.int64),
    )


def _pitches(score: Score, members: list[list[int]]) -> Ints:
    """Give the pitches of each state, padded, shape (n, chord)."""
    width = max((len(group) for group in members), default=1)
    pitch = np.full((len(members), width), NO_PITCH, dtype=np.int64)
    for row, group in enumerate(members):
        for column, index in enumerate(group):
            midi = score.notes[index].midi
            pitch[row, column] = NO_PITCH if midi is None else midi
    return pitch


def _turn_edges(score: Score, beat: Floats) -> Floats:
    """Turns as edges between states; up to two notes may be missed on either side.

    Rows of (from state, to state, beats to add, notes left out, turn), shape (edges, 5).
    """
    rows: list[tuple[int, int, float, int, int]] = []
    for index, turn in enumerate(score.turns):
        leave = float(score.bars[turn.after].start + score.bars[turn.after].length)
        enter = float(score.bars[turn.to].start)
        last = int(np.searchsorted(beat, leave, side="left")) - 1
        first = int(np.searchsorted(beat, enter, side="left"))
        rows.extend(
            (last - back, first + ahead, enter - leave, back + ahead, index)
            for back in range(3)
            for ahead in range(3)
            if last - back >= 0 and first + ahead < len(beat)
        )
    return np.array(rows, dtype=np.float64).reshape(-1, 5)
