"""The bundled font sounds in tune, on time and even; heard by tools that nobody here wrote."""

from __future__ import annotations

import numpy as np
import pytest

from fairhearing.core.packet import instruments
from fairhearing.core.packet.sound import DRUMS, FONT, PROGRAMS, NoteEvent, render

RATE = 16_000


def alone(keys, program, *, length=0.7, spacing=1.0, **options):
    notes = [NoteEvent(0.2 + i * spacing, length, key) for i, key in enumerate(keys)]
    return render(notes, program, RATE, **options), notes


@pytest.mark.parametrize("name", ["flute", "oboe", "clarinet", "alto-saxophone", "trumpet", "horn",
                                  "trombone", "euphonium", "bassoon"])  # fmt: skip
def test_winds_are_in_tune(name):
    """A4 = 440 Hz (ISO 16:1975); peer: librosa.yin (ISC)."""
    librosa = pytest.importorskip("librosa")
    instrument = instruments.load()[name]
    low, high = (n + instrument.sounding_minus_written for n in instrument.ranges["intermediate"])
    sound, notes = alone(range(low, high + 1, 3), instrument.midi_program)
    off = []
    for note in notes:
        wanted = 440 * 2 ** ((note.midi - 69) / 12)
        part = sound[int((note.onset_s + 0.1) * RATE) : int((note.onset_s + 0.6) * RATE)]
        pitch = librosa.yin(part, fmin=wanted / 1.5, fmax=wanted * 1.5, sr=RATE, frame_length=2048)
        off.append(1200 * np.log2(np.median(pitch) / wanted))
    assert abs(np.median(off)) < 6
    assert np.percentile(np.abs(off), 90) < 20


def test_cents_are_heard():
    """Peer: librosa.yin."""
    librosa = pytest.importorskip("librosa")
    bends = (-0.4, -0.1, 0.0, 0.25, 0.45)
    notes = [NoteEvent(0.2 + i, 0.7, 72 + bend) for i, bend in enumerate(bends)]
    sound = render(notes, 71, RATE)
    heard = []
    for note in notes:
        part = sound[int((note.onset_s + 0.1) * RATE) : int((note.onset_s + 0.6) * RATE)]
        pitch = np.median(librosa.yin(part, fmin=300, fmax=900, sr=RATE))
        heard.append(69 + 12 * np.log2(pitch / 440) - 72)
    assert np.array(heard) - heard[2] == pytest.approx(bends, abs=0.03)


@pytest.mark.parametrize("program", [0, 13, 56, 60, 65, 71, 73])
def test_notes_are_heard_at_their_onset(program):
    keys = range(72, 84, 2)
    sound, notes = alone(keys, program, length=0.4)
    for note in notes:
        at = int((note.onset_s - 0.1) * RATE)
        part = np.abs(sound[at : at + int(0.4 * RATE)])
        level = np.convolve(part, np.ones(32) / 32, "same")
        heard = np.argmax(level > 0.2 * level.max()) / RATE - 0.1
        assert abs(heard) < 0.012, note


def test_drums_strike_at_once():
    sound = render([NoteEvent(0.5, 0.1, 38), NoteEvent(1.0, 0.1, 76)], DRUMS, RATE)
    for onset in (0.5, 1.0):
        part = np.abs(sound[int((onset - 0.1) * RATE) : int((onset + 0.2) * RATE)])
        assert abs(np.argmax(part > 0.2 * part.max()) / RATE - 0.1) < 0.006


def test_correction_evens_the_piano():
    def spread(**options):
        sound, notes = alone(range(48, 84, 3), 0, **options)
        levels = [
            10 * np.log10(np.mean(sound[int(n.onset_s * RATE) :][: int(0.3 * RATE)] ** 2))
            for n in notes
        ]
        return np.std(levels)

    assert spread() < 0.7 * spread(corrected=False)


def test_louder_is_louder_and_the_length_is_as_asked():
    soft, loud = (
        render([NoteEvent(0.1, 0.5, 60, velocity)], 56, RATE, duration_s=2.0)
        for velocity in (50, 110)
    )
    assert len(soft) == len(loud) == 2 * RATE
    assert soft.dtype == np.float32
    assert np.std(loud) > 2 * np.std(soft)
    assert np.array_equal(loud, render([NoteEvent(0.1, 0.5, 60, 110)], 56, RATE, duration_s=2.0))


def test_nothing_sounds_before_the_first_note():
    sound = render([NoteEvent(1.0, 0.5, 60)], 60, RATE)
    assert np.max(np.abs(sound[: int(0.9 * RATE)])) < 1e-3
    assert len(render([], 0, RATE, duration_s=0.5)) == RATE // 2


def test_wrong_requests_are_refused():
    with pytest.raises(ValueError, match="no program 5"):
        render([], 5)
    with pytest.raises(ValueError, match="outside MIDI's range"):
        render([NoteEvent(0, 1, 130)], 0)
    with pytest.raises(ValueError, match="outside MIDI's range"):
        render([NoteEvent(0, 1, 60, 0)], 0)


def test_every_program_sounds_and_the_font_is_small():
    assert FONT.stat().st_size < 6.5e6
    for program in PROGRAMS:
        assert np.max(np.abs(render([NoteEvent(0.1, 0.3, 72)], program, RATE))) > 0.003
    wanted = {each.midi_program for each in instruments.load().values()}
    assert wanted - set(PROGRAMS) <= {47}  # timpani strike no note of the font yet
