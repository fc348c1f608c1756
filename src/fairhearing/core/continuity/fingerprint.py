"""An acoustic fingerprint: what is left of a recording in another format, shorter, or quieter.

Conventions: the sound is mono; spectra over 128 ms every 16 ms, in quarter tones from 300 Hz to
4 kHz. Where the energy of a quarter tone rises most, a landmark is set (a time and a band). A
hash is made of three landmarks that follow one another: their bands and the two time
differences (the idea of landmark pairs is Wang's, ISMIR 2003; three make a hash specific enough
that players of one etude at one tempo do not share many). One hash in four is kept, always the
same ones, so that two copies keep the same.
"""

from __future__ import annotations

import struct
from dataclasses import dataclass
from fractions import Fraction

import numpy as np
from numpy.typing import NDArray
from scipy import fft, ndimage

from fairhearing.core.recording.types import Picture, Probe, SoundBlock

HOP_S = 0.016
_WINDOW_S = 0.128
_LOWEST_HZ, _HIGHEST_HZ = 300.0, 4000.0
_BANDS_AN_OCTAVE = 24
_RANGE_DB = 25.0  # what is this far under the loud seconds is left out: codecs and rooms change it
_RISE_OVER = 2  # frames on either side between which the rise is taken
_LEAST_RISE_DB = 6.0
_APART_FRAMES, _APART_BANDS = 6, 3
_FOLLOWERS = 4
_LONGEST_FRAMES = 63
_KEEP_ONE_IN = 4
_BATCH_S = 8.0
_MARGIN_FRAMES = 16


@dataclass(frozen=True, slots=True)
class Fingerprint:
    """Hashes of a recording with their places.

    Attributes
    ----------
    hashes : ndarray of uint32, shape (n,)
    places_ms : ndarray of uint32, shape (n,)
        Place of each hash in milliseconds from t = 0, ascending.
    duration_s : float
        End of the sound.
    """

    hashes: NDArray[np.uint32]
    places_ms: NDArray[np.uint32]
    duration_s: float

    def to_bytes(self) -> bytes:
        """Return a compact form that :meth:`from_bytes` reads (little endian)."""
        head = struct.pack("<4sfI", b"FHF1", self.duration_s, len(self.hashes))
        return head + self.hashes.astype("<u4").tobytes() + self.places_ms.astype("<u4").tobytes()

    @classmethod
    def from_bytes(cls, data: bytes) -> Fingerprint:
        """Read what :meth:`to_bytes` wrote.

        Raises
        ------
        ValueError
            When the bytes are no fingerprint, or not a whole one.
        """
        if len(data) < 12 or data[:4] != b"FHF1":
            raise ValueError("these bytes are not a fingerprint")
        _, duration_s, n = struct.unpack_from("<4sfI", data)
        if len(data) != 12 + 8 * n:
            raise ValueError(f"the fingerprint should have {12 + 8 * n} bytes, not {len(data)}")
        words = np.frombuffer(data, dtype="<u4", offset=12).astype(np.uint32)
        return cls(words[:n], words[n:], float(duration_s))


