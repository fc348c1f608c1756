"""Two seconds around a moment as one picture: a strip of frames over a spectrogram.

While the take is decoded four small frames a second are kept as JPEG, the two frames on either
side of every step that stands out, and the sound at 8 kHz: about 20 kB a second. Nothing is
decoded twice.
"""

from __future__ import annotations

import bisect
import heapq
from fractions import Fraction

import cv2
import numpy as np
from numpy.typing import NDArray

from fairhearing.core.recording.types import Picture

_SIDE_S = 1.0
_EVERY_S = 0.25
_FRAME_WIDTH = 120
_SOUND_RATE_HZ = 8000
_MOST_STEPS = 300
_WIDTH = 8 * _FRAME_WIDTH
_SPECTROGRAM_HEIGHT = 160
_PAPER = (236, 243, 247)  # blue, green, red
_INK = (40, 33, 28)


class PreviewKeeper:
    """Keeps what previews need; see the module for how much that is."""

    def __init__(self, sample_rate_hz: int | None):
        self._times: list[float] = []
        self._frames: list[bytes] = []
        self._steps: list[tuple[float, float, bytes, bytes]] = []  # a heap, smallest step first
        self._last: Picture | None = None
        self._rate = sample_rate_hz
        self._decimation = max(round((sample_rate_hz or 0) / _SOUND_RATE_HZ), 1)
        self._sound: list[NDArray[np.int16]] = []
        self._rest = np.zeros(0, dtype=np.float32)
        self._sound_start_s = 0.0

    def picture(self, picture: Picture, step: float | None) -> None:
        """Take the next picture; ``step`` is how far it stands out, None when it does not."""
        now_s = float(picture.time)
        if not self._times or now_s >= self._times[-1] + _EVERY_S:
            self._times.append(now_s)
            self._frames.append(_jpeg(picture.luma))
        if step is not None and self._last is not None:
            full = len(self._steps) == _MOST_STEPS
            if not full or step > self._steps[0][0]:
                entry = (step, now_s, _jpeg(self._last.luma), _jpeg(picture.luma))
                (heapq.heapreplace if full else heapq.heappush)(self._steps, entry)
        self._last = picture

    def sound(self, mono: NDArray[np.float32], start: Fraction) -> None:
        """Take the next sound."""
        if not self._sound and not len(self._rest):
            self._sound_start_s = float(start)
        joined = np.concatenate([self._rest, mono])
        whole = len(joined) // self._decimation
        cut = whole * self._decimation
        means = joined[:cut].reshape(whole, self._decimation).mean(axis=1)
        self._sound.append((np.clip(means, -1, 1) * 32767).astype(np.int16))
        self._rest = joined[cut:]

    def png(self, at_s: float) -> bytes | None:
        """Return the preview around a moment as PNG; None when nothing was kept there."""
        parts = [part for part in (self._strip(at_s), self._spectrogram(at_s)) if part is not None]
        if not parts:
            return None
        sheet = np.concatenate(parts, axis=0)
        middle = _WIDTH // 2
        sheet[::4, middle : middle + 2] = _INK
        done, data = cv2.imencode(".png", sheet)
        return bytes(data) if done else None

    def _strip(self, at_s: float) -> NDArray[np.uint8] | None:
        first = bisect.bisect_left(self._times, at_s - _SIDE_S - _EVERY_S)
        beyond = bisect.bisect_right(self._times, at_s + _SIDE_S + _EVERY_S)
        around = list(zip(self._times[first:beyond], self._frames[first:beyond], strict=True))
        if not around:
            return None
        before = [frame for time, frame in around if time < at_s]
        after = [frame for time, frame in around if time >= at_s]
        near = [step for step in self._steps if abs(step[1] - at_s) <= 0.06]
        if near:  # the very frames on either side of the step, next to the middle
            _, _, last, first_new = max(near)
            before, after = [*before[-3:], last], [first_new, *after[:3]]
        tiles = [_tile(frame) for frame in before[-4:]]
        later = [_tile(frame) for frame in after[:4]]
        height = (tiles + later)[0].shape[0]
        blank = np.full((height, _FRAME_WIDTH, 3), _PAPER, dtype=np.uint8)
        row = [blank] * (4 - len(tiles)) + tiles + later + [blank] * (4 - len(later))
        return np.concatenate([_fitted(tile, height) for tile in row], axis=1)

    def _spectrogram(self, at_s: float) -> NDArray[np.uint8] | None:
        if self._rate is None or not self._sound:
            return None
        rate = self._rate / self._decimation
        sound = np.concatenate(self._sound).astype(np.float32) / 32767
        first = round((at_s - _SIDE_S - self._sound_start_s) * rate)
        n = round(2 * _SIDE_S * rate)
        part = sound[max(first, 0) : max(first + n, 0)]
        if not len(part):
            return None
        part = np.pad(part, (max(-first, 0), n))[:n]
        size, hop = 256, max(n // _WIDTH * 4, 8)
        views = np.lib.stride_tricks.sliding_window_view(np.pad(part, size // 2), size)[::hop]
        power = np.abs(np.fft.rfft(views * np.hanning(size), axis=1)) ** 2
        level = 10 * np.log10(power.T[::-1].astype(np.float64) + 1e-9)
        top = float(level.max())
        shade = np.clip((level - top + 60) / 60, 0, 1)[..., None]
        ink = np.array(_INK) * shade + np.array(_PAPER) * (1 - shade)
        return np.asarray(
            cv2.resize(ink.astype(np.uint8), (_WIDTH, _SPECTROGRAM_HEIGHT)), dtype=np.uint8
        )


def _jpeg(luma: NDArray[np.uint8]) -> bytes:
    height = max(round(luma.shape[0] * _FRAME_WIDTH / luma.shape[1]), 8)
    small = cv2.resize(luma, (_FRAME_WIDTH, height), interpolation=cv2.INTER_AREA)
    _, data = cv2.imencode(".jpg", small, [cv2.IMWRITE_JPEG_QUALITY, 75])
    return bytes(data)


def _tile(frame: bytes) -> NDArray[np.uint8]:
    picture = cv2.imdecode(np.frombuffer(frame, np.uint8), cv2.IMREAD_COLOR)
    if picture is None:
        raise ValueError("a kept frame cannot be read back")
    picture[:, -1] = _PAPER
    return np.asarray(picture, dtype=np.uint8)


def _fitted(tile: NDArray[np.uint8], height: int) -> NDArray[np.uint8]:
    if tile.shape[0] == height:
        return tile
    return np.asarray(cv2.resize(tile, (_FRAME_WIDTH, height)), dtype=np.uint8)
