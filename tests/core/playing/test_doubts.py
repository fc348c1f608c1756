"""Bad input: said plainly, never a crash, never an invented list of notes."""

from __future__ import annotations

import numpy as np
import pytest

from fairhearing.core.playing import RATE_HZ, Plan, Player, hear_playing
from fairhearing.core.playing.doubts import other_sound_share

TRUMPET = Player(52, 86, -2)
CLARINET = Player(50, 91, -2)


def about(playing):
    return [remark.about for remark in playing.remarks]


def test_digital_silence():
    playing = hear_playing(np.zeros(10 * RATE_HZ, dtype=np.float32), player=TRUMPET)
    assert about(playing) == ["silence"]
    assert playing.notes == () and playing.sections == () and playing.speech == ()
    assert playing.tuning.reference_hz is None and playing.tuning.reason
    assert playing.scales.window_start_s is None and playing.scales.reason
    assert playing.chromatic is None and playing.chromatic_reason
    assert playing.duration_s == 10.0


def test_an_empty_and_a_very_short_take():
    for length in (0, 1, 100, 700, 5000):
        playing = hear_playing(np.zeros(length, dtype=np.float32))
        assert about(playing) == ["silence"] and playing.notes == ()


def test_room_noise_is_not_playing():
    rng = np.random.default_rng(1)
    noise = rng.normal(0, 0.02, 20 * RATE_HZ).astype(np.float32)
    playing = hear_playing(noise, player=TRUMPET)
    assert about(playing) == ["no playing"]
    assert playing.notes == ()


def test_hum_is_not_playing_of_a_trumpet():
    rng = np.random.default_rng(1)
    t = np.arange(20 * RATE_HZ) / RATE_HZ
    hum = sum(0.05 / k * np.sin(2 * np.pi * 60 * k * t) for k in (1, 2, 3))
    playing = hear_playing((hum + rng.normal(0, 0.005, len(t))).astype(np.float32), player=TRUMPET)
    assert len(playing.notes) <= 1


def test_not_a_number_does_no_harm():
    sound = np.full(3 * RATE_HZ, np.nan, dtype=np.float32)
    sound[RATE_HZ : 2 * RATE_HZ] = 0.1 * np.sin(2 * np.pi * 440 * np.arange(RATE_HZ) / RATE_HZ)
    playing = hear_playing(sound, player=TRUMPET)
    assert all(np.isfinite([n.onset_s, n.offset_s]).all() for n in playing.notes)


def test_stereo_is_refused():
    with pytest.raises(ValueError, match="mono"):
        hear_playing(np.zeros((100, 2), dtype=np.float32))


def test_speech_only(spoken):
    text = (
        "Hello, my audition number is four hundred and twelve. I play the trumpet. "
        "I am sorry, but my instrument is being repaired, so I cannot play today."
    )
    playing = hear_playing(spoken(text), player=TRUMPET)
    assert about(playing) == ["no playing"]
    assert "speaks" in playing.remarks[0].says
    assert playing.notes == ()
    assert [s.kind for s in playing.sections] == ["introduction"]


def performed(bank, pitches, each_s=0.4, seed=0):
    from benchmarks.playing.assemble import in_a_row, perform

    rng = np.random.default_rng(seed)
    sound = perform(in_a_row(pitches, 0.5, each_s), bank, rng)
    return (sound + rng.normal(0, 2e-4, len(sound))).astype(np.float32)


def test_two_instruments_at_once(recorded):
    from benchmarks.playing.assemble import major

    upper = performed(recorded("clarinet"), major(67))
    lower = performed(recorded("trombone"), major(51), each_s=0.55, seed=1)
    count = min(len(upper), len(lower))
    both = hear_playing(upper[:count] + lower[:count], player=CLARINET)
    alone = hear_playing(upper, player=CLARINET)
    assert "several sounds" in about(both)
    assert about(alone) == []
    assert other_sound_share(upper, alone.notes)[0] < 0.2


def test_another_instrument_than_declared(recorded):
    from benchmarks.playing.assemble import major

    sound = performed(recorded("tuba"), major(34) + major(41))
    playing = hear_playing(sound, player=Player(60, 96), plan=Plan())
    assert "other instrument" in about(playing)
    heard = [n.midi for n in playing.notes]
    assert np.mean([34 <= m <= 53 for m in heard]) > 0.9


def test_the_right_instrument_is_not_doubted(recorded):
    from benchmarks.playing.assemble import major

    for name, low, player in (
        ("tuba", 31, Player(26, 65)),
        ("flute", 62, Player(59, 98)),
        ("french-horn", 46, Player(41, 77, -7)),
    ):
        sound = performed(recorded(name), major(low))
        playing = hear_playing(sound, player=player)
        assert about(playing) == [], name


@pytest.mark.long
def test_a_take_without_end_is_heard_to_a_limit():
    t = np.arange(46 * 60 * RATE_HZ, dtype=np.float32)
    sound = 0.1 * np.sin(2 * np.pi * 440 / RATE_HZ * t, dtype=np.float32)
    playing = hear_playing(sound, player=TRUMPET)
    assert "length" in about(playing)
    assert playing.duration_s == 46 * 60
