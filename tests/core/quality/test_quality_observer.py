"""The observer as the hearing uses it: blocks and pictures in, one frozen result out."""

from fractions import Fraction

import numpy as np
import pytest

from fairhearing.core.quality.observer import QualityObserver
from fairhearing.core.recording.types import AudioStream, Picture, Probe, SoundBlock, VideoStream

RATE_HZ = 48000


def probe(sound=True, picture=True, duration_s=20.0):
    return Probe(
        name="take.mp4",
        sha256="0" * 64,
        bytes=1,
        container="mp4",
        duration_s=duration_s,
        video=VideoStream("h264", 320, 180, 0, 30.0, False) if picture else None,
        audio=AudioStream("aac", RATE_HZ, 1) if sound else None,
    )


def hear(mono=None, pictures=()):
    observer = QualityObserver()
    observer.begin(probe(mono is not None, bool(len(pictures))))
    if mono is not None:
        for start in range(0, len(mono), 1024):
            block = mono[start : start + 1024, None].astype(np.float32)
            observer.sound(SoundBlock(Fraction(start, RATE_HZ), block))
    for i, luma in enumerate(pictures):
        observer.picture(Picture(Fraction(i, 10), luma, i == 0))
    observer.finish()
    return observer.quality


def room(level, n=200, shape=(180, 320), shake=0):
    random = np.random.default_rng(2)
    wall = random.integers(-20, 20, (shape[0] + 40, shape[1] + 40))
    wall = np.clip(wall + level, 0, 255).astype(np.uint8)
    for _ in range(n):
        y, x = 20 + random.integers(-shake, shake + 1, 2)
        yield wall[y : y + shape[0], x : x + shape[1]]


def test_the_report_has_the_keys_of_the_contract(melody):
    quality = hear(0.3 * melody(1), list(room(120)))
    report = quality.to_report()
    for key in ("loudness_lufs", "true_peak_dbtp", "clipped_ms", "background_dbfs", "snr_db"):
        assert report[key] is not None or key in report["unmeasured"]
    assert report["picture"]["brightness"] == pytest.approx(0.475, abs=0.02)
    assert isinstance(report["advice"], list) and len(report["advice"]) <= 3
    assert len(quality.advice("es")) == len(report["advice"])


def test_a_sound_only_take():
    quality = hear(0.1 * np.sin(np.arange(20 * RATE_HZ) / 20))
    assert quality.picture is None
    assert "no picture" in quality.unmeasured["picture"]
    assert quality.loudness_lufs is not None


def test_a_picture_only_take_is_told_so_first():
    quality = hear(None, list(room(120)))
    assert quality.loudness_lufs is None and "no sound" in quality.unmeasured["loudness_lufs"]
    assert quality.advice()[0].startswith("There is no sound")


def test_a_muted_take_is_told_so_too():
    assert hear(np.zeros(10 * RATE_HZ)).advice_keys == ("no_sound",)


def test_dark_and_shaky_pictures():
    dark = hear(0.1 * np.sin(np.arange(20 * RATE_HZ) / 20), list(room(20)))
    assert dark.picture.brightness < 0.1 and "dark" in dark.advice_keys
    shaken = hear(0.1 * np.sin(np.arange(20 * RATE_HZ) / 20), list(room(120, shake=6)))
    assert shaken.picture.shake_percent > 1 and "shaky" in shaken.advice_keys
    still = hear(0.1 * np.sin(np.arange(20 * RATE_HZ) / 20), list(room(120)))
    assert still.picture.shake_percent < 0.05 and "shaky" not in still.advice_keys


def test_nothing_is_known_before_the_end():
    observer = QualityObserver()
    observer.begin(probe())
    with pytest.raises(RuntimeError, match="not over"):
        _ = observer.quality


def test_something_that_moves_counts_as_somebody_and_an_empty_room_does_not():
    def with_a_mover(moves):
        for i, wall in enumerate(room(120)):
            picture = wall.copy()
            x = 100 + (i * 5 % 100 if moves else 0)
            picture[60:170, x : x + 40] = 30
            yield picture

    tone = 0.1 * np.sin(np.arange(20 * RATE_HZ) / 20)
    assert hear(tone, list(with_a_mover(True))).picture.somebody_share > 0.8
    still = hear(tone, list(with_a_mover(False)))
    assert still.picture.somebody_share == 0
    assert "nobody" in still.advice_keys
    assert still.picture.upright is None  # no face in any direction: not to be told
