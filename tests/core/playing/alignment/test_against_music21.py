"""Scores written, transposed and read by music21 (test-only): the same answers must come out."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest

from fairhearing.core.playing.alignment import Bar, Outcome, Score, ScoreNote, align

music21 = pytest.importorskip("music21", reason="music21 is the outside source of these scores")


def from_music21(part) -> Score:
    """Sounding pitch, bars and ties as music21 has them."""
    sounding = part.toSoundingPitch()
    measures = list(sounding.getElementsByClass("Measure"))
    bars, notes = [], []
    for place, measure in enumerate(measures):
        start = Fraction(measure.offset).limit_denominator(960)
        length = Fraction(measure.duration.quarterLength).limit_denominator(960)
        bars.append(Bar(str(measure.number), start, length))
        for note in measure.recurse().notes:
            onset = start + Fraction(note.getOffsetInHierarchy(measure)).limit_denominator(960)
            tied = note.tie is not None and note.tie.type in ("stop", "continue")
            length = Fraction(note.quarterLength).limit_denominator(960)
            notes.append(ScoreNote(onset, length, note.pitch.midi, place, tied=tied))
    return Score(tuple(notes), tuple(bars))


def chorale(number: str, voice: str = "Soprano"):
    return music21.corpus.parse(f"bach/{number}").parts[voice]


CHORALES = ["bwv66.6", "bwv269", "bwv10.7", "bwv101.7", "bwv102.7"]


@pytest.mark.parametrize("number", CHORALES)
def test_chorale_line_played_exactly(number, play_exactly):
    score = from_music21(chorale(number))
    found = align(score, play_exactly(score, bpm=72))
    struck = sum(not note.tied for note in score.notes)
    assert found.count(Outcome.RIGHT) == struck
    assert not found.restarts
    assert not found.skips
    assert found.tempo_bpm == pytest.approx(72, rel=0.01)


@pytest.mark.parametrize("interval", ["M2", "-M2", "-M6", "P5", "P8", "-P8", "-m7"])
def test_transposed_by_music21(interval, play_exactly):
    part = chorale("bwv269")
    score = from_music21(part)
    transposed = from_music21(part.transpose(interval))
    found = align(score, play_exactly(transposed))
    assert found.shift == music21.interval.Interval(interval).semitones
    assert found.count(Outcome.RIGHT) == sum(not note.tied for note in score.notes)


def test_alto_is_not_taken_for_soprano(play_exactly):
    for number in CHORALES:
        score = from_music21(chorale(number, "Soprano"))
        other = from_music21(chorale(number, "Alto"))
        assert not align(score, play_exactly(other)).recognised


def test_seeded_slips_in_a_chorale_are_found(play_exactly):
    rng = np.random.default_rng(3)
    score = from_music21(chorale("bwv101.7"))
    heard = play_exactly(score, bpm=66)
    changed = sorted(int(k) for k in rng.choice(len(heard) - 1, 4, replace=False))
    for k in changed:
        heard[k] = replace(heard[k], midi=heard[k].midi + int(rng.choice([-1, 1, 2])))
    struck = [k for k, note in enumerate(score.notes) if not note.tied]
    found = align(score, heard)
    wrong = [r.score_index for r in found.results if r.outcome is Outcome.WRONG]
    assert wrong == [struck[k] for k in changed]
