"""True peak against the cases of EBU Tech 3341 and against oversampling everything."""

import numpy as np
import pytest
from scipy import signal

from fairhearing.core.quality.true_peak import TruePeakMeter, true_peak

# EBU Tech 3341, table 1, cases 15 to 19 (from memory of the document): rate ÷ frequency, phase
# in degrees, amplitude, expected dBTP; tolerance +0.2/−0.4 dB.
TECH_3341 = [
    (4, 0.0, 0.50, -6.0),
    (4, 45.0, 0.50, -6.0),
    (6, 60.0, 0.50, -6.0),
    (8, 67.5, 0.50, -6.0),
    (4, 45.0, 1.41, 3.0),
]


@pytest.mark.parametrize("rate_hz", [48000, 44100])
@pytest.mark.parametrize(("division", "phase_deg", "amplitude", "expected"), TECH_3341)
def test_ebu_tech_3341_cases_15_to_19(division, phase_deg, amplitude, expected, rate_hz):
    n = np.arange(rate_hz)
    wave = amplitude * np.sin(2 * np.pi * n / division + np.deg2rad(phase_deg))
    wave *= np.minimum(1, np.minimum(n, n[::-1]) / 480)  # no step at the ends
    sound = np.stack([wave, wave], axis=1).astype(np.float32)
    assert -0.4 <= true_peak(sound, rate_hz) - expected <= 0.2


@pytest.mark.parametrize("seed", range(6))
def test_skipping_quiet_stretches_loses_nothing(seed):
    random = np.random.default_rng(seed)
    swell = random.uniform(0.01, 0.5, 60).repeat(800)
    sound = (swell * random.standard_normal(48000)).astype(np.float32)
    everything = signal.resample_poly(sound.astype(np.float64), 4, 1)
    expected = 20 * np.log10(np.abs(everything).max())
    assert true_peak(sound[:, None], 48000) == pytest.approx(expected, abs=0.15)


def test_the_size_of_the_blocks_does_not_matter():
    sound = np.random.default_rng(3).standard_normal((30_000, 2)).astype(np.float32)
    meter = TruePeakMeter(48000, 2)
    for start in range(0, 30_000, 1024):
        meter.add(sound[start : start + 1024])
    assert meter.peak_dbtp() == pytest.approx(true_peak(sound, 48000), abs=1e-6)


def test_a_high_rate_is_not_oversampled_and_silence_has_no_peak():
    sound = np.full((1000, 1), 0.5, np.float32)
    assert true_peak(sound, 192_000) == pytest.approx(-6.0206, abs=1e-3)
    assert true_peak(np.zeros((1000, 1), np.float32), 48000) is None
