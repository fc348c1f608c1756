"""The picture jumps: one frame differs from the last far more than its neighbours do.

Conventions: a frame is reduced to 80 px on the long side; brightness and contrast of a pair are
matched and a shift of the whole picture is undone before they are compared, so that exposure,
a cloud, or a hand-held phone weighs little. The difference is the mean of the tenth of the
pixels that differ most: a person who jumps fills only part of the picture.

What it cannot tell: a light that is switched, a bump, something large that moves in or out, and
a join after which everything stands where it stood before.
"""

from __future__ import annotations

import functools
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from fairhearing.core.recording.types import Picture

LONG_SIDE_PX = 80
_TOP_SHARE = 0.1
_REPEATED = 0.05  # mean difference in luma levels under which a frame repeats the last one
_STANDS_OUT = 1.5  # only steps this much above the running level are looked at once more
_RUNNING = 0.1
_NOISE_LEVELS = 1.5  # added to both sides of the ratio: differences of coding noise are no jump
_NEIGHBOURS = 10  # steps on either side that a jump must stand above
_LIVELY_RANK = 3
_GAP_POWER = 0.8


@dataclass(frozen=True, slots=True)
class PictureTrace:
    """One value for each step from a frame to the next.

    Attributes
    ----------
    times_s : ndarray, shape (n,)
        Time of the later frame.
    gaps_s : ndarray, shape (n,)
        Time since the last frame that was not a mere repetition.
    change : ndarray, shape (n,)
        Compensated difference in luma levels; NaN for a repeated frame.
    stays : ndarray, shape (n,)
        Difference between the frame before the step and the one after the next, as a share of
        the step: about 1 when the picture stays changed, near 0 after a flash. NaN where the
        step did not stand out, so that nobody asked.
    """

    times_s: NDArray[np.float64]
    gaps_s: NDArray[np.float64]
    change: NDArray[np.float64]
    stays: NDArray[np.float64]


class PictureTracer:
    """Turns pictures into a :class:`PictureTrace`; keeps two small frames, four numbers each."""

    def __init__(self) -> None:
        self._last: NDArray[np.float32] | None = None
        self._last_s = 0.0
        self._running = 0.0
        self._before_step: NDArray[np.float32] | None = None
        self._step_row: list[float] = []
        self._rows: list[list[float]] = []

    def add(self, picture: Picture) -> float | None:
        """Take the next picture; return its change over the running level if it stands out."""
        small = _reduced(picture.luma)
        now_s = float(picture.time)
        if self._last is None or self._last.shape != small.shape:
            self._last, self._last_s, self._before_step = small, now_s, None
            return None
        if cv2.norm(small, self._last, cv2.NORM_L1) < _REPEATED * small.size:
            self._rows.append([now_s, now_s - self._last_s, np.nan, np.nan])
            return None
        change = _difference(self._last, small)
        if self._before_step is not None:
            step = self._step_row
            step[3] = _difference(self._before_step, small) / max(step[2], 1e-6)
            self._before_step = None
        row = [now_s, now_s - self._last_s, change, np.nan]
        stands_out = change / (self._running + _NOISE_LEVELS)
        if change > _STANDS_OUT * self._running:
            self._before_step, self._step_row = self._last, row
        self._rows.append(row)
        self._running += _RUNNING * (min(change, 3 * self._running + 1) - self._running)
        self._last, self._last_s = small, now_s
        return stands_out if stands_out > _STANDS_OUT else None

    def trace(self) -> PictureTrace:
        """Return what was seen so far."""
        rows = np.array(self._rows, dtype=np.float64).reshape(-1, 4)
        return PictureTrace(rows[:, 0], rows[:, 1], rows[:, 2], rows[:, 3])


def _reduced(luma: NDArray[np.uint8]) -> NDArray[np.float32]:
    height, width = luma.shape
    scale = LONG_SIDE_PX / max(height, width)
    size = (max(round(width * scale), 8), max(round(height * scale), 8))
    return cv2.resize(luma, size, interpolation=cv2.INTER_AREA).astype(np.float32)


@functools.lru_cache(maxsize=8)
def _window(width: int, height: int) -> NDArray[np.float32]:
    return np.asarray(cv2.createHanningWindow((width, height), cv2.CV_32F), dtype=np.float32)


def _difference(before: NDArray[np.float32], after: NDArray[np.float32]) -> float:
    """Return the mean of the top tenth of differences after compensation, in luma levels."""
    height, width = after.shape
    # Copies: phaseCorrelate multiplies the window into its arguments when no padding is needed.
    (dx, dy), response = cv2.phaseCorrelate(before.copy(), after.copy(), _window(width, height))
    far = max(abs(dx), abs(dy))
    plain = _top_difference(before, after)
    if response < 0.05 or not 0.05 < far < height / 5:
        return plain
    move = np.array([[1, 0, dx], [0, 1, dy]], dtype=np.float32)
    moved = cv2.warpAffine(before, move, (width, height), borderMode=cv2.BORDER_REPLICATE)
    rim = int(far) + 2
    inner = np.s_[rim : height - rim, rim : width - rim]
    # A large thing that moves can look like a shift of everything; then the plain one is less.
    return min(plain, _top_difference(np.asarray(moved[inner], np.float32), after[inner]))


def _top_difference(before: NDArray[np.float32], after: NDArray[np.float32]) -> float:
    mean0, spread0 = (float(value.item()) for value in cv2.meanStdDev(before))
    mean1, spread1 = (float(value.item()) for value in cv2.meanStdDev(after))
    gain = min(max(spread1 / max(spread0, 1.0), 0.5), 2.0)
    matched = cv2.addWeighted(before, gain, after, -1.0, mean1 - gain * mean0)
    size = np.sort(np.abs(matched), axis=None)
    return float(size[-max(int(len(size) * _TOP_SHARE), 1) :].mean())


def jump_scores(trace: PictureTrace) -> NDArray[np.float64]:
    """Return how far each step stands above its neighbours, natural logarithm of a ratio.

    A longer gap between two frames lets more happen, so the change expected from the
    neighbours grows with the gap; what does not stay (a flash) counts for as much as stays.

    Returns
    -------
    ndarray, shape (n,)
        0 for repeated frames and for takes with too few frames.
    """
    scores = np.zeros(len(trace.change))
    real = np.flatnonzero(np.isfinite(trace.change))
    if len(real) < 2 * _NEIGHBOURS + 1:
        return scores
    change, gaps = trace.change[real], trace.gaps_s[real]
    around = np.lib.stride_tricks.sliding_window_view(
        np.pad(change, _NEIGHBOURS, mode="reflect"), 2 * _NEIGHBOURS + 1
    )
    others = np.delete(around, _NEIGHBOURS, axis=1)
    usual = np.median(others, axis=1)
    lively = np.sort(others, axis=1)[:, -_LIVELY_RANK]
    longer = np.maximum(gaps / np.median(gaps), 1.0) ** _GAP_POWER
    expected = np.sqrt(usual * lively) * longer
    stays = np.where(np.isfinite(trace.stays[real]), np.clip(trace.stays[real], 0.0, 1.0), 1.0)
    stays[1:] = np.minimum(stays[1:], stays[:-1])  # the way back from a flash is no jump either
    scores[real] = np.log((change * stays + _NOISE_LEVELS) / (expected + _NOISE_LEVELS))
    return scores
