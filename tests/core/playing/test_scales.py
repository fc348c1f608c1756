"""Scales from notes. Keys and scale degrees are held against music21, which is not ours."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fairhearing.core.playing import Note, Plan, Player
from fairhearing.core.playing.keys import tonic_name
from fairhearing.core.playing.reading import read_notes
from fairhearing.core.playing.scales import lay_scales, scale_notes
from fairhearing.core.playing.types import MODES

PLAYER = Player(30, 100)


def notes_of(pitches, start_s=1.0, each_s=0.3, pauses=()):
    """Even notes; ``pauses`` is a dict from position to extra seconds before that note."""
    found, now = [], start_s
    for i, pitch in enumerate(pitches):
        now += dict(pauses).get(i, 0.0)
        found.append(Note(now, now + each_s - 0.03, int(pitch), None, None, 0.9))
        now += each_s
    return found


def scales_of(pitches, plan=None, player=PLAYER, **how):
    return read_notes(notes_of(pitches, **how), (), player=player, plan=plan or Plan()).scales


@pytest.mark.parametrize("mode", MODES)
@pytest.mark.parametrize("tonic", range(12))
def test_degrees_are_those_of_music21(mode, tonic):
    music21 = pytest.importorskip("music21", reason="music21 is not installed")
    kind = {
        "major": music21.scale.MajorScale,
        "natural minor": music21.scale.MinorScale,
        "harmonic minor": music21.scale.HarmonicMinorScale,
        "melodic minor": music21.scale.MelodicMinorScale,
    }[mode]
    low = music21.pitch.Pitch(midi=60 + tonic)
    high = music21.pitch.Pitch(midi=72 + tonic)
    scale = kind(low)
    up = [p.midi for p in scale.getPitches(low, high, music21.scale.Direction.ASCENDING)]
    down = [p.midi for p in scale.getPitches(low, high, music21.scale.Direction.DESCENDING)]
    if down[0] < down[-1]:
        down = down[::-1]
    assert list(scale_notes(60 + tonic, mode, 1)) == up + down[1:]


@pytest.mark.parametrize("tonic", range(12))
def test_names_have_the_simplest_key_signature(tonic):
    music21 = pytest.importorskip("music21", reason="music21 is not installed")
    name = tonic_name(tonic)
    spelled = name.replace("-flat", "-").replace("-sharp", "#")
    assert music21.pitch.Pitch(spelled).pitchClass == tonic
    assert abs(music21.key.Key(spelled).sharps) <= 6


@settings(max_examples=40, deadline=None)
@given(
    tonics=st.lists(st.integers(48, 70), min_size=1, max_size=6),
    octaves=st.integers(1, 2),
    shift=st.integers(-5, 5),
)
def test_every_list_of_scales_is_found_and_moves_with_the_pitch(tonics, octaves, shift):
    pitches = [p for tonic in tonics for p in scale_notes(tonic, "major", octaves)]
    found = lay_scales(np.array(pitches), ["major"])
    assert [(f.pattern.tonic_midi, f.pattern.octaves) for f in found] == [
        (tonic, octaves) for tonic in tonics
    ]
    moved = lay_scales(np.array(pitches) + shift, ["major"])
    assert [f.pattern.tonic_midi - shift for f in moved] == tonics
    assert [f.steps for f in moved] == [f.steps for f in found]


def test_named_as_the_student_reads_and_as_it_sounds():
    # An alto saxophone (sounding 9 below written) reads C and sounds E-flat.
    scales = scales_of(scale_notes(51, "major", 1), player=Player(49, 81, -9))
    assert (scales.played[0].tonic, scales.played[0].tonic_concert) == ("C", "E-flat")


def test_the_scale_in_progress_at_the_bell():
    pitches = [p for tonic in (60, 65, 58, 63) for p in scale_notes(tonic, "major", 1)]
    scales = scales_of(pitches, plan=Plan(scales_limit_s=10.0))
    assert scales.window_start_s == pytest.approx(1.0)
    assert scales.window_end_s == pytest.approx(11.0)
    assert [s.in_window for s in scales.played] == [True, True, False, False]
    assert [s.at_the_bell for s in scales.played] == [False, False, True, False]


def test_wrong_missed_stray_notes_and_repairs_are_counted():
    pitches = list(scale_notes(60, "major", 1))
    wrong = [*pitches[:3], 66, *pitches[4:]]
    missed = pitches[:5] + pitches[6:]
    stray = [*pitches[:5], 61, *pitches[5:]]
    mended = [*pitches[:4], 66, *pitches[2:]]
    assert scales_of(wrong).played[0].wrong_notes == 1
    assert scales_of(missed).played[0].missed_notes == 1
    assert scales_of(stray).played[0].stray_notes == 1
    put_right = scales_of(mended).played[0]
    assert put_right.repairs == 1 and put_right.wrong_notes == 0 and put_right.complete


def test_a_false_start_is_one_scale_with_a_repair():
    pitches = list(scale_notes(60, "major", 1))
    played = scales_of(pitches[:4] + pitches).played
    assert len(played) == 1
    assert played[0].complete and played[0].repairs == 1
    assert played[0].start_s == pytest.approx(1.0)


def test_a_scale_left_at_the_top_is_not_complete():
    played = scales_of(scale_notes(60, "major", 1)[:9]).played
    assert len(played) == 1
    assert not played[0].complete


def test_no_scale_is_found_in_random_notes_or_in_a_chromatic_scale():
    rng = np.random.default_rng(5)
    for _ in range(20):
        wander = 60 + np.cumsum(rng.choice([-3, -2, -1, 1, 2, 3, 5, -5], 120))
        found = scales_of(np.clip(wander, 48, 84)).played
        assert not any(s.complete for s in found)
    assert scales_of([*range(50, 75), *range(73, 49, -1)]).played == ()


@pytest.mark.parametrize("mode", MODES)
def test_minors_are_told_apart(mode):
    played = scales_of(scale_notes(57, mode, 1), plan=Plan(modes=MODES)).played
    assert [(s.mode, s.tonic, s.complete, s.wrong_notes) for s in played] == [(mode, "A", True, 0)]


def test_what_the_plan_asks_for():
    pitches = [p for tonic in (60, 65) for p in scale_notes(tonic, "major", 1)]
    played = scales_of(pitches, plan=Plan(tonics_written=(0,))).played
    assert [s.asked_for for s in played] == [True, False]


def test_a_first_scale_gone_wrong_still_starts_the_time():
    botched = [60, 62, 61, 66, 58, 63, 69, 60]
    scales = scales_of([*botched, *scale_notes(65, "major", 1)])
    assert scales.window_start_s == pytest.approx(1.0)
