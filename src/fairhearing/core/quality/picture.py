"""Is the picture fit to be judged: bright, upright, steady, and is somebody in it?

A few pictures are sampled over the take; between them nothing is computed. Somebody is taken to
be in a picture when a face is found (OpenCV's Haar cascade: Viola & Jones, CVPR 2001) or when a
part of the picture moves. The cascade alone found the large face of a public test clip in 9 of
14 pictures and misses people behind a music stand; something that moves may be a curtain. So a
low share is a hint to the student, nothing else.
"""

from __future__ import annotations

import functools
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from fairhearing.core.recording.types import Picture

_SAMPLES_A_TAKE = 24
_SHORTEST_GAP_S = 1.0
_GAP_UNKNOWN_DURATION_S = 5.0
_FEWEST_FOR_A_SHARE = 3
_BLACK, _WHITE = 16.0, 235.0  # luma range of video (ITU-R BT.601, BT.709)
_SHAKE_WIDTH = 160
_TURNED_EVERY = 4  # looking for sideways faces costs three searches
_MOVING_AFTER_S = 0.3
_MOVING_LEVELS = 12  # a pixel that changes by more has moved, not flickered
_MOVING_SHARE = 0.005
_FACE_WIDTH = 240


@dataclass(frozen=True, slots=True)
class PictureQuality:
    """What the sampled pictures show; None where it could not be measured.

    Attributes
    ----------
    brightness : float or None
        Median over the samples of the mean luma, 0 black … 1 white.
    upright : bool or None
        False when faces appear clearly more often after turning the picture; None when no
        face was found in any direction.
    shake_percent : float or None
        Median movement of the whole picture between two neighbouring frames, in percent of its
        width.
    somebody_share : float or None
        Share of the samples in which a face was found or something moved.
    samples : int
        Number of pictures looked at.
    """

    brightness: float | None
    upright: bool | None
    shake_percent: float | None
    somebody_share: float | None
    samples: int

    def to_report(self) -> dict[str, float | bool | int | None]:
        """Return the entry of the hearing report."""

        def rounded(value: float | None) -> float | None:
            return None if value is None else round(value, 3)

        return {
            "brightness": rounded(self.brightness),
            "upright": self.upright,
            "shake_percent": rounded(self.shake_percent),
            "somebody_share": rounded(self.somebody_share),
            "samples": self.samples,
        }


class PictureMeter:
    """Samples pictures evenly over the take.

    Each sample is compared with the very next frame (shake) and with one 0.3 s later (movement).

    Parameters
    ----------
    duration_s : float or None
        What the file says; sets the distance of the samples.
    """

    def __init__(self, duration_s: float | None):
        self._gap_s = (
            max(duration_s / _SAMPLES_A_TAKE, _SHORTEST_GAP_S)
            if duration_s
            else _GAP_UNKNOWN_DURATION_S
        )
        self._next_s: float | None = None
        self._sample: Picture | None = None
        self._shake_due = False
        self._brightness: list[float] = []
        self._shakes: list[float] = []
        self._found: list[bool] = []
        self._turned: dict[int, int] = dict.fromkeys((0, 90, 180, 270), 0)

    def add(self, picture: Picture) -> None:
        """Take the next picture; most are passed over at once."""
        now_s = float(picture.time)
        if self._sample is not None:
            if self._shake_due:
                self._shakes.append(_movement_percent(self._sample.luma, picture.luma))
                self._shake_due = False
            if now_s >= float(self._sample.time) + _MOVING_AFTER_S:
                self._look(self._sample.luma, picture.luma)
                self._sample = None
        if self._next_s is None:
            self._next_s = now_s + min(self._gap_s / 2, 0.5)
        if now_s >= self._next_s and self._sample is None:
            self._next_s += self._gap_s
            self._sample = replace(picture, luma=np.array(picture.luma))
            self._shake_due = True

    def _look(self, luma: NDArray[np.uint8], later: NDArray[np.uint8]) -> None:
        self._brightness.append((float(luma.mean()) - _BLACK) / (_WHITE - _BLACK))
        faces = _faces(luma)
        self._found.append(faces or _moves(luma, later))
        self._turned[0] += faces
        if not faces and len(self._found) % _TURNED_EVERY == 1:
            for quarter_turns in (1, 2, 3):
                turned = np.ascontiguousarray(np.rot90(luma, quarter_turns))
                self._turned[90 * quarter_turns] += _TURNED_EVERY * _faces(turned)

    def quality(self) -> PictureQuality | None:
        """Return what the samples show; None when there was no picture at all."""
        samples = len(self._found)
        if not samples:
            return None
        sideways = max(self._turned[turn] for turn in (90, 180, 270))
        upright: bool | None = None
        if self._turned[0] or sideways:
            upright = not (sideways > 2 * self._turned[0] and sideways >= 0.25 * samples)
        return PictureQuality(
            brightness=float(np.clip(np.median(self._brightness), 0, 1)),
            upright=upright,
            shake_percent=float(np.median(self._shakes)) if self._shakes else None,
            somebody_share=sum(self._found) / samples if samples >= _FEWEST_FOR_A_SHARE else None,
            samples=samples,
        )


def _movement_percent(before: NDArray[np.uint8], after: NDArray[np.uint8]) -> float:
    if before.shape != after.shape:
        return 100.0
    height = max(round(before.shape[0] * _SHAKE_WIDTH / before.shape[1]), 8)
    small = [
        cv2.resize(luma, (_SHAKE_WIDTH, height), interpolation=cv2.INTER_AREA).astype(np.float32)
        for luma in (before, after)
    ]
    (across, down), _ = cv2.phaseCorrelate(small[0], small[1], _window(height))
    return float(np.hypot(across, down)) * 100 / _SHAKE_WIDTH


@functools.lru_cache(maxsize=4)
def _window(height: int) -> NDArray[np.float32]:
    return np.asarray(cv2.createHanningWindow((_SHAKE_WIDTH, height), cv2.CV_32F), np.float32)


@functools.lru_cache(maxsize=8)
def _cascade(name: str) -> cv2.CascadeClassifier:
    folder: Any = cv2.data.haarcascades  # type: ignore[attr-defined]
    return cv2.CascadeClassifier(str(Path(folder) / name))


def _faces(luma: NDArray[np.uint8]) -> bool:
    height = max(round(luma.shape[0] * _FACE_WIDTH / luma.shape[1]), 24)
    small = cv2.resize(luma, (_FACE_WIDTH, height), interpolation=cv2.INTER_AREA)
    found = _cascade("haarcascade_frontalface_default.xml").detectMultiScale(
        small, scaleFactor=1.1, minNeighbors=4, minSize=(_FACE_WIDTH // 16, _FACE_WIDTH // 16)
    )
    return len(found) > 0


def _moves(luma: NDArray[np.uint8], later: NDArray[np.uint8]) -> bool:
    if luma.shape != later.shape:
        return False
    brighter = round(float(later.mean()) - float(luma.mean()))
    matched = cv2.addWeighted(luma, 1.0, luma, 0.0, brighter)
    changed = cv2.absdiff(matched, later) > _MOVING_LEVELS
    return float(changed.mean()) >= _MOVING_SHARE
