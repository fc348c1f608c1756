"""The chromatic scale: the best run up by semitones, and back down, among the notes of a take.

Dynamic programming over the notes: a step of one semitone is worth a point, a note left out,
repeated, put right or stray costs. A stretch counts only when most of its steps are semitones, so
that a major scale is never taken for one.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from fairhearing.core.playing.types import Chromatic, Note

IntArray = NDArray[np.int64]
FloatArray = NDArray[np.float64]

_LEAST_SEMITONES = 7
_LEAST_SHARE = 0.7
_LOOK_BACK = 4
_STRAY = 0.8
# What a step costs, in points, by its size in the direction of travel.
_STEP = {1: 0.0, 2: 1.1, 3: 1.9, 0: 1.05, -1: 1.3, -2: 1.4, -3: 1.5}
_TURN = 0.3
# Points for each second of silence beyond half a second; what follows a long one is new.
_PAUSE = 1.2
_PAUSE_FREE_S = 0.5


@dataclass(frozen=True, slots=True)
class ChromaticRun:
    """Where the chromatic scale stands in the list of notes.

    ``up`` and ``down`` are positions in the list, in order; the top belongs to both.
    """

    up: tuple[int, ...]
    down: tuple[int, ...]

    @property
    def first(self) -> int:
        """Position of the first note."""
        return self.up[0]

    @property
    def last(self) -> int:
        """Position of the last note."""
        return self.down[-1] if self.down else self.up[-1]


def find_chromatic(
    notes: Sequence[Note], speech: Sequence[tuple[float, float]] = ()
) -> ChromaticRun | None:
    """Return the best chromatic run, or None when there is none.

    Parameters
    ----------
    notes : sequence of Note
        In order of time.
    speech : sequence of (float, float)
        Stretches of speech in seconds; the run does not go on across one.
    """
    if len(notes) <= _LEAST_SEMITONES:
        return None
    midi = np.array([note.midi for note in notes])
    part = np.array([sum(end < note.offset_s for _, end in speech) for note in notes])
    waits = np.array([0.0] + [b.onset_s - a.offset_s for a, b in pairwise(notes)])
    waits = _PAUSE * np.maximum(0, waits - _PAUSE_FREE_S)
    up, up_from = _travel(midi, part, waits, 1, None)
    down, down_from = _travel(midi, part, waits, -1, up)
    end = int(np.argmax(down))
    if up.max() >= down[end]:
        run = ChromaticRun(tuple(_walk(int(np.argmax(up)), up_from)), ())
    else:
        path = _walk(end, down_from)
        top = path[0]
        while up_from[path[0]] >= 0:
            path.insert(0, int(up_from[path[0]]))
        turn = path.index(top)
        run = ChromaticRun(tuple(path[: turn + 1]), tuple(path[turn:]))
    return run if _plausible(midi, run) else None


def _travel(
    midi: IntArray, part: IntArray, waits: FloatArray, direction: int, start: FloatArray | None
) -> tuple[FloatArray, IntArray]:
    """Return the best score of a run that ends at each note, and where it came from (−1: here).

    A run may begin at any note with one point or, going down, with what the run up to it scored.
    """
    score = np.ones(len(midi)) if start is None else start - _TURN
    came_from = np.full(len(midi), -1)
    for i in range(len(midi)):
        for back in range(1, min(_LOOK_BACK, i) + 1):
            j = i - back
            step = direction * int(midi[i] - midi[j])
            if step not in _STEP or part[i] != part[j]:
                continue
            value = score[j] + 1 - _STEP[step] - _STRAY * (back - 1) - waits[j + 1 : i + 1].sum()
            if value > score[i]:
                score[i], came_from[i] = value, j
    return score, came_from


def _walk(end: int, came_from: IntArray) -> list[int]:
    path = [end]
    while came_from[path[-1]] >= 0:
        path.append(int(came_from[path[-1]]))
    return path[::-1]


def _plausible(midi: IntArray, run: ChromaticRun) -> bool:
    good = total = 0
    for part in (run.up, run.down):
        steps = np.abs(np.diff(midi[list(part)]))
        good += int(np.sum(steps == 1))
        total += len(steps)
    heard = midi[list(run.up + run.down)]
    reach = int(heard.max() - heard.min())
    return reach >= _LEAST_SEMITONES and good >= _LEAST_SHARE * total


def describe_chromatic(notes: Sequence[Note], run: ChromaticRun) -> Chromatic:
    """Say how far the scale went, and which semitones were left out on the way up or down."""
    up = {notes[i].midi for i in run.up}
    down = {notes[i].midi for i in run.down}
    lowest, highest = min(up | down), max(up | down)
    every = set(range(lowest, highest + 1))
    return Chromatic(
        lowest_midi=lowest,
        highest_midi=highest,
        missing_midi=tuple(sorted((every - up) | (every - down if run.down else set()))),
        complete_up=every <= up,
        complete_down=every <= down,
        start_s=notes[run.first].onset_s,
        end_s=notes[run.last].offset_s,
    )
