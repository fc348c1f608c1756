"""The chromatic scale from notes."""

from __future__ import annotations

import pytest

from fairhearing.core.playing import Note
from fairhearing.core.playing.chromatic import describe_chromatic, find_chromatic
from fairhearing.core.playing.scales import scale_notes


def notes_of(pitches):
    return [Note(0.3 * i, 0.3 * i + 0.28, p, None, None, 0.9) for i, p in enumerate(pitches)]


def heard(pitches):
    notes = notes_of(pitches)
    run = find_chromatic(notes)
    return None if run is None else describe_chromatic(notes, run)


UP = list(range(52, 77))
DOWN = list(range(75, 51, -1))


def test_up_and_down():
    found = heard(UP + DOWN)
    assert (found.lowest_midi, found.highest_midi) == (52, 76)
    assert found.complete_up and found.complete_down and found.missing_midi == ()
    assert found.start_s == 0.0
    assert found.end_s == pytest.approx(0.3 * 48 + 0.28)


def test_up_only_is_not_complete_down():
    found = heard(UP)
    assert found.complete_up and not found.complete_down


def test_a_semitone_left_out_is_named():
    found = heard([p for p in UP if p != 60] + DOWN)
    assert found.missing_midi == (60,)
    assert not found.complete_up and found.complete_down


def test_repeated_stray_and_repaired_notes_do_not_break_it():
    played = [*UP[:6], UP[5], *UP[6:12], 40, *UP[12:18], UP[16], UP[17], *UP[18:], 76, *DOWN]
    found = heard(played)
    assert (found.lowest_midi, found.highest_midi) == (52, 76)
    assert found.complete_up and found.complete_down


def test_neither_scales_nor_few_notes_are_chromatic():
    assert heard([p for t in (60, 65, 58) for p in scale_notes(t, "major", 2)]) is None
    assert heard([60, 61, 62, 63]) is None
    assert heard([]) is None


def test_the_scale_before_and_after_do_not_belong_to_it():
    scale = list(scale_notes(52, "major", 1))
    notes = notes_of(UP + DOWN + scale)
    run = find_chromatic(notes)
    assert (run.first, run.last) == (0, 48)


def test_it_does_not_go_on_across_speech():
    notes = notes_of(UP + DOWN + [52] + UP)
    begin = notes[49].onset_s
    moved = [
        n if n.onset_s < begin else Note(n.onset_s + 3, n.offset_s + 3, n.midi, None, None, 0.9)
        for n in notes
    ]
    run = find_chromatic(moved, [(begin + 0.3, begin + 2.5)])
    assert run.last == 48