class FingerprintMaker:
    """Turns mono sound into a :class:`Fingerprint`; works on some seconds at a time.

    Parameters
    ----------
    sample_rate_hz : int
        At least 8000.
    """

    def __init__(self, sample_rate_hz: int):
        if sample_rate_hz < 2 * _HIGHEST_HZ:
            raise ValueError(f"a fingerprint needs 8000 samples a second, not {sample_rate_hz}")
        self._rate = sample_rate_hz
        self._window = round(sample_rate_hz * _WINDOW_S)
        self._taper = np.hanning(self._window).astype(np.float32)
        self._size = int(fft.next_fast_len(self._window, real=True))
        self._bands = _band_matrix(sample_rate_hz, self._size)
        self._waiting = np.zeros(0, dtype=np.float32)
        self._offset = 0  # sample at which the waiting sound starts
        self._next_frame = 0
        self._kept = np.zeros((0, self._bands.shape[1]), dtype=np.float32)
        self._kept_frame = 0
        self._marks: list[NDArray[np.int64]] = []

    def add(self, mono: NDArray[np.float32]) -> None:
        """Take the next samples, shape (n,)."""
        self._waiting = np.concatenate([self._waiting, mono])
        if len(self._waiting) > _BATCH_S * self._rate:
            self._work(last=False)

    def fingerprint(self) -> Fingerprint:
        """Return the fingerprint of all that was taken."""
        duration_s = (self._offset + len(self._waiting)) / self._rate
        self._work(last=True)
        marks = np.concatenate([*self._marks, np.zeros((0, 3), dtype=np.int64)])
        hashes, places_ms = _hashes(marks)
        return Fingerprint(hashes, places_ms, duration_s)

    def _work(self, *, last: bool) -> None:
        ready = (self._offset + len(self._waiting) - self._window) / self._rate / HOP_S
        frames = np.arange(self._next_frame, int(ready) + 1)
        if len(frames):
            starts = np.rint(frames * HOP_S * self._rate).astype(np.int64) - self._offset
            views = np.lib.stride_tricks.sliding_window_view(self._waiting, self._window)
            spectra = fft.rfft(views[starts] * self._taper, self._size, axis=1)
            energy = (spectra.real**2 + spectra.imag**2) @ self._bands
            self._kept = np.concatenate([self._kept, energy.astype(np.float32)])
            self._next_frame = int(frames[-1]) + 1
            used = round(self._next_frame * HOP_S * self._rate) - self._offset
            self._waiting = self._waiting[used:]
            self._offset += used
        # Marks near the batch's ends wait for the next batch, which sees them whole.
        usable = len(self._kept) - (0 if last else _MARGIN_FRAMES)
        first = _MARGIN_FRAMES if self._kept_frame else 0
        if usable <= first:
            return
        marks = _landmarks(self._kept)
        marks = marks[(marks[:, 0] >= first) & (marks[:, 0] < usable)]
        marks[:, 0] += self._kept_frame
        marks[:, 2] += round(self._kept_frame * HOP_S * 1000)
        self._marks.append(marks)
        cut = max(usable - _MARGIN_FRAMES, 0)
        self._kept, self._kept_frame = self._kept[cut:], self._kept_frame + cut


class FingerprintObserver:
    """Makes the fingerprint in the one decoding pass; ``fingerprint`` is None without sound."""

    def __init__(self) -> None:
        self.fingerprint: Fingerprint | None = None

    def begin(self, probe: Probe) -> None:
        """Prepare for a take."""
        self.fingerprint = None
        self._heard = 0
        rate = probe.audio.sample_rate_hz if probe.audio is not None else 0
        self._maker = FingerprintMaker(rate) if rate >= 2 * _HIGHEST_HZ else None
        self._rate = rate

    def sound(self, block: SoundBlock) -> None:
        """Take the next stretch of sound; places count from t = 0, gaps are silent."""
        if self._maker is None:
            return
        missing = round((block.start - Fraction(self._heard, self._rate)) * self._rate)
        if missing > self._rate // 100:
            self._maker.add(np.zeros(missing, dtype=np.float32))
            self._heard += missing
        self._maker.add(np.asarray(block.samples.mean(axis=1), dtype=np.float32))
        self._heard += len(block.samples)

    def picture(self, picture: Picture) -> None:
        """Take no notice of pictures."""

    def finish(self) -> None:
        """Compute what is left."""
        if self._maker is not None and self._heard:
            self.fingerprint = self._maker.fingerprint()
        self._maker = None


def fingerprint(mono: NDArray[np.float32], sample_rate_hz: int) -> Fingerprint:
    """Return the fingerprint of mono samples, shape (n,)."""
    maker = FingerprintMaker(sample_rate_hz)
    step = int(_BATCH_S * sample_rate_hz)
    for start in range(0, len(mono), step):
        maker.add(mono[start : start + step])
    return maker.fingerprint()


