"""The outline of a take: peaks at their places, whatever the length."""

from __future__ import annotations

from fractions import Fraction

import numpy as np

from fairhearing.core.recording import AudioStream, Probe, SoundBlock
from fairhearing.core.recording.envelope import Envelope


def outline(seconds: float, loud_at: float, rate: int = 8000, bins: int = 100) -> list[float]:
    probe = Probe("x.wav", "", 0, "wav", None, None, AudioStream("pcm", rate, 1))
    envelope = Envelope()
    envelope.begin(probe)
    samples = np.full((int(seconds * rate), 1), 0.1, dtype=np.float32)
    samples[int(loud_at * rate)] = -0.9
    for first in range(0, len(samples), 1000):
        envelope.sound(SoundBlock(Fraction(first, rate), samples[first : first + 1000]))
    envelope.finish()
    return envelope.peaks(bins)


def test_the_loudest_sample_stands_at_its_time():
    peaks = outline(10, loud_at=7.31)
    assert len(peaks) == 100
    assert peaks.index(max(peaks)) == 73
    assert max(peaks) == 0.9
    assert set(peaks) == {0.1, 0.9}


def test_a_long_take_keeps_bounded_state_and_the_same_outline():
    peaks = outline(400, loud_at=300.0, rate=1000)
    assert abs(peaks.index(0.9) - 75) <= 1
    assert min(peaks) == np.float32(0.1).round(3)


def test_no_sound_has_no_outline():
    envelope = Envelope()
    envelope.begin(Probe("x.mp4", "", 0, "mp4", None, None, None))
    envelope.finish()
    assert envelope.peaks(100) == []
