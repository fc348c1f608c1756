"""Decoded sound put in order: ``float32``, at most two channels, without holes in its counting.

Time stamps of containers are rounded (a millisecond in webm) and those of phones tremble. As
long as a frame starts within :data:`TOLERANCE_S` of where the last one ended, the samples are
counted on; beyond, the time stamp wins: a gap is left open, an overlap is cut off.
"""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction

import numpy as np
from av.audio.frame import AudioFrame
from av.audio.resampler import AudioResampler
from numpy.typing import NDArray

from fairhearing.core.recording.wire import MOST_SAMPLES

TOLERANCE_S = Fraction(1, 100)

_FULL_SCALE = {"u8": 128.0, "s16": 32768.0, "s32": 2147483648.0, "flt": 1.0, "dbl": 1.0}


class SoundTrack:
    """Turns the frames of one sound track into blocks of about a quarter of a second.

    Parameters
    ----------
    rate_hz : int
        Sample rate of every block; frames of another rate are converted.
    channels : int
        1 or 2; frames with another number are folded.
    origin : Fraction
        Time stamp in seconds that counts as t = 0.
    """

    def __init__(self, rate_hz: int, channels: int, origin: Fraction) -> None:
        self.rate_hz = rate_hz
        self.channels = channels
        self._origin = origin
        self._block = max(1, min(rate_hz // 4, MOST_SAMPLES // 2))
        self._anchor = Fraction(0)
        self._sent = 0  # samples since the anchor that have left
        self._held: list[NDArray[np.float32]] = []
        self._held_count = 0
        self._started = False
        self._previous: tuple[Fraction | None, NDArray[np.float32], int | None] | None = None
        self._resampler: AudioResampler | None = None
        self._setting: tuple[int, str, str] | None = None
        self.jumps = 0
        self.total = 0

    @property
    def end(self) -> Fraction:
        """Time in seconds at which the sound so far ends."""
        return self._anchor + Fraction(self._sent + self._held_count, self.rate_hz)

    def take(self, frame: AudioFrame) -> Iterator[tuple[Fraction, NDArray[np.float32]]]:
        """Take one decoded frame; yields the blocks that are complete."""
        time, lasts = None, None
        if frame.time_base is not None:
            if frame.pts is not None:
                time = frame.pts * frame.time_base - self._origin
            if frame.duration:
                lasts = round(frame.duration * frame.time_base * self.rate_hz)
        for samples in self._samples(frame):
            yield from self._place_previous()
            self._previous = (time, samples, lasts)
            time = None

    def finish(self) -> Iterator[tuple[Fraction, NDArray[np.float32]]]:
        """Yield what is still held.

        Coders fill up the last frame; what lies beyond its announced length is not played.
        """
        if self._previous is not None and self._previous[2] is not None:
            time, samples, lasts = self._previous
            self._previous = (time, samples[: lasts or None], None)
        yield from self._place_previous()
        for samples in self._drained():
            yield from self._place(None, samples)
        yield from self._release(everything=True)

    def _drained(self) -> Iterator[NDArray[np.float32]]:
        """What a converter still holds."""
        if self._resampler is not None:
            for frame in self._resampler.resample(None):
                yield _interleaved(frame, self.channels)

    def _place_previous(self) -> Iterator[tuple[Fraction, NDArray[np.float32]]]:
        if self._previous is not None:
            time, samples, _ = self._previous
            self._previous = None
            yield from self._place(time, samples)

    def _place(
        self, time: Fraction | None, samples: NDArray[np.float32]
    ) -> Iterator[tuple[Fraction, NDArray[np.float32]]]:
        expected = self.end if self._started else None
        if time is None:
            time = expected if expected is not None else Fraction(0)
        if expected is None or abs(time - expected) > TOLERANCE_S:
            start = max(time, expected) if expected is not None else max(time, Fraction(0))
            skip = min(len(samples), round((start - time) * self.rate_hz))
            samples = samples[skip:]
            if len(samples) == 0:
                return
            if expected is not None:
                self.jumps += 1
                yield from self._release(everything=True)
            self._started = True
            self._anchor = start
            self._sent = 0
        self._held.append(samples)
        self._held_count += len(samples)
        self.total += len(samples)
        yield from self._release(everything=False)

    def _release(self, *, everything: bool) -> Iterator[tuple[Fraction, NDArray[np.float32]]]:
        if self._held_count == 0 or (not everything and self._held_count < self._block):
            return
        held = self._held[0] if len(self._held) == 1 else np.concatenate(self._held)
        self._held = []
        self._held_count = 0
        for first in range(0, len(held), MOST_SAMPLES):
            part = held[first : first + MOST_SAMPLES]
            start = self._anchor + Fraction(self._sent, self.rate_hz)
            self._sent += len(part)
            yield start, part

    def _samples(self, frame: AudioFrame) -> Iterator[NDArray[np.float32]]:
        fits = frame.sample_rate == self.rate_hz and frame.layout.nb_channels == self.channels
        if fits and self._resampler is None:
            yield _interleaved(frame, self.channels)
            return
        setting = (frame.sample_rate, frame.layout.name, frame.format.name)
        if self._resampler is None or setting != self._setting:
            # A track may change its format midway; each stretch is converted by itself.
            yield from self._drained()
            layout = "mono" if self.channels == 1 else "stereo"
            self._resampler = AudioResampler("fltp", layout, self.rate_hz)
            self._setting = setting
        for converted in self._resampler.resample(frame):
            yield _interleaved(converted, self.channels)


def _interleaved(frame: AudioFrame, channels: int) -> NDArray[np.float32]:
    """Samples of a frame as ``float32`` in −1…1, shape (n, channels)."""
    raw = frame.to_ndarray()
    samples = raw.T if frame.format.is_planar else raw.reshape(-1, channels)
    kind = frame.format.name.removesuffix("p")
    if kind == "u8":
        samples = samples.astype(np.float32) - np.float32(128.0)
    if kind not in ("flt", "dbl"):
        samples = samples.astype(np.float32) / np.float32(_FULL_SCALE[kind])
    plain = np.ascontiguousarray(samples, dtype=np.float32)
    if not np.isfinite(plain).all():
        plain = np.nan_to_num(plain, nan=0.0, posinf=0.0, neginf=0.0)
    return plain
