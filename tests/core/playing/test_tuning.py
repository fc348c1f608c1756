"""Tuning: only what may honestly be said."""

from __future__ import annotations

import numpy as np
import pytest

from fairhearing.core.playing import Note
from fairhearing.core.playing.tuning import centre_of_frames, measure_tuning


def note(midi, cents):
    return Note(0.0, 0.5, midi, cents, 3.0, 0.9)


def test_reference_is_that_of_equal_temperament():
    """ISO 16: A4 = 440 Hz; 100 · log2(442/440) · 12 = 7.85 cents."""
    tuning = measure_tuning([note(60 + k, 7.85) for k in range(6)])
    assert tuning.reference_hz == pytest.approx(442.0, abs=0.01)
    assert tuning.cents == pytest.approx(7.85) and tuning.spread_cents == 0.0


def test_the_pitch_that_is_played_sharp():
    notes = [note(60 + k % 8, 0.0) for k in range(32)] + [note(69, 20.0), note(69, 24.0)]
    tuning = measure_tuning(notes)
    tendency = {t.midi: t for t in tuning.by_pitch}
    assert tendency[69].cents == pytest.approx(22.0) and tendency[69].notes == 2
    assert tendency[60].cents == 0.0


def test_one_note_of_a_pitch_is_no_tendency():
    tuning = measure_tuning([note(60 + k, 0.0) for k in range(8)])
    assert tuning.by_pitch == ()


def test_wavering_notes_do_not_count():
    steady = [note(60 + k, 5.0) for k in range(6)]
    wavering = [Note(0.0, 0.5, 50, -60.0, 45.0, 0.9) for _ in range(20)]
    assert measure_tuning(steady + wavering).cents == pytest.approx(5.0)
    assert measure_tuning(wavering).cents is None


def test_too_few_notes_are_said():
    tuning = measure_tuning([note(60, 0.0), note(62, None), note(64, None)])
    assert tuning.reference_hz is None and tuning.cents is None and tuning.spread_cents is None
    assert "only 1 notes" in tuning.reason


@pytest.mark.parametrize("offset", [-0.45, -0.2, 0.0, 0.3, 0.49])
def test_centre_of_frames_goes_round(offset):
    rng = np.random.default_rng(1)
    midi = rng.integers(50, 80, 500) + offset + rng.normal(0, 0.05, 500)
    assert centre_of_frames(midi, np.ones(500)) == pytest.approx(offset, abs=0.02)


def test_no_frames_no_offset():
    assert centre_of_frames(np.array([]), np.array([])) == 0.0
