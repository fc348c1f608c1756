"""Which scales were played: dynamic programming of the notes against every possible scale.

Each pattern is a scale on one tonic, one to three octaves up and back. A path through the notes
either lies outside every scale or at one degree of one pattern; it may replace a note, leave one
out, put a stray one in, go back a few notes to put something right, or begin again. A scale that
is left before it is back on its tonic is not complete. The step patterns are those of any theory
text (major 2-2-1-2-2-2-1; harmonic minor with raised seventh; melodic minor with raised sixth and
seventh on the way up only).
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fairhearing.core.playing.keys import tonic_name
from fairhearing.core.playing.types import Mode, Note, Plan, Scale, Scales

_UP: dict[Mode, tuple[int, ...]] = {
    "major": (0, 2, 4, 5, 7, 9, 11),
    "natural minor": (0, 2, 3, 5, 7, 8, 10),
    "harmonic minor": (0, 2, 3, 5, 7, 8, 11),
    "melodic minor": (0, 2, 3, 5, 7, 9, 11),
}
_DOWN: dict[Mode, tuple[int, ...]] = {**_UP, "melodic minor": _UP["natural minor"]}

MOST_OCTAVES = 3

# Costs in points; one point is a plainly wrong note.
_OUTSIDE = 0.55
_BEGIN = 2.0
_LEAVE_EARLY = 2.0
_WRONG = 1.0
_WRONG_OCTAVE = 0.6
_STRAY = 1.0
_REPEATED = 0.4
_MISSED = 1.0
_BACK = 1.1
_FARTHEST_BACK = 4
_WRONG_FIRST = 1.6

_LEAST_DEGREES = 6
_MOST_WRONG_SHARE = 0.2
_MOST_REPAIRS = 3
_FEW_SLIPS = 4
_MOST_SLIPS_SHARE = 0.4

_ADVANCE, _SKIP, _STAY, _ANEW, _FROM_OUTSIDE = 0, 1, 2, 3, 4
_BACK_BY = 4  # codes 5…8: back by one to four degrees


@dataclass(frozen=True, slots=True)
class Pattern:
    """A scale that might be played: its lowest tonic and its notes (sounding MIDI numbers)."""

    tonic_midi: int
    mode: Mode
    octaves: int
    notes: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Found:
    """A pattern laid over notes: position in the take and degree in the pattern, pairwise."""

    pattern: Pattern
    steps: tuple[tuple[int, int, int], ...]
    """(position of the note, degree, code of the move that led there)"""

    def own_notes(self, notes: Sequence[Note]) -> list[int]:
        """Return the positions of the notes that are the scale's own, strays left out."""
        return [
            i
            for i, degree, code in self.steps
            if code != _STAY and notes[i].midi == self.pattern.notes[degree]
        ]


def scale_notes(tonic_midi: int, mode: Mode, octaves: int) -> tuple[int, ...]:
    """Return the notes of a scale, up and back down, as MIDI numbers."""
    up = [tonic_midi + 12 * octave + step for octave in range(octaves) for step in _UP[mode]]
    down = [tonic_midi + 12 * octave + step for octave in range(octaves) for step in _DOWN[mode]]
    return (*up, tonic_midi + 12 * octaves, *reversed(down))


def patterns(midi: NDArray[np.int64], modes: Iterable[Mode]) -> list[Pattern]:
    """Return every scale that could lie within the notes heard, with a little to spare."""
    if not len(midi):
        return []
    lowest, highest = int(midi.min()), int(midi.max())
    return [
        Pattern(tonic, mode, octaves, scale_notes(tonic, mode, octaves))
        for mode in modes
        for octaves in range(1, MOST_OCTAVES + 1)
        for tonic in range(lowest, max(lowest, highest - 12 * octaves + 2) + 1)
    ]


