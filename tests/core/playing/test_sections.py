"""Sections from notes and speech, by content and by the plan's order."""

from __future__ import annotations

from fairhearing.core.playing import Note, Plan, Player
from fairhearing.core.playing.reading import read_notes
from fairhearing.core.playing.scales import scale_notes

PLAYER = Player(40, 90)
CHROMATIC = [*range(52, 73), *range(71, 51, -1)]
SCALES = [p for t in (55, 60, 53) for p in scale_notes(t, "major", 1)]
TUNE = [60, 64, 67, 65, 62, 59, 60, 67, 72, 71, 67, 69, 64, 65, 62, 60] * 2


def take(*parts, pause_s=3.0, announce=True):
    """Return notes and speech: before each part 1.5 s of speech (or only the pause)."""
    notes, speech, now = [], [(0.5, 4.0)], 4.0
    for pitches in parts:
        if announce:
            speech.append((now + 0.8, now + 2.3))
        now += pause_s
        for pitch in pitches:
            notes.append(Note(now, now + 0.25, pitch, None, None, 0.9))
            now += 0.28
    return notes, speech


def kinds(notes, speech, plan=None):
    return [s.kind for s in read_notes(notes, speech, player=PLAYER, plan=plan or Plan()).sections]


def test_the_usual_order():
    assert kinds(*take(CHROMATIC, SCALES, TUNE, TUNE)) == [
        "introduction", "chromatic", "scales", "etude", "honors",
    ]  # fmt: skip


def test_without_honors():
    assert kinds(*take(CHROMATIC, SCALES, TUNE)) == ["introduction", "chromatic", "scales", "etude"]


def test_nothing_is_announced():
    notes, _ = take(CHROMATIC, SCALES, TUNE, TUNE, announce=False, pause_s=4.0)
    reading = read_notes(notes, (), player=PLAYER, plan=Plan())
    assert [s.kind for s in reading.sections] == ["chromatic", "scales", "etude", "honors"]
    assert not any(s.announced for s in reading.sections)
    # A boundary that only a pause marks is less sure than one that was spoken.
    spoken = read_notes(*take(CHROMATIC, SCALES, TUNE, TUNE), player=PLAYER, plan=Plan())
    assert reading.sections[-1].confidence < spoken.sections[-1].confidence


def test_another_order_of_the_season():
    plan = Plan(order=("introduction", "etude", "chromatic", "scales"))
    assert kinds(*take(TUNE, CHROMATIC, SCALES), plan) == [
        "introduction", "etude", "chromatic", "scales",
    ]  # fmt: skip


def test_a_section_left_out():
    assert kinds(*take(SCALES, TUNE)) == ["introduction", "scales", "etude"]
    assert kinds(*take(CHROMATIC, TUNE)) == ["introduction", "chromatic", "etude"]


def test_a_warm_up_note_is_no_section():
    notes, speech = take([60, 61], CHROMATIC, SCALES, TUNE)
    assert kinds(notes, speech) == ["introduction", "chromatic", "scales", "etude"]


def test_a_scale_inside_the_etude_is_not_a_scale_of_the_scales():
    etude = TUNE + list(scale_notes(60, "major", 1)) + TUNE
    reading = read_notes(*take(CHROMATIC, SCALES, etude), player=PLAYER, plan=Plan())
    assert len(reading.scales.played) == 3
    assert [s.kind for s in reading.sections][-1] == "etude"


def test_sections_do_not_overlap_and_are_in_order():
    reading = read_notes(*take(CHROMATIC, SCALES, TUNE, TUNE), player=PLAYER, plan=Plan())
    edges = [edge for s in reading.sections for edge in (s.start_s, s.end_s)]
    assert edges == sorted(edges)


def test_only_speech():
    reading = read_notes((), [(0.5, 4.0)], player=PLAYER, plan=Plan())
    assert [s.kind for s in reading.sections] == ["introduction"]
    assert read_notes((), (), player=PLAYER, plan=Plan()).sections == ()
