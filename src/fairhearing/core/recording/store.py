"""The mono sound of a take at one sample rate, kept on disk and lent out as an array.

Conventions
-----------
* Sample k stands at k / rate seconds from the take's t = 0, whatever the file's own rate: the
  resampling filter is symmetric and its delay taken out. A sound track that starts late, or has
  a hole, is filled with silence; nothing is shifted.
* The samples lie in a temporary file that is mapped into memory, so that the memory of this
  process does not grow with the length of the take.
"""

from __future__ import annotations

import math
import tempfile
from fractions import Fraction

import numpy as np
from numpy.typing import NDArray
from scipy.signal import firwin, upfirdn

from fairhearing.core.recording.types import Picture, Probe, SoundBlock

_ZERO_CROSSINGS = 24
_KAISER_BETA = 9.0
_CHUNK_S = 1.0
_LONGEST_FILL = 1 << 20


class MonoStore:
    """Observer that keeps the take's mono sound at a stated rate.

    Parameters
    ----------
    rate_hz : int
        Sample rate of the kept sound.

    Attributes
    ----------
    rate_hz : int
        As given.

    Notes
    -----
    The filter is a Kaiser-windowed sinc (β = 9, 24 zero crossings to each side at the lower of
    the two rates, cut-off at 0.46 of it); see Oppenheim & Schafer, *Discrete-Time Signal
    Processing*, on polyphase resampling and on the Kaiser window.
    """

    def __init__(self, rate_hz: int) -> None:
        if rate_hz < 1:
            raise ValueError(f"sample rate must be positive, not {rate_hz} Hz")
        self.rate_hz = rate_hz
        self._native_hz = rate_hz
        self._next = 0  # native samples that have come, silence included
        self._resampler: _Resampler | None = None
        self._file = tempfile.TemporaryFile(prefix="fairhearing-")  # noqa: SIM115 - kept open
        self._count = 0
        self._view: NDArray[np.float32] | None = None

    def begin(self, probe: Probe) -> None:
        """Prepare the filter for the file's sample rate."""
        if probe.audio is not None:
            self._native_hz = probe.audio.sample_rate_hz
        self._resampler = _Resampler(self._native_hz, self.rate_hz)

    def sound(self, block: SoundBlock) -> None:
        """Put a block where its start says."""
        missing, samples = placed(block, self._next, self._native_hz)
        for first in range(0, missing, _LONGEST_FILL):
            self._take(np.zeros(min(_LONGEST_FILL, missing - first), dtype=np.float32))
        self._take(samples.mean(axis=1, dtype=np.float32))

    def picture(self, picture: Picture) -> None:
        """Pictures are not kept."""

    def finish(self) -> None:
        """Write what the filter still holds and open the samples for reading."""
        if self._resampler is not None:
            self._write(self._resampler.finish())
        self._file.flush()
        if self._count:
            self._view = np.memmap(self._file, np.float32, "r", shape=(self._count,))

    @property
    def samples(self) -> NDArray[np.float32]:
        """The whole take, shape (n,), read-only; empty when there was no sound.

        It stays valid as long as it is referred to or the store lives.
        """
        if self._view is None:
            return np.zeros(0, dtype=np.float32)
        return self._view

    @property
    def duration(self) -> Fraction:
        """End of the sound in seconds from t = 0."""
        return Fraction(self._next, self._native_hz)

    def close(self) -> None:
        """Let go of the temporary file (also done when the store is collected)."""
        self._view = None
        self._file.close()

    def _take(self, mono: NDArray[np.float32]) -> None:
        self._next += len(mono)
        if self._resampler is not None:
            self._write(self._resampler.take(mono))

    def _write(self, samples: NDArray[np.float32]) -> None:
        self._file.write(np.ascontiguousarray(samples, dtype=np.float32).data)
        self._count += len(samples)


