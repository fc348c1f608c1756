"""Small scores and takes, written out by hand or by rule."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

import pytest

from fairhearing.core.playing.alignment import Bar, Score, ScoreNote, Turn


@dataclass(frozen=True, slots=True)
class Heard:
    """A heard note as exact as a keyboard gives it."""

    onset_s: float
    offset_s: float
    midi: int | None
    cents: float | None = 0.0
    confidence: float = 0.95


def score_of(
    pitches: Sequence[int | None],
    lengths: Sequence[str] = ("1",),
    *,
    beats: int = 4,
    turns: tuple[Turn, ...] = (),
    pickup: str = "0",
) -> Score:
    """One voice in bars of ``beats`` quarters; a length may repeat; pitch 0 is a rest."""
    first = Fraction(pickup)
    onset = Fraction(0)
    notes = []
    for k, pitch in enumerate(pitches):
        length = Fraction(lengths[k % len(lengths)])
        bar = 0 if onset < first else int((onset - first) // beats) + (1 if first else 0)
        if pitch != 0:
            notes.append(ScoreNote(onset, length, pitch, bar))
        onset += length
    bars = [Bar("0", Fraction(0), first)] if first else []
    at, number = first, 1
    while at < onset:
        bars.append(Bar(str(number), at, Fraction(beats)))
        at, number = at + beats, number + 1
    return Score(tuple(notes), tuple(bars), turns)


def perform(score: Score, *, bpm: float = 96.0, start_s: float = 0.5) -> list[Heard]:
    """Play the page exactly, ties held, at one tempo."""
    beat = 60.0 / bpm
    heard: list[Heard] = []
    for note in score.notes:
        onset = start_s + float(note.onset) * beat
        offset = onset + 0.9 * max(float(note.duration), 0.1) * beat
        if note.tied:
            heard[-1] = replace(heard[-1], offset_s=offset)
        elif note.grace:
            heard.append(Heard(onset - 0.08, onset - 0.01, note.midi))
        else:
            heard.append(Heard(onset, offset, note.midi))
    return heard


def later(notes: Sequence[Heard], seconds: float) -> list[Heard]:
    """The same notes at another time."""
    return [replace(n, onset_s=n.onset_s + seconds, offset_s=n.offset_s + seconds) for n in notes]


TUNE = [60, 62, 64, 65, 67, 65, 64, 62, 60, 64, 67, 72, 71, 69, 67, 65]
TUNE += [64, 67, 62, 65, 60, 59, 60, 64, 67, 67, 69, 71, 72, 67, 64, 60]


@pytest.fixture
def make_score() -> Callable[..., Score]:
    return score_of


@pytest.fixture
def play_exactly() -> Callable[..., list[Heard]]:
    return perform


@pytest.fixture
def moved() -> Callable[[Sequence[Heard], float], list[Heard]]:
    return later


@pytest.fixture
def tune() -> Score:
    """Eight bars of quarters in C major, no bar like another."""
    return score_of(TUNE)
