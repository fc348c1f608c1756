"""Pitch, against equal temperament and against a second tracker on real recorded notes."""

from __future__ import annotations

import numpy as np
import pytest

from fairhearing.core.playing import RATE_HZ, Player, hear_playing
from fairhearing.core.playing.measure import _pitch_in_spectrum
from fairhearing.core.playing.octaves import settle_octaves
from fairhearing.core.playing.pitch import HOP_S, hz_of_midi, midi_of_hz, stretch_for, track_pitch


def tone(hz, seconds=2.0, partials=5, rate=RATE_HZ):
    t = np.arange(round(seconds * rate)) / rate
    wave = sum(np.sin(2 * np.pi * hz * k * t) / k for k in range(1, partials + 1))
    return (0.2 * wave).astype(np.float32)


def test_equal_temperament():
    """ISO 16:1975 (A4 = 440 Hz) and f = 440 · 2^((m − 69)/12)."""
    assert hz_of_midi(69) == 440.0
    assert hz_of_midi(57) == pytest.approx(220.0)
    assert hz_of_midi(60) == pytest.approx(261.6256, abs=1e-4)
    assert midi_of_hz(np.array([440.0, 880.0])) == pytest.approx([69, 81])


@pytest.mark.parametrize(
    ("midi", "lowest", "highest"),
    [(27, 26, 65), (29, 26, 65), (34, 26, 65), (45, 40, 74), (69, 52, 86), (93, 59, 98),
     (98, 74, 108), (105, 74, 108)],
)  # fmt: skip
def test_from_tuba_to_piccolo_in_the_right_semitone(midi, lowest, highest):
    # Partials above the sampled band would fold down into it.
    partials = 5 if midi < 80 else 1 + (midi < 95)
    sound = tone(hz_of_midi(midi + 0.2), partials=partials)
    track = track_pitch(sound, lowest_midi=lowest, highest_midi=highest)
    track = settle_octaves(sound, track, kind="melodic", lowest_midi=lowest, highest_midi=highest)
    inside = slice(round(0.3 / HOP_S), round(1.7 / HOP_S))
    assert np.median(track.midi[inside]) == pytest.approx(midi + 0.2, abs=0.35)
    assert np.mean(track.confidence[inside] > 0.5) > 0.9


@pytest.mark.parametrize("midi", [29, 34, 41, 52, 60, 69, 81, 93, 98])
@pytest.mark.parametrize("deviation", [-30, 0, 12, 40])
def test_the_pitch_of_a_note_within_two_cents(midi, deviation):
    sound = tone(hz_of_midi(midi + deviation / 100), 0.8, partials=1 if midi > 90 else 4)
    for seconds in (0.25, 0.6):
        part = sound[2000 : 2000 + round(seconds * RATE_HZ)]
        found = _pitch_in_spectrum(part, midi + deviation / 100 + 0.15, 5)
        limit = 0.02 if midi > 40 or seconds > 0.5 else 0.05
        assert found == pytest.approx(midi + deviation / 100, abs=limit)


def test_what_is_stretched_for_the_engine():
    assert stretch_for(26, 65) == 0.5  # tuba
    assert stretch_for(40, 74) == 1.0  # trombone
    assert stretch_for(59, 98) == 1.25  # flute
    assert stretch_for(74, 108) == 2.0  # piccolo


def test_frames_stand_at_their_time():
    quiet = np.zeros(RATE_HZ, dtype=np.float32)
    sound = np.concatenate([quiet, tone(440.0, 1.0), quiet])
    track = track_pitch(sound, lowest_midi=52, highest_midi=86)
    assert len(track.midi) == len(sound) // 128 + 1
    voiced = np.flatnonzero(track.confidence > 0.5) * HOP_S
    assert voiced[0] == pytest.approx(1.0, abs=0.05)
    assert voiced[-1] == pytest.approx(2.0, abs=0.05)


def test_long_takes_are_joined_without_a_seam():
    sound = np.concatenate([tone(hz_of_midi(60 + k % 12), 1.0) for k in range(125)])
    track = track_pitch(sound, lowest_midi=52, highest_midi=86)
    middles = np.round((np.arange(125) + 0.5) / HOP_S).astype(int)
    assert np.max(np.abs(track.midi[middles] - (60 + np.arange(125) % 12))) < 0.2


def test_agrees_with_pyin_on_a_recorded_trumpet(recorded):
    """librosa.pyin (Mauch & Dixon, ICASSP 2014) on notes that nobody here made."""
    librosa = pytest.importorskip("librosa")
    bank = recorded("trumpet")
    for midi in (60, 70, 77):
        note = bank.notes[midi][: 2 * RATE_HZ]
        ours = track_pitch(note, lowest_midi=52, highest_midi=86)
        theirs, voiced, _ = librosa.pyin(note, sr=RATE_HZ, fmin=150, fmax=1200, hop_length=512)
        own = np.median(ours.midi[ours.confidence > 0.8])
        assert own == pytest.approx(np.median(librosa.hz_to_midi(theirs[voiced])), abs=0.1)


def test_a_sharp_take_is_measured_in_cents():
    pitches = [60, 62, 64, 65, 67, 69, 71, 72]
    gap = np.zeros(round(0.1 * RATE_HZ), dtype=np.float32)
    sound = np.concatenate(
        [part for p in pitches for part in (tone(hz_of_midi(p + 0.25), 0.6), gap)]
    )
    playing = hear_playing(sound, player=Player(52, 86))
    assert [n.midi for n in playing.notes] == pitches
    assert playing.tuning.cents == pytest.approx(25, abs=3)
    assert playing.tuning.reference_hz == pytest.approx(440 * 2 ** (25 / 1200), abs=0.8)
    assert all(n.cents == pytest.approx(25, abs=5) for n in playing.notes)


def test_short_notes_have_no_cents():
    gap = np.zeros(round(0.05 * RATE_HZ), dtype=np.float32)
    sound = np.concatenate(
        [part for p in (60, 64, 67, 72) * 3 for part in (tone(hz_of_midi(p), 0.15), gap)]
    )
    playing = hear_playing(sound, player=Player(52, 86))
    assert len(playing.notes) >= 10
    assert all(n.cents is None for n in playing.notes)
    assert playing.tuning.reference_hz is None
    assert "long and steady enough" in playing.tuning.reason
