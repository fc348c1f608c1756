"""Times and notes in words."""

from __future__ import annotations

import pytest

from fairhearing.report.words import clock, counted, in_words, note_name, tonic_name


@pytest.mark.parametrize(
    ("seconds", "plain", "tenths"),
    [
        (0, "0:00", "0:00.0"),
        (59.96, "0:59", "1:00.0"),
        (94.04, "1:34", "1:34.0"),
        (600, "10:00", "10:00.0"),
    ],
)
def test_a_time_is_written_as_a_player_shows_it(seconds, plain, tenths):
    assert clock(seconds) == plain
    assert clock(seconds, tenths=True) == tenths


def test_what_was_not_measured_is_no_zero():
    assert clock(None) == "–"


@pytest.mark.parametrize(
    # MIDI Tuning convention: 60 is middle C (C4), 69 is A4.
    ("midi", "name"),
    [(60, "C4"), (69, "A4"), (58, "B♭3"), (66, "F♯4"), (21, "A0"), (59, "B3")],
)
def test_notes_have_the_names_that_a_teacher_says(midi, name):
    assert note_name(midi) == name


def test_the_same_names_as_librosa():
    librosa = pytest.importorskip("librosa")
    for midi in range(21, 109):
        assert note_name(midi, prefer="sharps") == librosa.midi_to_note(midi)


def test_lists_and_counts():
    assert in_words([]) == ""
    assert in_words(["F", "C", "G"]) == "F, C and G"
    assert counted(0, "note") == "no notes"
    assert counted(1, "note") == "1 note"
    assert counted(2, "other pitch", "other pitches") == "2 other pitches"
    assert tonic_name("B-flat") == "B♭"
