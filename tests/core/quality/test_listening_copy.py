"""The judges' file: loudness by another meter, nothing but gain, nobody's name in it."""

from __future__ import annotations

from fractions import Fraction

import av
import numpy as np
import pyloudnorm
import pytest

from fairhearing.core.errors import RecordingError
from fairhearing.core.quality.listening_copy import CopyFacts, ListeningCopy
from fairhearing.core.recording import Probe, SoundBlock, listen
from fairhearing.core.recording.types import AudioStream


def take(samples: np.ndarray, rate_hz: int) -> ListeningCopy:
    """A take that has been heard, without a file."""
    copy = ListeningCopy()
    audio = AudioStream("aac", rate_hz, samples.shape[1])
    copy.begin(Probe("t.mp4", "", 0, "mp4", None, None, audio))
    for first in range(0, len(samples), 7001):
        copy.sound(SoundBlock(Fraction(first, rate_hz), samples[first : first + 7001]))
    copy.finish()
    return copy


def decoded(path) -> tuple[np.ndarray, int]:
    """What a player plays: shape (n, channels), and its rate."""
    with av.open(str(path)) as container:
        frames = [frame.to_ndarray() for frame in container.decode(audio=0)]
        return np.concatenate(frames, axis=1).T, container.streams.audio[0].rate


def music(seconds: float, rate_hz: int, level: float, channels: int = 2) -> np.ndarray:
    rng = np.random.default_rng(3)
    t = np.arange(round(seconds * rate_hz)) / rate_hz
    tone = sum(np.sin(2 * np.pi * 220 * k * t + k) / k for k in range(1, 8))
    swell = 0.3 + 0.7 * np.abs(np.sin(2 * np.pi * 0.3 * t))
    sound = level * tone * swell / 2.5 + level * 0.01 * rng.standard_normal(len(t))
    return np.repeat(sound[:, None], channels, axis=1).astype(np.float32)


@pytest.mark.parametrize(
    ("channels", "level", "rate_hz"),
    [(1, 0.005, 44100), (1, 0.9, 48000), (2, 0.1, 48000), (2, 0.9, 44100), (2, 0.1, 8000)],
)
def test_every_copy_reads_minus_23_by_another_meter(channels, level, rate_hz, tmp_path):
    path = tmp_path / "copy.m4a"
    facts = take(music(8, rate_hz, level, channels), rate_hz).write(path)
    sound, coded_hz = decoded(path)
    # EBU R 128 §e: programme loudness −23.0 LUFS ± 0.5 LU; pyloudnorm measures.
    assert pyloudnorm.Meter(coded_hz).integrated_loudness(sound) == pytest.approx(-23, abs=0.3)
    assert facts.loudness_lufs == pytest.approx(-23, abs=0.01)
    assert not facts.held_back
    assert sound.shape[1] == 2


def test_a_high_peak_holds_the_gain_back_and_nothing_is_compressed(tmp_path):
    rate_hz = 48000
    samples = music(8, rate_hz, 0.01)
    samples[3 * rate_hz] = 0.8  # a knock
    path = tmp_path / "copy.m4a"
    facts = take(samples, rate_hz).write(path)
    assert facts.held_back
    assert facts.true_peak_dbtp == pytest.approx(-1.5, abs=0.01)
    assert facts.loudness_lufs < -24
    sound, _ = decoded(path)
    assert np.abs(sound).max() < 1.0
    quiet = slice(4 * rate_hz, 6 * rate_hz)
    change = np.sqrt((sound[quiet] ** 2).mean() / (samples[quiet] ** 2).mean())
    assert 20 * np.log10(change) == pytest.approx(facts.gain_db, abs=0.1)


def test_dynamics_keep_their_distance(tmp_path):
    rate_hz = 48000
    soft, loud = music(4, rate_hz, 0.01), music(4, rate_hz, 0.2)
    samples = np.concatenate([soft, loud])
    sound, _ = (take(samples, rate_hz).write(tmp_path / "c.m4a"), decoded(tmp_path / "c.m4a"))[1]

    def level(part: np.ndarray) -> float:
        return float(20 * np.log10(np.sqrt((part**2).mean())))

    inner = (slice(rate_hz, 3 * rate_hz), slice(5 * rate_hz, 7 * rate_hz))
    before = level(samples[inner[1]]) - level(samples[inner[0]])
    assert level(sound[inner[1]]) - level(sound[inner[0]]) == pytest.approx(before, abs=0.1)


def test_the_introduction_is_left_out_from_the_stated_second(tmp_path):
    rate_hz = 48000
    samples = music(8, rate_hz, 0.1)
    samples[: 3 * rate_hz] = music(3, rate_hz, 0.9)  # speaks loudly
    samples[5 * rate_hz] = 0.9
    facts = take(samples, rate_hz).write(tmp_path / "c.m4a", start_s=3.0)
    sound, _ = decoded(tmp_path / "c.m4a")
    assert facts == CopyFacts(3.0, 5.0, facts.gain_db, facts.loudness_lufs, facts.true_peak_dbtp,
                              facts.held_back)  # fmt: skip
    assert np.argmax(np.abs(sound[:, 0])) / rate_hz == pytest.approx(2.0, abs=0.001)
    assert len(sound) == pytest.approx(5 * rate_hz, abs=1024)
    whole = take(samples, rate_hz).write(tmp_path / "w.m4a")
    assert facts.gain_db > whole.gain_db  # loudness is that of what the judges hear


def test_nothing_says_whose_it_is(tmp_path):
    imageio_ffmpeg = pytest.importorskip("imageio_ffmpeg")
    import subprocess

    film = tmp_path / "Jo Invented - clarinet.mp4"
    command = [imageio_ffmpeg.get_ffmpeg_exe(), "-v", "error", "-f", "lavfi", "-i",
               "testsrc2=s=64x64:d=2", "-f", "lavfi", "-i", "sine=d=2", "-metadata",
               "title=Jo Invented", "-metadata", "location=+47.0+008.0/", "-metadata",
               "creation_time=2026-01-02T03:04:05Z", str(film)]  # fmt: skip
    subprocess.run(command, check=True)
    copy = ListeningCopy()
    probe = listen(film, [copy])
    assert probe.facts.created is not None
    copy.write(tmp_path / "017.m4a")
    raw = (tmp_path / "017.m4a").read_bytes()
    for word in (b"Invented", b"47.0", b"Lavf", b"Lavc", b"clarinet"):
        assert word not in raw
    mine = listen(tmp_path / "017.m4a", []).facts
    assert (mine.created, mine.writers) == (None, ())
    with av.open(str(tmp_path / "017.m4a")) as container:
        assert not {"title", "location", "creation_time", "encoder"} & container.metadata.keys()
        assert [stream.type for stream in container.streams] == ["audio"]
    copy.write(tmp_path / "018.m4a")
    assert (tmp_path / "018.m4a").read_bytes() == raw  # nothing of the hour either


def test_silence_and_nothing(tmp_path):
    facts = take(np.zeros((48000, 1), np.float32), 48000).write(tmp_path / "c.m4a")
    assert (facts.gain_db, facts.loudness_lufs, facts.true_peak_dbtp) == (0.0, None, None)
    with pytest.raises(RecordingError, match=r"no sound after 9\.0 s"):
        take(music(2, 48000, 0.1), 48000).write(tmp_path / "none.m4a", start_s=9)
    assert sorted(p.name for p in tmp_path.iterdir()) == ["c.m4a"]
