"""The mono store: each sample at its time, against scipy's resampling and known instants."""

from __future__ import annotations

from fractions import Fraction
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.signal import resample_poly

from fairhearing.core.recording import Probe, SoundBlock, listen
from fairhearing.core.recording.store import MonoStore
from fairhearing.core.recording.types import AudioStream

RATES = [(48000, 16000), (44100, 16000), (16000, 48000), (44100, 48000), (48000, 48000)]


def stored(samples: np.ndarray, source: int, target: int, cuts, start=Fraction(0)) -> MonoStore:
    """Feed samples, cut at the given places."""
    store = MonoStore(target)
    audio = AudioStream("pcm_f32le", source, samples.shape[1])
    store.begin(Probe("t.wav", "", 0, "wav", None, None, audio))
    edges = [0, *sorted(set(cuts)), len(samples)]
    for first, last in pairwise(edges):
        store.sound(SoundBlock(start + Fraction(first, source), samples[first:last]))
    store.finish()
    return store


@pytest.mark.parametrize(("source", "target"), RATES)
def test_agrees_with_resampling_the_whole_at_once(source, target):
    rng = np.random.default_rng(5)
    slow = resample_poly(rng.standard_normal(4000), 12, 1)[: 2 * source]  # well below any edge
    samples = slow.astype(np.float32)[:, None]
    ours = stored(samples, source, target, range(0, len(samples), 4801)).samples
    divisor = np.gcd(source, target)
    other = resample_poly(samples[:, 0], target // divisor, source // divisor)
    assert len(ours) == len(other)
    inner = slice(target // 50, -target // 50)
    assert np.abs(ours[inner] - other[inner]).max() < 2e-3 * np.abs(other).max()


@pytest.mark.parametrize(("source", "target"), RATES)
def test_a_tone_keeps_its_phase_to_the_end(source, target):
    seconds = 20
    hertz = 0.3 * min(source, target)
    time = np.arange(seconds * source) / source
    tone = np.sin(2 * np.pi * hertz * time).astype(np.float32)[:, None]
    ours = stored(tone, source, target, range(0, len(tone), 12_000)).samples
    expected = np.sin(2 * np.pi * hertz * np.arange(len(ours)) / target)
    inner = slice(target // 20, -target // 20)
    assert np.abs(ours[inner] - expected[inner]).max() < 1e-3


@settings(max_examples=20, deadline=None)
@given(st.sets(st.integers(1, 29_999), max_size=30), st.sampled_from(RATES))
def test_how_the_sound_was_cut_into_blocks_does_not_matter(cuts, rates):
    rng = np.random.default_rng(7)
    samples = rng.standard_normal((30_000, 2)).astype(np.float32)
    whole = stored(samples, *rates, []).samples
    cut = stored(samples, *rates, cuts).samples
    np.testing.assert_allclose(cut, whole, atol=1e-5)


def test_a_late_start_and_a_hole_are_silence():
    source, target = 48000, 16000
    store = MonoStore(target)
    audio = AudioStream("aac", source, 1)
    store.begin(Probe("t.mp4", "", 0, "mp4", None, None, audio))
    ones = np.ones((source // 2, 1), np.float32)
    store.sound(SoundBlock(Fraction(1, 4), ones))
    store.sound(SoundBlock(Fraction(2), ones))
    store.finish()
    samples = store.samples
    assert len(samples) == round(2.5 * target)
    assert store.duration == Fraction(5, 2)
    for second, level in [(0.2, 0), (0.3, 1), (0.7, 1), (0.8, 0), (1.9, 0), (2.1, 1), (2.4, 1)]:
        assert samples[round(second * target)] == pytest.approx(level, abs=1e-3)
    # The edges lie half a source sample before these times; the slope is that of a band-limited
    # step, 2 × cut-off.
    off = 0.5 / source * 2 * 0.46 * target
    for second, edge in [(0.25, 0.5 + off), (0.75, 0.5 - off), (2.0, 0.5 + off)]:
        assert samples[round(second * target)] == pytest.approx(edge, abs=0.01)


def test_clicks_of_a_film_lie_where_they_were_put(ffmpeg, tmp_path):
    instants = [0.5, 1.25, 2.0, 3.3333333, 4.75]
    rate = 44100
    sound = np.zeros(5 * rate, np.float32)
    for instant in instants:
        sound[round(instant * rate)] = 0.9
    (tmp_path / "clicks.f32").write_bytes(sound.tobytes())
    raw = ("-f", "f32le", "-ar", rate, "-ac", 1, "-i", tmp_path / "clicks.f32")
    picture = ("-f", "lavfi", "-i", "testsrc2=s=64x64:r=30:d=5")
    for name, codecs in {
        "aac.mp4": ("-c:v", "libx264", "-c:a", "aac", "-b:a", "192k"),
        "opus.webm": ("-c:v", "libvpx", "-c:a", "libopus", "-b:a", "128k"),
    }.items():
        ffmpeg(*picture, *raw, *codecs, tmp_path / name)
        store = MonoStore(16000)
        listen(tmp_path / name, [store])
        loud = np.abs(store.samples)
        for instant in instants:
            near = slice(round((instant - 0.1) * 16000), round((instant + 0.1) * 16000))
            found = (near.start + int(np.argmax(loud[near]))) / 16000
            assert found == pytest.approx(instant, abs=0.001), name


def test_samples_cannot_be_overwritten_and_no_sound_is_empty():
    store = stored(np.ones((800, 1), np.float32), 8000, 8000, [])
    with pytest.raises(ValueError, match="read-only"):
        store.samples[0] = 1
    silent = MonoStore(16000)
    silent.begin(Probe("t.mp4", "", 0, "mp4", None, None, None))
    silent.finish()
    assert silent.samples.shape == (0,)