def lay_scales(midi: NDArray[np.int64], modes: Iterable[Mode]) -> list[Found]:
    """Return the scales on the cheapest path through the notes.

    Parameters
    ----------
    midi : ndarray of int, shape (n,)
        Sounding pitches in order of time.
    modes : iterable of str
    """
    candidates = patterns(midi, modes)
    if not candidates:
        return []
    longest = max(len(pattern.notes) for pattern in candidates)
    table = np.full((len(candidates), longest), -1000, dtype=np.int32)
    for row, pattern in enumerate(candidates):
        table[row, : len(pattern.notes)] = pattern.notes
    found = _trace(_Lattice(table, [len(p.notes) for p in candidates]), midi, candidates)
    return [one for one in found if _is_scale(one, midi)]


def _is_scale(found: Found, midi: NDArray[np.int64]) -> bool:
    """Say whether a path is a scale and not a melody that wanders up and down one."""
    codes = [code for _, _, code in found.steps]
    repairs = sum(code == _ANEW or code > _BACK_BY for code in codes)
    slips = codes.count(_SKIP) + sum(
        midi[i] != found.pattern.notes[degree] for i, degree, _ in found.steps
    )
    reached = max(degree for _, degree, _ in found.steps) + 1
    return repairs <= _MOST_REPAIRS and slips <= max(_FEW_SLIPS, _MOST_SLIPS_SHARE * reached)


