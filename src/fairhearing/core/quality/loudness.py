"""Programme loudness by ITU-R BS.1770-4, as a stream.

Conventions: samples are float, −1…1, shape (n, channels) with one or two channels, both of
weight 1 (BS.1770-4 table 3). A mono recording is measured as one channel: a mono signal reads
3 LU less than the same signal on both channels, as the standard has it.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy import signal

ABSOLUTE_GATE_LUFS = -70.0
RELATIVE_GATE_LU = -10.0
_OFFSET_LU = -0.691  # BS.1770-4 equation 2: makes a full-scale 1 kHz sine on one channel −3.01
_STEP_S = 0.1  # gating blocks last 400 ms and overlap by 75 %
_STEPS_A_BLOCK = 4


def k_weighting(sample_rate_hz: int) -> NDArray[np.float64]:
    """Return the two K-weighting sections as second-order sections, shape (2, 6).

    BS.1770-4 prints coefficients for 48 kHz only; other rates come from the analogue filters
    behind them by the bilinear transform (corner, Q and gain fitted to the printed values).

    Raises
    ------
    ValueError
        For a rate below 8 kHz, where the shelf no longer fits under half the rate.
    """
    if sample_rate_hz < 8000:
        raise ValueError(f"loudness needs at least 8000 samples a second, not {sample_rate_hz}")
    # High shelf: +4 dB above about 1.7 kHz (the head), then high pass at 38 Hz (the RLB curve).
    shelf_gain = 10 ** (3.999843853973347 / 20)
    shelf_mid = shelf_gain**0.4996667741545416
    k = np.tan(np.pi * 1681.974450955533 / sample_rate_hz)
    q = 0.7071752369554196
    a0 = 1 + k / q + k * k
    shelf = [
        (shelf_gain + shelf_mid * k / q + k * k) / a0,
        2 * (k * k - shelf_gain) / a0,
        (shelf_gain - shelf_mid * k / q + k * k) / a0,
        1.0,
        2 * (k * k - 1) / a0,
        (1 - k / q + k * k) / a0,
    ]
    k = np.tan(np.pi * 38.13547087602444 / sample_rate_hz)
    q = 0.5003270373238773
    a0 = 1 + k / q + k * k
    high_pass = [1.0, -2.0, 1.0, 1.0, 2 * (k * k - 1) / a0, (1 - k / q + k * k) / a0]
    return np.array([shelf, high_pass])


class LoudnessMeter:
    """Integrated loudness of a stream; keeps ten numbers a second.

    Parameters
    ----------
    sample_rate_hz : int
    channels : int
        1 or 2.
    """

    def __init__(self, sample_rate_hz: int, channels: int):
        self._sections = k_weighting(sample_rate_hz)
        self._state = np.zeros((2, channels, 2))
        self._step = round(sample_rate_hz * _STEP_S)
        self._partial = 0.0  # energy in the step that is not full yet
        self._partial_n = 0
        self._steps: list[NDArray[np.float64]] = []

    def add(self, samples: NDArray[np.float32]) -> None:
        """Take the next samples, shape (n, channels)."""
        if not len(samples):
            return
        weighted, self._state = signal.sosfilt(self._sections, samples.T, axis=-1, zi=self._state)
        power = np.einsum("ci,ci->i", weighted, weighted)
        # Complete the open step first, then take whole steps at once.
        need = min(self._step - self._partial_n, len(power))
        self._partial += float(power[:need].sum())
        self._partial_n += need
        if self._partial_n < self._step:
            return
        whole = (len(power) - need) // self._step
        body = power[need : need + whole * self._step].reshape(whole, self._step).sum(axis=1)
        self._steps.append(np.concatenate([[self._partial], body]) / self._step)
        rest = power[need + whole * self._step :]
        self._partial, self._partial_n = float(rest.sum()), len(rest)

    def integrated_lufs(self) -> float | None:
        """Return the gated loudness in LUFS; None when no block passes the absolute gate."""
        if not self._steps:
            return None
        steps = np.concatenate(self._steps)
        if len(steps) < _STEPS_A_BLOCK:
            return None
        blocks = np.convolve(steps, np.full(_STEPS_A_BLOCK, 1 / _STEPS_A_BLOCK), mode="valid")
        blocks = blocks[blocks > _power(ABSOLUTE_GATE_LUFS)]
        if not len(blocks):
            return None
        gate = float(blocks.mean()) * 10 ** (RELATIVE_GATE_LU / 10)
        return float(_OFFSET_LU + 10 * np.log10(blocks[blocks > gate].mean()))


def integrated_loudness(samples: NDArray[np.float32], sample_rate_hz: int) -> float | None:
    """Return the gated loudness in LUFS of samples of shape (n, channels); None if too quiet."""
    meter = LoudnessMeter(sample_rate_hz, samples.shape[1])
    meter.add(samples)
    return meter.integrated_lufs()


def _power(lufs: float) -> float:
    return float(10 ** ((lufs - _OFFSET_LU) / 10))
