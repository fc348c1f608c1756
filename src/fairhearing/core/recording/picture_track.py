"""Decoded pictures put in order: exact times, upright, small, each later than the last."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

import numpy as np
from av.video.frame import VideoFrame
from numpy.typing import NDArray

from fairhearing.core.recording.reduce import reduced_luma


@dataclass(frozen=True, slots=True)
class ShownPicture:
    """A picture with its presentation time in seconds."""

    time: Fraction
    luma: NDArray[np.uint8]
    key_frame: bool


class PictureTrack:
    """Turns the frames of one picture track into small upright pictures.

    Parameters
    ----------
    rotation : int
        Counter-clockwise degrees of the file's display matrix.
    origin : Fraction
        Time stamp in seconds that counts as t = 0.
    """

    def __init__(self, rotation: int, origin: Fraction) -> None:
        self._quarter_turns = round(rotation / 90) % 4
        self._origin = origin
        self._last: Fraction | None = None
        self._shortest: Fraction | None = None
        self._longest: Fraction | None = None
        self._tick = Fraction(0)
        self._last_pts: int | None = None
        self._last_dts: int | None = None
        self._faulty_pts = 0
        self._faulty_dts = 0
        self.total = 0
        self.disordered = 0

    @property
    def rotation_deg(self) -> int:
        """Clockwise turn that makes the picture upright: 0, 90, 180 or 270."""
        return -90 * self._quarter_turns % 360

    @property
    def end(self) -> Fraction:
        """Time in seconds at which the last picture ends (it lasts as long as the shortest)."""
        return (self._last or Fraction(0)) + (self._shortest or Fraction(0))

    @property
    def variable_rate(self) -> bool:
        """True when the pictures' durations differ by more than a tick of rounding."""
        if self._shortest is None or self._longest is None:
            return False
        return self._longest - self._shortest > self._tick

    def take(self, frame: VideoFrame) -> ShownPicture | None:
        """Take one decoded frame; None when no player would show it in order."""
        ticks = self._ticks(frame.pts, frame.dts)
        if ticks is None or frame.time_base is None:
            self.disordered += 1
            return None
        time = ticks * frame.time_base - self._origin
        if time < 0 or (self._last is not None and time <= self._last):
            self.disordered += 1
            return None
        if self._last is not None:
            lasted = time - self._last
            self._tick = frame.time_base
            self._shortest = lasted if self._shortest is None else min(self._shortest, lasted)
            self._longest = lasted if self._longest is None else max(self._longest, lasted)
        self._last = time
        self.total += 1
        return ShownPicture(time, reduced_luma(frame, self._quarter_turns), frame.key_frame)

    def _ticks(self, pts: int | None, dts: int | None) -> int | None:
        """Presentation time, or decoding time where a file's presentation times run backwards.

        Some writers leave out the table of composition offsets. Players then go by whichever
        of the two series has run backwards less often; so do we.
        """
        if dts is not None:
            self._faulty_dts += self._last_dts is not None and dts <= self._last_dts
            self._last_dts = dts
        if pts is not None:
            self._faulty_pts += self._last_pts is not None and pts <= self._last_pts
            self._last_pts = pts
        if pts is not None and (dts is None or self._faulty_pts <= self._faulty_dts):
            return pts
        return dts
