"""Clipping made on purpose, seen after real AAC and Opus encoders (FFmpeg through PyAV)."""

import numpy as np
import pytest

from fairhearing.core.quality.clipping import ClippingMeter

RATE_HZ = 48000


def clipped_ms(mono):
    meter = ClippingMeter(RATE_HZ, 1)
    for start in range(0, len(mono), 1024):
        meter.add(mono[start : start + 1024, None])
    return meter.clipped_ms()


@pytest.mark.parametrize("codec", ["aac", "libopus"])
@pytest.mark.parametrize("gain_db", [-20, -6, 0])
def test_a_clean_take_is_not_clipped(melody, through_codec, codec, gain_db):
    for seed in range(3):
        sound = through_codec(melody(seed) * np.float32(10 ** (gain_db / 20)), codec)
        assert clipped_ms(sound) < 5


@pytest.mark.parametrize("codec", ["aac", "libopus"])
@pytest.mark.parametrize("gain_db", [6, 12])
def test_an_overdriven_take_is_clipped_about_as_long_as_it_was(
    melody, through_codec, codec, gain_db
):
    for seed in range(3):
        loud = melody(seed) * np.float32(10 ** (gain_db / 20))
        truth_ms = 1000 * np.mean(np.abs(loud) >= 1) * len(loud) / RATE_HZ
        measured = clipped_ms(through_codec(np.clip(loud, -1, 1), codec))
        assert 0.3 * truth_ms < measured < 2 * truth_ms


def test_more_overdrive_is_more_clipping(melody):
    loud = melody(4)
    times = [clipped_ms(np.clip(loud * g, -1, 1)) for g in (1.0, 2.0, 4.0, 8.0)]
    assert times == sorted(times) and times[0] < 5 < times[1]


def test_clipping_that_was_turned_down_later_is_still_seen(melody):
    assert clipped_ms(0.4 * np.clip(4 * melody(4), -1, 1)) > 1000


def test_silence():
    assert clipped_ms(np.zeros(48000, np.float32)) == 0