class _Lattice:
    """The costs of all patterns and degrees, note after note."""

    def __init__(self, table: NDArray[np.int32], lengths: list[int]) -> None:
        self.table = table
        self.ends = (np.arange(len(lengths)), np.array(lengths) - 1)
        self.cost = np.full(table.shape, np.inf, dtype=np.float32)
        self.outside = 0.0
        self.moves: list[NDArray[np.int8]] = []
        self.anew_from: list[NDArray[np.int16]] = []
        self.left: list[tuple[int, int] | None] = []
        degrees = np.arange(table.shape[1])
        self.after_top = np.where(degrees > self.ends[1][:, None] // 2, np.inf, 0)
        self.may_leave = np.where(degrees >= _LEAST_DEGREES - 1, _LEAVE_EARLY, np.inf)

    def add(self, note: int) -> None:
        """Take one more note."""
        cost, table = self.cost, self.table
        self._leave()
        away = note - table
        right = away == 0
        emit = np.where(right, 0.0, np.where(away % 12 == 0, _WRONG_OCTAVE, _WRONG))
        best = np.full(table.shape, np.inf, dtype=np.float32)
        move = np.zeros(table.shape, dtype=np.int8)
        best[:, 1:] = cost[:, :-1] + emit[:, 1:]
        skip = cost[:, :-2] + _MISSED + emit[:, 2:]
        _better(best[:, 2:], move[:, 2:], skip, _SKIP)
        _better(best, move, cost + np.where(right, _REPEATED, _STRAY), _STAY)
        for back in range(1, _FARTHEST_BACK + 1):
            again = np.where(right[:, :-back], cost[:, back:] + _BACK, np.inf)
            _better(best[:, :-back], move[:, :-back], again, _BACK_BY + back)
        # Who begins again after the top plays the scale a second time.
        unfinished = cost + self.after_top
        source = np.argmin(unfinished, axis=1)
        anew = unfinished[np.arange(len(cost)), source] + _BACK + np.where(right[:, 0], 0, np.inf)
        _better(best[:, 0], move[:, 0], anew, _ANEW)
        begin = self.outside + _BEGIN + np.where(right[:, 0], 0, _WRONG_FIRST)
        _better(best[:, 0], move[:, 0], begin, _FROM_OUTSIDE)
        best[table < 0] = np.inf
        self.outside += _OUTSIDE
        self.cost = best
        self.moves.append(move)
        self.anew_from.append(source.astype(np.int16))

    def close(self) -> None:
        """Leave every scale after the last note."""
        self._leave()

    def _leave(self) -> None:
        """Let the path step outside between two notes: from a last degree, or early."""
        self.left.append(None)
        early = self.cost + self.may_leave
        early[self.ends] = self.cost[self.ends]
        flat = int(np.argmin(early))
        row, degree = divmod(flat, early.shape[1])
        if early[row, degree] < self.outside:
            self.outside = float(early[row, degree])
            self.left[-1] = (row, degree)


def _better(
    best: NDArray[np.float32],
    move: NDArray[np.int8],
    candidate: NDArray[np.floating[Any]],
    code: int,
) -> None:
    mask = candidate < best
    best[mask] = candidate[mask]
    move[mask] = code


def _trace(lattice: _Lattice, midi: NDArray[np.int64], candidates: list[Pattern]) -> list[Found]:
    for note in midi:
        lattice.add(int(note))
    lattice.close()
    found: list[Found] = []
    steps: list[tuple[int, int, int]] = []
    state: tuple[int, int] | None = None
    for position in range(len(midi), -1, -1):
        # ``position`` counts the gaps: gap p lies before note p.
        if state is None:
            state = lattice.left[position]
        if position == 0:
            break
        if state is None:
            continue
        row, degree = state
        code = int(lattice.moves[position - 1][row, degree])
        steps.append((position - 1, degree, code))
        if code == _FROM_OUTSIDE:
            found.append(Found(candidates[row], tuple(reversed(steps))))
            steps, state = [], None
        elif code == _ADVANCE:
            state = (row, degree - 1)
        elif code == _SKIP:
            state = (row, degree - 2)
        elif code == _ANEW:
            state = (row, int(lattice.anew_from[position - 1][row]))
        elif code > _BACK_BY:
            state = (row, degree + code - _BACK_BY)
    return found[::-1]


def describe_scales(
    notes: Sequence[Note],
    found: Sequence[Found],
    *,
    plan: Plan,
    sounding_minus_written: int,
    window_start_s: float | None,
) -> Scales:
    """Name the scales, count their notes and hold them against the time limit.

    Parameters
    ----------
    notes : sequence of Note
        The notes that `found` counts in.
    found : sequence of Found
    plan : Plan
    sounding_minus_written : int
        Semitones from written to sounding.
    window_start_s : float or None
        The first note of the scales; None when there is none.
    """
    if window_start_s is None:
        return Scales(None, None, (), "no scale was heard")
    window_end_s = window_start_s + plan.scales_limit_s
    played = tuple(
        _describe(notes, one, plan, sounding_minus_written, window_end_s) for one in found
    )
    return Scales(window_start_s, window_end_s, played)


def _describe(
    notes: Sequence[Note], found: Found, plan: Plan, sounding_minus_written: int, bell_s: float
) -> Scale:
    pattern = found.pattern
    expected = pattern.notes
    missed = sum(code == _SKIP for _, _, code in found.steps)
    stray = sum(
        code == _STAY and notes[i].midi != expected[degree] for i, degree, code in found.steps
    )
    repairs = sum(code == _ANEW or code > _BACK_BY for _, _, code in found.steps)
    # What was put right is no longer wrong: the last try at each degree counts.
    last_try = {degree: i for i, degree, code in found.steps if code != _STAY}
    wrong = sum(notes[i].midi != expected[degree] for degree, i in last_try.items())
    start_s = notes[found.steps[0][0]].onset_s
    end_s = notes[found.steps[-1][0]].offset_s
    back_home = max(degree for _, degree, _ in found.steps) == len(expected) - 1
    written = pattern.tonic_midi - sounding_minus_written
    asked = plan.tonics_written is None or written % 12 in {t % 12 for t in plan.tonics_written}
    return Scale(
        tonic=tonic_name(written, pattern.mode),
        tonic_concert=tonic_name(pattern.tonic_midi, pattern.mode),
        tonic_midi=pattern.tonic_midi,
        mode=pattern.mode,
        octaves=pattern.octaves,
        start_s=start_s,
        end_s=end_s,
        complete=back_home and wrong + missed <= _MOST_WRONG_SHARE * len(expected),
        in_window=end_s <= bell_s,
        at_the_bell=start_s < bell_s < end_s,
        asked_for=asked,
        wrong_notes=wrong,
        missed_notes=missed,
        stray_notes=stray,
        repairs=repairs,
        first_note=found.steps[0][0],
        last_note=found.steps[-1][0],
    )
