"""Background and signal-to-noise ratio of mixtures whose answer is known by construction."""

import numpy as np
import pytest
from scipy import signal

from fairhearing.core.quality.background import LevelMeter, background_dbfs, snr_db

RATE_HZ = 48000


def powers_of(mono):
    meter = LevelMeter(RATE_HZ, 1)
    for start in range(0, len(mono), 4096):
        meter.add(mono[start : start + 4096, None])
    return meter.powers()


def take_with_pauses(level_dbfs):
    """Two seconds of a 440 Hz tone, one of nothing, ten times; level as root mean square."""
    t = np.arange(3 * RATE_HZ) / RATE_HZ
    tone = np.where(t < 2, np.sin(2 * np.pi * 440 * t), 0)
    return np.tile(np.sqrt(2) * 10 ** (level_dbfs / 20) * tone, 10)


def noise(kind, level_dbfs, n, seed=0):
    white = np.random.default_rng(seed).standard_normal(n)
    if kind == "rumble":
        white = signal.sosfilt(signal.butter(1, 300, fs=RATE_HZ, output="sos"), white)
    return 10 ** (level_dbfs / 20) * white / np.std(white)


@pytest.mark.parametrize("kind", ["white", "rumble"])
@pytest.mark.parametrize("room_dbfs", [-75, -55, -40])
def test_a_known_mixture(kind, room_dbfs):
    music = take_with_pauses(-18)
    powers = powers_of(music + noise(kind, room_dbfs, len(music)))
    assert background_dbfs(powers) == pytest.approx(room_dbfs, abs=2.5)
    assert snr_db(powers) == pytest.approx(-18 - room_dbfs, abs=2.5)


def test_digital_silence_is_not_a_quiet_room():
    music = take_with_pauses(-18)
    with_room = music + noise("white", -60, len(music))
    gap = np.zeros(20 * RATE_HZ)
    powers = powers_of(np.concatenate([with_room, gap]))
    assert background_dbfs(powers) == pytest.approx(-60, abs=2.5)


def test_what_cannot_be_told_is_said():
    assert "too short" in background_dbfs(powers_of(np.ones(RATE_HZ)))
    assert "no sound" in background_dbfs(powers_of(np.zeros(5 * RATE_HZ)))
    only_room = noise("white", -60, 10 * RATE_HZ)
    assert "Nothing stands" in snr_db(powers_of(only_room))
