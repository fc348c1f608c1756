"""Copies through real codecs are found; other players of the same notes are not."""

import io

import numpy as np
import pytest
from scipy import signal

from fairhearing.core.continuity.finding import Channel
from fairhearing.core.continuity.fingerprint import (
    Fingerprint,
    FingerprintMaker,
    FingerprintObserver,
    fingerprint,
)
from fairhearing.core.continuity.same_recording import (
    compare,
    copy_findings,
    find_copies,
    same_files,
)

RATE_HZ = 16000


def performance(seed, etude=1, seconds=30):
    """The notes of one etude, each time with a player's own timing, tuning and room."""
    score, player = np.random.default_rng(etude), np.random.default_rng(seed)
    n = seconds * RATE_HZ
    sound = np.zeros(n + RATE_HZ)
    at_s, tempo = 0.5, player.normal(1, 0.03)
    while at_s < seconds - 1.5:
        length_s = float(score.choice([0.25, 0.5, 0.5, 1.0]))
        pitch_hz = 220 * 2 ** (int(score.integers(0, 20)) / 12) * 2 ** (player.normal(0, 8) / 1200)
        onset = int((at_s + player.normal(0, 0.015)) * RATE_HZ)
        t = np.arange(int(length_s * tempo * 0.9 * RATE_HZ)) / RATE_HZ
        shape = np.minimum(1, t / player.uniform(0.01, 0.03)) * np.exp(-t)
        wave = sum(np.sin(2 * np.pi * k * pitch_hz * t) / k for k in range(1, 8))
        sound[onset : onset + len(t)] += player.uniform(0.5, 1) * shape * wave
        at_s += length_s * tempo
    sound = sound[:n] / np.abs(sound).max() / 2
    return (sound + 0.0005 * player.standard_normal(n)).astype(np.float32)


def through_aac(sound, rate_hz, bit_rate):
    import av

    file = io.BytesIO()
    with av.open(file, "w", format="mp4") as out:
        stream = out.add_stream("aac", rate=rate_hz)
        stream.layout, stream.bit_rate = "mono", bit_rate
        block = av.AudioFrame.from_ndarray(sound[None].astype(np.float32), "fltp", "mono")
        block.sample_rate = rate_hz
        for packet in [*stream.encode(block), *stream.encode(None)]:
            out.mux(packet)
    file.seek(0)
    with av.open(file) as back:
        return np.concatenate([frame.to_ndarray()[0] for frame in back.decode(audio=0)])


@pytest.fixture(scope="module")
def original():
    return performance(1)


@pytest.mark.parametrize("dress", ["32 kbit/s", "22.05 kHz", "trimmed", "quieter"])
def test_a_copy_in_another_dress_is_found(dress, original):
    a = fingerprint(original, RATE_HZ)
    if dress == "32 kbit/s":
        b, shift_s = fingerprint(through_aac(original, RATE_HZ, 32_000), RATE_HZ), 0.0
    elif dress == "22.05 kHz":
        other = signal.resample_poly(original, 441, 320).astype(np.float32)
        b, shift_s = fingerprint(through_aac(other, 22_050, 48_000), 22_050), 0.0
    elif dress == "trimmed":
        part = original[round(9.3333 * RATE_HZ) : 25 * RATE_HZ]
        b, shift_s = fingerprint(through_aac(part, RATE_HZ, 48_000), RATE_HZ), -9.3333
    else:
        b, shift_s = fingerprint(original * np.float32(0.05), RATE_HZ), 0.0
    copy = compare("a", a, "b", b)
    assert copy is not None
    assert copy.shift_s == pytest.approx(shift_s, abs=0.07)  # an encoder's delay included


def test_other_players_of_the_same_notes_are_no_copies():
    prints = {f"{seed:02d}": fingerprint(performance(seed), RATE_HZ) for seed in range(2, 8)}
    assert find_copies(prints) == ()


def test_a_season_is_searched_at_once(original):
    prints = {f"{seed:02d}": fingerprint(performance(seed), RATE_HZ) for seed in range(2, 5)}
    prints["17"] = fingerprint(original, RATE_HZ)
    prints["98"] = fingerprint(original[8 * RATE_HZ :], RATE_HZ)
    (copy,) = find_copies(prints)
    assert (copy.first, copy.second) == ("17", "98")
    assert copy.shift_s == pytest.approx(-8.0, abs=0.02)
    (mine,), (theirs,) = copy_findings("17", [copy]), copy_findings("98", [copy])
    assert mine.channel == Channel.SAME_RECORDING
    assert mine.start_s - theirs.start_s == pytest.approx(8.0, abs=0.02)
    assert "98" not in mine.says and copy_findings("02", [copy]) == ()


def test_the_size_of_the_blocks_matters_little(original):
    maker = FingerprintMaker(RATE_HZ)
    for start in range(0, len(original), 1024):
        maker.add(original[start : start + 1024])
    small, large = maker.fingerprint(), fingerprint(original, RATE_HZ)
    assert small.duration_s == large.duration_s == 30
    common = np.intersect1d(small.hashes, large.hashes)
    assert len(common) > 0.9 * len(np.unique(large.hashes))


def test_bytes_there_and_back(original):
    made = fingerprint(original, RATE_HZ)
    read = Fingerprint.from_bytes(made.to_bytes())
    assert np.array_equal(read.hashes, made.hashes)
    assert np.array_equal(read.places_ms, made.places_ms)
    assert read.duration_s == pytest.approx(made.duration_s)
    with pytest.raises(ValueError, match="not a fingerprint"):
        Fingerprint.from_bytes(b"something else")
    with pytest.raises(ValueError, match="should have"):
        Fingerprint.from_bytes(made.to_bytes()[:-1])


def test_silence_has_no_hashes_and_is_no_copy_of_silence():
    silent = fingerprint(np.zeros(20 * RATE_HZ, np.float32), RATE_HZ)
    assert len(silent.hashes) == 0
    assert find_copies({"a": silent, "b": silent}) == ()


def test_same_files():
    assert same_files({"b": "x", "a": "x", "c": "y"}) == (("a", "b"),)


def test_the_observer_counts_from_zero_and_fills_gaps(original):
    from fractions import Fraction

    from fairhearing.core.recording.types import AudioStream, Probe, SoundBlock

    observer = FingerprintObserver()
    observer.begin(Probe("a", "0", 1, "wav", 45.0, None, AudioStream("pcm", RATE_HZ, 1)))
    observer.sound(SoundBlock(Fraction(5), original[:, None]))
    observer.finish()
    copy = compare("a", observer.fingerprint, "b", fingerprint(original, RATE_HZ))
    assert copy.shift_s == pytest.approx(-5.0, abs=0.02)
    observer.begin(Probe("a", "0", 1, "mp4", 45.0, None, None))
    observer.finish()
    assert observer.fingerprint is None
