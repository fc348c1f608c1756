"""Loudness against EBU Tech 3341 table 1, ITU-R BS.1770-4's printed filters, and pyloudnorm."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fairhearing.core.quality.loudness import LoudnessMeter, integrated_loudness, k_weighting


def stereo_sine(levels_and_seconds, rate_hz):
    """A 1 kHz sine on both channels, a level in dBFS (peak) for each stretch."""
    level = np.concatenate(
        [np.full(round(s * rate_hz), 10 ** (db / 20)) for db, s in levels_and_seconds]
    )
    wave = level * np.sin(2 * np.pi * 1000 * np.arange(len(level)) / rate_hz)
    return np.stack([wave, wave], axis=1).astype(np.float32)


# EBU Tech 3341 (2016), table 1, cases 1 to 5: signal and expected integrated loudness, ± 0.1 LU.
TECH_3341 = [
    ([(-23, 20)], -23.0),
    ([(-33, 20)], -33.0),
    ([(-36, 10), (-23, 60), (-36, 10)], -23.0),
    ([(-72, 10), (-36, 10), (-23, 60), (-36, 10), (-72, 10)], -23.0),
    ([(-26, 20), (-20, 20.1), (-26, 20)], -23.0),
]


@pytest.mark.parametrize("rate_hz", [48000, 44100, 16000])
@pytest.mark.parametrize(("stretches", "expected"), TECH_3341)
def test_ebu_tech_3341_cases_1_to_5(stretches, expected, rate_hz):
    measured = integrated_loudness(stereo_sine(stretches, rate_hz), rate_hz)
    assert measured == pytest.approx(expected, abs=0.1)


def test_k_weighting_has_the_coefficients_printed_for_48_khz():
    # ITU-R BS.1770-4, tables 1 and 2 (stage 1 and stage 2 of the pre-filter).
    shelf, high_pass = k_weighting(48000)
    printed = [1.53512485958697, -2.69169618940638, 1.19839281085285, 1, -1.69065929318241]
    printed.append(0.73248077421585)
    assert shelf == pytest.approx(printed, abs=1e-7)
    assert high_pass == pytest.approx([1, -2, 1, 1, -1.99004745483398, 0.99007225036621], abs=1e-7)


def test_agrees_with_pyloudnorm_on_music_like_sound():
    pyloudnorm = pytest.importorskip("pyloudnorm")
    random = np.random.default_rng(5)
    swell = 10 ** (np.interp(np.arange(480_000), [0, 2e5, 4.8e5], [-50, -10, -40]) / 20)
    sound = (swell * random.standard_normal(480_000))[:, None].astype(np.float32)
    assert integrated_loudness(sound, 48000) == pytest.approx(
        pyloudnorm.Meter(48000).integrated_loudness(sound), abs=0.1
    )


@settings(max_examples=25, deadline=None)
@given(st.lists(st.integers(1, 30_000), min_size=1, max_size=30))
def test_the_size_of_the_blocks_does_not_matter(sizes):
    sound = np.random.default_rng(1).standard_normal((sum(sizes), 1)).astype(np.float32) * 0.1
    meter = LoudnessMeter(16000, 1)
    start = 0
    for size in sizes:
        meter.add(sound[start : start + size])
        start += size
    whole, pieces = integrated_loudness(sound, 16000), meter.integrated_lufs()
    assert (whole is None) == (pieces is None)
    if whole is not None:
        assert pieces == pytest.approx(whole, abs=1e-6)


def test_silence_and_very_short_sound_have_no_loudness():
    assert integrated_loudness(np.zeros((48000, 2), np.float32), 48000) is None
    assert integrated_loudness(np.ones((4800, 1), np.float32), 48000) is None


def test_a_rate_too_low_is_refused():
    with pytest.raises(ValueError, match="8000"):
        k_weighting(4000)
