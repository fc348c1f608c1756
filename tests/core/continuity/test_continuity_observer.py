"""Whole files: joined and unbroken ones, through real encoders."""

import numpy as np
import pytest

from fairhearing.core.continuity.finding import Channel, summary
from fairhearing.core.continuity.observer import ContinuityObserver

RATE_HZ = 48000


@pytest.mark.parametrize("seed", [0, 1, 2])
def test_a_joined_take_is_marked_within_a_tenth_of_a_second(seed, tmp_path, takes):
    pictures, sound = takes.pictures(9, seed), takes.sound(9, seed)
    first, gone = 127, 41
    a, b = (round(k / 30 * RATE_HZ) for k in (first, first + gone))
    path = tmp_path / "take.mp4"
    takes.write(
        path, pictures[:first] + pictures[first + gone :], np.concatenate([sound[:a], sound[b:]])
    )
    findings = takes.play(path, ContinuityObserver()).findings
    assert summary(findings) == "look here"
    best = findings[0]
    assert best.channel == Channel.PICTURE_AND_SOUND
    assert (best.start_s + best.end_s) / 2 == pytest.approx(first / 30, abs=0.1)
    assert best.says.startswith("At 0:04.2 picture and sound change together.")
    assert "light" in best.says and "bump" in best.says and "knock" in best.says


@pytest.mark.parametrize("seed", [0, 1, 2, 3])
def test_an_unbroken_take_is_not_marked(seed, tmp_path, takes):
    path = tmp_path / "take.mp4"
    takes.write(path, takes.pictures(8, seed), takes.sound(8, seed))
    findings = takes.play(path, ContinuityObserver()).findings
    assert summary(findings) == "nothing unusual"


def test_a_knock_alone_sends_nobody_to_look(tmp_path, takes):
    sound = takes.sound(6, 5)
    random = np.random.default_rng(0)
    knock = 0.5 * random.standard_normal(2000) * np.exp(-np.arange(2000) / 200)
    sound[150_000:152_000] += knock.astype(np.float32)
    path = tmp_path / "take.mp4"
    takes.write(path, takes.pictures(6, 5), sound)
    assert summary(takes.play(path, ContinuityObserver()).findings) == "nothing unusual"


def test_sound_only_and_nothing_at_all(tmp_path, takes):
    from fractions import Fraction

    from fairhearing.core.recording.types import AudioStream, Probe, SoundBlock

    observer = ContinuityObserver()
    probe = Probe("a.wav", "0" * 64, 1, "wav", 5.0, None, AudioStream("pcm_s16le", RATE_HZ, 1))
    observer.begin(probe)
    with pytest.raises(RuntimeError, match="not over"):
        _ = observer.findings
    observer.finish()
    assert observer.findings == ()
    observer.begin(probe)
    observer.sound(SoundBlock(Fraction(0), takes.sound(5, 1)[:, None]))
    observer.finish()
    assert summary(observer.findings) == "nothing unusual"
