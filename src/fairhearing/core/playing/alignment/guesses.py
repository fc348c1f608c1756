"""First guesses for the search: by how many semitones the take may be shifted, and how fast.

A shift is guessed from runs of four notes whose intervals occur both on the page and in the
take: every such pair votes for the distance between them. Rare runs weigh more than the
step-wise ones that every tune has.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Sequence

import numpy as np

from fairhearing.core.playing.alignment.result import HeardNote
from fairhearing.core.playing.alignment.states import NO_PITCH, States

RUN = 4
FURTHEST = 36
"""Semitones; three octaves are further than any wrong transposition goes."""


def likely_shifts(states: States, notes: Sequence[HeardNote], *, most: int = 3) -> list[int]:
    """Semitones by which the take may sound above the page, 0 always first.

    Parameters
    ----------
    states : States
        The score.
    notes : sequence of HeardNote
        The take.
    most : int
        How many to give.
    """
    page = [int(p) for p, grace in zip(states.pitch[:, 0], states.grace, strict=True) if not grace]
    page = [p for p in page if p != NO_PITCH]
    heard = [int(note.midi) for note in notes if note.midi is not None]
    if not page or not heard:
        return [0]
    runs: dict[tuple[int, ...], list[int]] = defaultdict(list)
    for at in range(len(page) - RUN + 1):
        runs[_intervals(page, at)].append(page[at])
    votes: Counter[int] = Counter()
    weight: defaultdict[int, float] = defaultdict(float)
    for at in range(len(heard) - RUN + 1):
        found = runs.get(_intervals(heard, at), [])
        for shift in {heard[at] - pitch for pitch in found}:
            votes[shift] += 1
            weight[shift] += 1.0 / len(found)
    ranked = sorted(
        (shift for shift in votes if abs(shift) <= FURTHEST and shift != 0),
        key=lambda shift: (-weight[shift], abs(shift), shift),
    )
    # A shift that explains far fewer runs than the page as it stands cannot win.
    ranked = [shift for shift in ranked if weight[shift] > 0.7 * weight[0] and votes[shift] > 1]
    # Octaves are the usual shift; try the nearest when a short take gave no clear vote.
    if not votes:
        middle = float(np.median(heard) - np.median(page))
        octave = 12 * round(middle / 12)
        ranked = [octave] if octave else []
    return [0, *ranked][:most]


def _intervals(pitches: list[int], at: int) -> tuple[int, ...]:
    """Give the steps within a run of notes."""
    return tuple(pitches[k + 1] - pitches[k] for k in range(at, at + RUN - 1))


def start_tempi(states: States, notes: Sequence[HeardNote], hint_bpm: float | None) -> list[float]:
    """Start tempi worth trying, in seconds for a quarter note.

    A ladder in steps of a third of an octave covers what can be played; the printed tempo and
    the ratio of median note distances are added.
    """
    ladder = [60.0 / bpm for bpm in (36, 48, 64, 84, 112, 150, 200)]
    if hint_bpm is not None and hint_bpm > 0:
        ladder.append(60.0 / hint_bpm)
    gaps = np.diff(states.beat)
    gaps = gaps[gaps > 0]
    took = np.diff([note.onset_s for note in notes])
    took = took[took > 0.04]
    if len(gaps) and len(took):
        ladder.append(float(np.clip(np.median(took) / np.median(gaps), 0.2, 2.5)))
    return ladder