def _band_matrix(sample_rate_hz: int, size: int) -> NDArray[np.float32]:
    """Return triangular quarter-tone bands, shape (size // 2 + 1, bands)."""
    n = int(_BANDS_AN_OCTAVE * np.log2(_HIGHEST_HZ / _LOWEST_HZ))
    bin_hz = np.maximum(np.arange(size // 2 + 1) * sample_rate_hz / size, 1.0)
    place = _BANDS_AN_OCTAVE * np.log2(bin_hz / _LOWEST_HZ)
    # Where bins are wider than bands a triangle still spans one bin on either side.
    width = np.maximum(1.0, _BANDS_AN_OCTAVE * np.log2(1 + sample_rate_hz / size / bin_hz))
    weights = np.maximum(0.0, 1 - np.abs(place[:, None] - np.arange(n)) / width[:, None])
    return np.asarray(weights, dtype=np.float32)


def _landmarks(energy: NDArray[np.float32]) -> NDArray[np.int64]:
    """Return (frame, band, milliseconds) where the energy rises most, shape (m, 3), by time."""
    if len(energy) < 2 * _RISE_OVER + 1:
        return np.zeros((0, 3), dtype=np.int64)
    floor = max(float(np.quantile(energy.max(axis=1), 0.95)) * 10 ** (-_RANGE_DB / 10), 1e-12)
    level = 10 * np.log10(energy + floor)
    rise = np.zeros_like(level)
    rise[_RISE_OVER:-_RISE_OVER] = level[2 * _RISE_OVER :] - level[: -2 * _RISE_OVER]
    highest = ndimage.maximum_filter(rise, (2 * _APART_FRAMES + 1, 2 * _APART_BANDS + 1))
    frames, bands = np.nonzero((rise == highest) & (rise >= _LEAST_RISE_DB))
    # The top of a parabola through three neighbours places the rise between the frames.
    before = rise[np.maximum(frames - 1, 0), bands]
    after = rise[np.minimum(frames + 1, len(rise) - 1), bands]
    bend = np.maximum(2 * rise[frames, bands] - before - after, 1e-6)
    beside = np.clip((after - before) / (2 * bend), -0.5, 0.5)
    fine = np.rint((frames + beside) * HOP_S * 1000)
    return np.stack([frames, bands, fine], axis=1).astype(np.int64)


def _hashes(marks: NDArray[np.int64]) -> tuple[NDArray[np.uint32], NDArray[np.uint32]]:
    """Return the kept hashes of triples of landmarks and their places in milliseconds."""
    n = len(marks)
    hashes, places = [], []
    time, band = marks[:, 0], marks[:, 1].astype(np.uint64)
    for i in range(1, _FOLLOWERS):
        for j in range(i + 1, _FOLLOWERS + 1):
            if n <= j:
                continue
            first, second, third = slice(0, n - j), slice(i, n - j + i), slice(j, n)
            gap = time[second] - time[first]
            gap_on = time[third] - time[second]
            good = (gap_on >= 0) & (gap + gap_on > 3) & (gap <= _LONGEST_FRAMES)
            good &= gap_on <= _LONGEST_FRAMES
            word = band[first] << np.uint64(40) | band[second] << np.uint64(32)
            word |= band[third] << np.uint64(24)
            word |= gap.astype(np.uint64) << np.uint64(8) | gap_on.astype(np.uint64)
            # A fixed multiplicative mix (Knuth) spreads the words over 32 bits.
            mixed = (word * np.uint64(0x9E3779B97F4A7C15)) >> np.uint64(32)
            good &= mixed % np.uint64(_KEEP_ONE_IN) == 0
            hashes.append(mixed[good].astype(np.uint32))
            places.append(np.maximum(marks[first, 2][good], 0).astype(np.uint32))
    if not hashes:
        return np.zeros(0, np.uint32), np.zeros(0, np.uint32)
    all_hashes, all_places = np.concatenate(hashes), np.concatenate(places)
    order = np.lexsort((all_hashes, all_places))
    return all_hashes[order], all_places[order]