class NativeStore:
    """Observer that keeps the take's sound as it was decoded: own rate, one or two channels.

    Conventions are those of :class:`MonoStore`: sample k at k / rate, holes silent, on disk.

    Attributes
    ----------
    rate_hz, channels : int
        Of the recording; 0 before ``begin`` or when there is no sound.
    """

    def __init__(self) -> None:
        self.rate_hz = 0
        self.channels = 0
        self._file = tempfile.TemporaryFile(prefix="fairhearing-")  # noqa: SIM115 - kept open
        self._count = 0
        self._view: NDArray[np.float32] | None = None

    def begin(self, probe: Probe) -> None:
        """Note rate and channels."""
        if probe.audio is not None:
            self.rate_hz = probe.audio.sample_rate_hz
            self.channels = probe.audio.channels

    def sound(self, block: SoundBlock) -> None:
        """Put a block where its start says."""
        missing, samples = placed(block, self._count, self.rate_hz)
        for first in range(0, missing, _LONGEST_FILL):
            self._write(np.zeros((min(_LONGEST_FILL, missing - first), self.channels), np.float32))
        self._write(samples)

    def picture(self, picture: Picture) -> None:
        """Pictures are not kept."""

    def finish(self) -> None:
        """Open the samples for reading."""
        self._file.flush()
        if self._count:
            shape = (self._count, self.channels)
            self._view = np.memmap(self._file, np.float32, "r", shape=shape)

    @property
    def samples(self) -> NDArray[np.float32]:
        """The whole take, shape (n, channels), read-only; empty when there was no sound."""
        if self._view is None:
            return np.zeros((0, max(1, self.channels)), dtype=np.float32)
        return self._view

    def close(self) -> None:
        """Let go of the temporary file (also done when the store is collected)."""
        self._view = None
        self._file.close()

    def _write(self, samples: NDArray[np.float32]) -> None:
        self._file.write(np.ascontiguousarray(samples, dtype=np.float32).data)
        self._count += len(samples)


def placed(block: SoundBlock, taken: int, rate_hz: int) -> tuple[int, NDArray[np.float32]]:
    """Samples of silence before a block, and what of it is new, when so many have been taken.

    Starts are rounded, so counting may be one sample off; only a real hole is filled.
    """
    missing = round(block.start * rate_hz) - taken
    if missing < -1:
        return 0, block.samples[-missing:]
    return (missing if missing > 1 else 0), block.samples


class _Resampler:
    """Streaming polyphase resampling without delay.

    Input is worked off in stretches that begin at whole periods of the two rates, with enough
    context on both sides for the filter; so the output does not depend on how it was cut.
    """

    def __init__(self, source_hz: int, target_hz: int) -> None:
        divisor = math.gcd(source_hz, target_hz)
        self._up, self._down = target_hz // divisor, source_hz // divisor
        self._same = self._up == self._down
        lower = max(self._up, self._down)
        # Half the filter is a whole number of output steps, so that its delay is exact.
        half = -(-_ZERO_CROSSINGS * lower // self._down) * self._down
        if not self._same:
            taps = firwin(2 * half + 1, 0.92 / lower, window=("kaiser", _KAISER_BETA))
            self._taps = (taps * self._up).astype(np.float32)
        # Context in input samples, a whole number of periods so that phases stay aligned.
        reach = math.ceil(half / self._up) + 1
        self._context = math.ceil(reach / self._down) * self._down
        self._half = half
        periods = max(1, round(source_hz * _CHUNK_S / self._down))
        self._stretch = periods * self._down
        self._held = np.zeros(self._context, dtype=np.float32)  # silence before t = 0
        self._taken = 0
        self._given = 0

    def take(self, samples: NDArray[np.float32]) -> NDArray[np.float32]:
        """Take input, shape (n,); returns the output that is complete."""
        self._taken += len(samples)
        if self._same:
            return samples
        self._held = np.concatenate([self._held, samples])
        done = []
        while len(self._held) >= 2 * self._context + self._stretch:
            done.append(self._work_off(self._stretch))
        return np.concatenate(done) if done else np.zeros(0, dtype=np.float32)

    def finish(self) -> NDArray[np.float32]:
        """Return the rest; the end of the input is followed by silence."""
        if self._same:
            return np.zeros(0, dtype=np.float32)
        wanted = -(-self._taken * self._up // self._down) - self._given
        rest = max(0, len(self._held) - self._context)
        rest = -(-rest // self._down) * self._down
        silence = np.zeros(self._context + rest, dtype=np.float32)
        self._held = np.concatenate([self._held, silence])
        return self._work_off(rest)[: max(0, wanted)]

    def _work_off(self, stretch: int) -> NDArray[np.float32]:
        """Filter the next stretch of input that lies after the context in what is held."""
        if stretch == 0:
            return np.zeros(0, dtype=np.float32)
        piece = self._held[: stretch + 2 * self._context]
        filtered = upfirdn(self._taps, piece, self._up, self._down)
        first = (self._half + self._context * self._up) // self._down
        count = stretch * self._up // self._down
        self._held = self._held[stretch:]
        self._given += count
        return np.asarray(filtered[first : first + count], dtype=np.float32)
