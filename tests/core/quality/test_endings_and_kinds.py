"""Echo, gates, creeping gain, sudden noises and kinds of background, made on purpose."""

import io
import shutil
import subprocess
import wave

import numpy as np
import pytest
from scipy import signal

from fairhearing.core.quality.background import LevelMeter
from fairhearing.core.quality.background_kind import BackgroundKindMeter
from fairhearing.core.quality.endings import (
    echo_s,
    gain_pumping_db,
    gated_ends,
    note_ends,
    sudden_noises_s,
)

RATE_HZ = 16000


def powers_of(mono):
    meter = LevelMeter(RATE_HZ, 1)
    meter.add(mono[:, None].astype(np.float32))
    return meter.powers()


def playing(seed=0, seconds=30, decay_s=0.3):
    """Notes, some followed by a rest of one to two seconds, in a room of a known echo."""
    random = np.random.default_rng(seed)
    sound, at_s = np.zeros((seconds + 2) * RATE_HZ), 0.5
    while at_s < seconds - 3:
        t = np.arange(int(random.choice([0.3, 0.5, 0.8]) * RATE_HZ)) / RATE_HZ
        pitch_hz = 220 * 2 ** (random.integers(0, 24) / 12)
        shape = np.minimum(1, np.minimum(t / 0.02, (t[-1] - t) / 0.015))
        note = sum(np.sin(2 * np.pi * k * pitch_hz * t) / k for k in range(1, 7))
        sound[int(at_s * RATE_HZ) :][: len(t)] += shape * note
        at_s += len(t) / RATE_HZ + (random.uniform(1.2, 2) if random.random() < 0.3 else 0.02)
    tail = np.arange(int(1.2 * decay_s * RATE_HZ)) / RATE_HZ
    echo = random.standard_normal(len(tail)) * 10 ** (-3 * tail / decay_s)
    echo *= 0.4 / np.sqrt(np.sum(echo**2))
    echo[0] = 1
    wet = signal.fftconvolve(sound, echo)[: seconds * RATE_HZ]
    return 0.4 * wet / np.abs(wet).max() + 1e-4 * random.standard_normal(len(wet))


def test_longer_echoes_measure_longer_and_about_right():
    # The truth is the decay that the echo was made with.
    measured = {
        s: np.median([echo_s(powers_of(playing(k, 30, s))) for k in range(3)])
        for s in (0.3, 0.7, 1.2)
    }
    assert list(measured.values()) == sorted(measured.values())
    for truth, got in measured.items():
        assert 0.5 * truth < got < 1.6 * truth


def test_an_unbroken_tone_has_no_ends_and_no_echo():
    tone = 0.1 * np.sin(np.arange(20 * RATE_HZ) / 5)
    assert len(note_ends(powers_of(tone))) == 0
    assert echo_s(powers_of(tone)) is None and gain_pumping_db(powers_of(tone)) is None


def test_a_gate_is_counted_and_a_room_is_not():
    sound = playing(1)
    step = RATE_HZ // 50
    level = np.sqrt(np.mean(sound.reshape(-1, step) ** 2, axis=1))
    shut = sound * np.repeat(np.where(level > 0.01, 1, 0.001), step)
    assert gated_ends(powers_of(sound)) == 0
    assert gated_ends(powers_of(shut)) >= 4


def test_a_gain_that_creeps_up_in_rests():
    sound = playing(2, 40) + 1e-3 * np.random.default_rng(0).standard_normal(40 * RATE_HZ)
    held, gains = 1e-3, []
    for size in np.sqrt(np.mean(sound.reshape(-1, RATE_HZ // 100) ** 2, axis=1)):
        held = max(size, held * 10 ** (-8 * 0.01 / 20))  # releases 8 dB a second
        gains.append(min(0.1 / held, 30))
    levelled = 0.3 * sound * np.repeat(gains, RATE_HZ // 100)
    assert gain_pumping_db(powers_of(levelled)) > 6
    assert gain_pumping_db(powers_of(sound)) < 2


def test_sudden_noises_in_a_rest_are_timed():
    random = np.random.default_rng(0)
    t = np.arange(12 * RATE_HZ) / RATE_HZ
    sound = np.where(t < 4, 0.2 * np.sin(2 * np.pi * 330 * t), 0)
    sound += 3e-4 * random.standard_normal(len(t))
    for at_s in (6.5, 9.25):
        n = RATE_HZ // 50
        sound[int(at_s * RATE_HZ) :][:n] += 0.1 * random.standard_normal(n)
    assert sudden_noises_s(powers_of(sound)) == pytest.approx((6.5, 9.25), abs=0.02)
    assert sudden_noises_s(powers_of(playing(3))) == ()


def background(kind, n, seed):
    random = np.random.default_rng(seed)
    t = np.arange(n) / RATE_HZ
    if kind == "hum":  # 60 Hz and multiples
        made = sum(np.sin(2 * np.pi * 60 * k * t + k) / k for k in (1, 2, 3, 4))
    elif kind == "steady noise":
        low = signal.butter(1, random.uniform(200, 1000), fs=RATE_HZ, output="sos")
        made = signal.sosfilt(low, random.standard_normal(n))
    elif kind == "music":
        made = np.zeros(n)
        for start in range(0, n - RATE_HZ, RATE_HZ // 2):
            held = np.arange(int(0.6 * RATE_HZ)) / RATE_HZ
            for pitch_hz in 110 * 2 ** (random.integers(0, 36, 3) / 12):
                chord = sum(np.sin(2 * np.pi * k * pitch_hz * held) / k for k in range(1, 6))
                made[start : start + len(held)] += np.exp(-2 * held) * chord
    else:  # espeak-ng, a public speech synthesiser
        said = subprocess.run(
            [
                "espeak-ng",
                "-s",
                "160",
                "--stdout",
                "Please set the table. Dinner is ready at "
                "six, and somebody has to walk the dog before it rains again this evening.",
            ],
            capture_output=True,
            check=True,
        ).stdout
        with wave.open(io.BytesIO(said)) as file:
            voice = np.frombuffer(file.readframes(file.getnframes()), np.int16) / 32768
            voice = signal.resample_poly(voice, RATE_HZ, file.getframerate())
        made = np.resize(np.roll(voice, 3000 * seed), n)
    return made / np.std(made)


@pytest.mark.parametrize("kind", ["hum", "steady noise", "voices", "music"])
def test_clear_kinds_of_background(kind):
    if kind == "voices" and not shutil.which("espeak-ng"):
        pytest.skip("needs espeak-ng (apt install espeak-ng)")
    for seed in range(3):
        sound = playing(seed)
        mixed = sound + 10 ** (-46 / 20) * background(kind, len(sound), seed)
        meter = BackgroundKindMeter(RATE_HZ)
        for start in range(0, len(mixed), 5000):
            meter.add(mixed[start : start + 5000].astype(np.float32))
        assert meter.kind() == kind


def test_no_kind_without_pauses_or_sound():
    meter = BackgroundKindMeter(RATE_HZ)
    assert meter.kind() is None
    meter.add((0.1 * np.sin(np.arange(10 * RATE_HZ) / 5)).astype(np.float32))
    assert meter.kind() is None


def test_memory_stays_bounded():
    meter = BackgroundKindMeter(RATE_HZ, most=100)
    for seed in range(3):
        meter.add(playing(seed).astype(np.float32))
    assert len(meter._kept) <= 100 + 2 * 30 / 0.05
