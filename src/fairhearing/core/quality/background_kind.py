"""What the background is: hum, a steady noise such as a fan, voices, or music.

Only the pauses are heard: stretches of at least 0.4 s that lie 20 dB and more under the loud
playing. The kinds are told apart by how steady the pauses are, how much of their energy stands
in lines of the mains (50 or 60 Hz and multiples), and how long their spectral lines last: a
held note lasts, a syllable does not. It is a hint for advice, right on most clear cases and
silent (None) where none is clear; measured rates are in docs/evidence.md.
"""

from __future__ import annotations

from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy import fft

Kind = Literal["hum", "steady noise", "voices", "music"]

WINDOW_S, HOP_S = 0.1, 0.05
_TOP_HZ = 4000.0
_UNDER_DB = 20.0
_LEAST_PAUSE = 8  # hops
_AFTER_NOTE = 4  # hops left for the room to die away
_LEAST_HOPS = 24
_HUM_SHARE = 0.5
_STEADY_DB = 2.5
_LASTING = 0.45


class BackgroundKindMeter:
    """Spectra of 100 ms every 50 ms up to 4 kHz; keeps only those that can still be pauses.

    Memory is bounded by keeping at most ``most`` of the quietest spectra seen so far.
    """

    def __init__(self, sample_rate_hz: int, most: int = 1200):
        self._rate = sample_rate_hz
        self._size = round(sample_rate_hz * WINDOW_S)
        self._hop = round(sample_rate_hz * HOP_S)
        self._bins = int(_TOP_HZ * WINDOW_S)
        self._taper = np.hanning(self._size).astype(np.float32)
        self._rest = np.zeros(0, dtype=np.float32)
        self._levels: list[NDArray[np.float32]] = []
        self._kept: dict[int, NDArray[np.float32]] = {}
        self._count = 0
        self._most = most

    def add(self, mono: NDArray[np.float32]) -> None:
        """Take the next samples, shape (n,)."""
        joined = np.concatenate([self._rest, mono])
        n = (len(joined) - self._size) // self._hop + 1
        if n <= 0:
            self._rest = joined
            return
        views = np.lib.stride_tricks.sliding_window_view(joined, self._size)[:: self._hop][:n]
        spectra = fft.rfft(views * self._taper, axis=1)[:, : self._bins]
        power = (spectra.real**2 + spectra.imag**2).astype(np.float32)
        level = 10 * np.log10(power[:, 4:].sum(axis=1) + 1e-12)
        self._levels.append(level.astype(np.float32))
        for k in range(n):
            self._kept[self._count + k] = power[k]
        self._count += n
        self._rest = joined[n * self._hop :]
        if len(self._kept) > 2 * self._most:
            self._thin()

    def _thin(self) -> None:
        level = np.concatenate(self._levels)
        places = np.fromiter(self._kept, dtype=np.intp)
        quiet = places[np.argsort(level[places], kind="stable")[: self._most]]
        self._kept = {int(place): self._kept[int(place)] for place in np.sort(quiet)}

    def kind(self) -> Kind | None:
        """Return the kind of background, or None when it is unclear or there are no pauses."""
        if not self._levels:
            return None
        level = np.concatenate(self._levels)
        paused = _pauses(level)
        places = [place for place in sorted(self._kept) if paused[place]]
        if len(places) < _LEAST_HOPS:
            return None
        spectra = np.stack([self._kept[place] for place in places])
        return _kind(spectra, np.array(places))


def _pauses(level: NDArray[np.float32]) -> NDArray[np.bool_]:
    loud = float(np.quantile(level, 0.9))
    quiet = (level < loud - _UNDER_DB) & (level > -100)
    edges = np.flatnonzero(np.diff(np.r_[False, quiet, False].astype(np.int8)))
    paused = np.zeros(len(level), dtype=bool)
    for first, beyond in zip(edges[::2], edges[1::2], strict=True):
        if beyond - first >= _LEAST_PAUSE:
            paused[first + _AFTER_NOTE : beyond - 1] = True
    return paused


def _kind(spectra: NDArray[np.float32], places: NDArray[np.intp]) -> Kind | None:
    total = spectra[:, 4:].sum(axis=1)
    level = 10 * np.log10(total + 1e-12)
    # Within a pause, not between pauses: the way it changes from one 50 ms to the next but one.
    near = places[2:] - places[:-2] == 2
    if near.sum() < _LEAST_HOPS // 2:
        return None
    unsteady_db = float(np.sqrt(np.mean((level[2:] - level[:-2])[near] ** 2)) / np.sqrt(2))
    mean = spectra.mean(axis=0)
    hum = max(_line_share(mean, mains) for mains in (50, 60))
    if hum >= _HUM_SHARE and unsteady_db < 2 * _STEADY_DB:
        return "hum"
    lasting = _lasting(spectra, places)
    if unsteady_db < _STEADY_DB and lasting < _LASTING:
        return "steady noise"
    if lasting >= _LASTING:
        return "music"
    return "voices" if unsteady_db >= 2 * _STEADY_DB / 1.5 else None


def _line_share(mean: NDArray[np.float32], mains_hz: int) -> float:
    """Return the share of energy above 40 Hz in lines at multiples of the mains."""
    lines = np.arange(mains_hz, 500, mains_hz) // 10
    in_lines = sum(float(mean[max(k - 1, 0) : k + 2].sum()) for k in lines)
    beside = sum(float(mean[k - 2] + mean[k + 2]) / 2 * 3 for k in lines)
    return max(in_lines - beside, 0.0) / max(float(mean[4:].sum()), 1e-12)


def _lasting(spectra: NDArray[np.float32], places: NDArray[np.intp]) -> float:
    """Return how alike the spectral lines are 150 ms apart: near 0 for noise, 1 for held notes."""
    level = np.log(spectra[:, 15:] + 1e-12)
    smooth = np.apply_along_axis(
        lambda row: np.convolve(row, np.full(15, 1 / 15), "same"), 1, level
    )
    lines = level - smooth
    lines -= lines.mean(axis=1, keepdims=True)
    lines /= np.sqrt(np.mean(lines**2, axis=1, keepdims=True)) + 1e-9
    apart = places[3:] - places[:-3] == 3
    if not apart.any():
        return 0.0
    return float(np.mean(np.mean(lines[3:] * lines[:-3], axis=1)[apart]))
