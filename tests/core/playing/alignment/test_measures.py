"""Pulse, levels, tendency and drum strokes, each against something outside the project."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from fairhearing.core.playing.alignment import (
    Outcome,
    align,
    note_levels_db,
    pitch_tendency,
    strokes_as_notes,
)
from fairhearing.core.playing.alignment.tempo import fit_pulse
from fairhearing.core.playing.types import Roll, Stroke


def test_pulse_agrees_with_lowess():
    """statsmodels' lowess (Cleveland 1979) on the same smooth, noisy curve."""
    lowess = pytest.importorskip("statsmodels.nonparametric.smoothers_lowess").lowess
    rng = np.random.default_rng(2)
    beat = np.arange(0, 48, 0.5)
    smooth = 0.6 * beat + 0.002 * beat**2
    onset = smooth + rng.normal(0, 0.01, len(beat))
    pulse = fit_pulse(beat, onset)
    ours = onset - pulse.deviation_s
    theirs = lowess(onset, beat, frac=17 / len(beat), it=2, return_sorted=False)
    inside = slice(8, -8)
    assert np.abs(ours - theirs)[inside].max() < 0.008
    assert np.abs(ours - smooth)[inside].max() < 0.02
    slope = 0.6 + 0.004 * beat
    assert pulse.beat_s[inside] == pytest.approx(slope[inside], rel=0.03)


def test_level_of_a_sine_is_its_root_mean_square(make_score, play_exactly):
    """A full-scale sine has −3.01 dB re full scale (1/√2)."""
    rate = 16_000
    time = np.arange(4 * rate) / rate
    loud, soft = np.sin(2 * np.pi * 440 * time), 0.1 * np.sin(2 * np.pi * 440 * time)
    samples = np.where(time < 2, loud, soft).astype(np.float32)
    notes = play_exactly(make_score([60, 62, 64, 65]), bpm=60, start_s=0.0)
    levels = note_levels_db(samples, rate, notes)
    assert levels == pytest.approx([-3.01, -3.01, -23.01, -23.01], abs=0.02)


def test_levels_that_cannot_be_measured_are_none(make_score, play_exactly):
    notes = play_exactly(make_score([60, 62]), bpm=60, start_s=0.0)
    blip = replace(notes[0], offset_s=notes[0].onset_s + 0.04)
    samples = np.zeros(16_000, dtype=np.float32)
    assert note_levels_db(samples, 16_000, [blip, *notes]) == [None, None, None]


def test_tendency_names_only_what_the_scatter_allows(make_score, play_exactly):
    score = make_score([60, 64, 67, 65] * 6)
    heard = play_exactly(score)
    rng = np.random.default_rng(4)
    off = {60: 0.0, 64: 24.0, 67: -22.0, 65: 18.0}
    scatter = {60: 3.0, 64: 3.0, 67: 4.0, 65: 60.0}
    heard = [
        replace(
            n, cents=10.0 + float(np.clip(off[n.midi] + rng.normal(0, scatter[n.midi]), -49, 49))
        )
        for n in heard
    ]
    found = align(score, heard)
    tendencies = {one.midi: one for one in pitch_tendency(score, found.results)}
    assert {midi for midi, one in tendencies.items() if one.sure} == {64, 67}
    assert tendencies[64].cents > 15 > -15 > tendencies[67].cents
    cents = [r.cents_off for r in found.results if score.notes[r.score_index].midi == 64]
    low, high = stats.t.interval(0.95, 5, loc=np.mean(cents), scale=stats.sem(cents))
    assert tendencies[64].interval_cents == pytest.approx((high - low) / 2)


def test_pitch_heard_twice_has_no_tendency(make_score, play_exactly):
    score = make_score([60, 62, 64, 65, 67, 65, 64, 62])
    heard = [replace(n, cents=40.0 if n.midi == 62 else 0.0) for n in play_exactly(score)]
    assert not pitch_tendency(score, align(score, heard).results)


def test_roll_is_one_note_and_swallows_its_strokes(make_score):
    score = make_score([None] * 24, ["1", "1", "1/2", "1/2", "1"])
    beat = 60 / 100
    strokes, rolls = [], []
    for k, note in enumerate(score.notes):
        at = float(note.onset) * beat
        if k == 9:
            rolls.append(Roll(at, at + 0.9 * beat, 14.0))
            strokes += [Stroke(at + 0.07 * i, -9.0, 0.8) for i in range(7)]
        else:
            strokes.append(Stroke(at, -3.0, 0.9))
    notes = list(score.notes)
    notes[9] = replace(notes[9], trill=True)
    score = replace(score, notes=tuple(notes))
    heard = strokes_as_notes(strokes, rolls)
    assert len(heard) == 24
    found = align(score, heard)
    assert found.count(Outcome.RIGHT) == 24
    assert not found.extras


def test_another_rhythm_is_not_taken_for_this_one(make_score, play_exactly):
    score = make_score([None] * 48, ["1", "1/2", "1/2", "1/4", "1/4", "1/2", "1"])
    other = make_score([None] * 40, ["1/4", "3/4", "1", "1/2", "3/2", "1/4", "1/4", "1/2"])
    assert align(score, play_exactly(score)).recognised
    assert not align(score, play_exactly(other)).recognised
