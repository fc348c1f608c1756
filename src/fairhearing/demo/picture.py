"""The picture of a take: a drawn player in a drawn room. No real person is shown.

The player sways, breathes, lifts the instrument to play and gives with each attack; mallets and
sticks fall when strokes sound. Sensor noise and a breathing exposure keep every frame different
from its neighbours after compression, as with a real camera.

Conventions: frames are planar YUV 4:2:0, ``uint8``, shape (height · 3 / 2, width), 640 × 360 or
360 × 640; times in seconds of the take.
"""

from __future__ import annotations

from collections.abc import Iterator

import cv2
import numpy as np
from numpy.typing import NDArray

from fairhearing.demo.figure import Figure, Frame, Pose
from fairhearing.demo.rooms import Home
from fairhearing.demo.truth import Performance

LONG, SHORT = 640, 360
_NOISES = 12

_WALLS = ((196, 205, 208), (205, 196, 186), (186, 204, 196), (200, 190, 205), (178, 196, 210))


def frame_times(
    performance: Performance, home: Home, start_s: float, end_s: float
) -> NDArray[np.float64]:
    """Return when frames are taken: jittering, and slower in the dark, as phones do.

    Returns
    -------
    ndarray of float64, shape (n,)
        Seconds from `start_s`, increasing, the first 0.
    """
    dice = performance.player.dice("shutter")
    count = int((end_s - start_s) * home.frame_rate) + 1
    gap = 1 / home.frame_rate
    gaps = np.full(count, gap) + dice.normal(0, 0.0006, count)
    if home.light < 0.5:
        # In the dark a phone exposes longer every now and then, and drops frames.
        gaps[dice.random(count) < 0.2] += gap
    times = np.concatenate([[0.0], np.cumsum(np.maximum(gaps, gap / 2))])
    kept: NDArray[np.float64] = times[times < end_s - start_s - 0.5 * gap]
    return kept


def frames(
    performance: Performance, home: Home, times: NDArray[np.float64], purpose: str = "scene"
) -> Iterator[Frame]:
    """Yield one frame for each time (seconds of the take); `purpose` sets the scene's dice."""
    scene = _Scene(performance, home, purpose)
    for index, now in enumerate(times):
        yield scene.frame(index, float(now))


class _Scene:
    """Everything that does not change from frame to frame, and how to draw the rest."""

    def __init__(self, performance: Performance, home: Home, purpose: str):
        player = performance.player
        who, self.dice = player.dice("looks"), player.dice(purpose)
        self.home = home
        self.width, self.height = (SHORT, LONG) if home.upright else (LONG, SHORT)
        self.wall = _WALLS[int(who.integers(0, len(_WALLS)))]
        self.figure = Figure.of(player)
        self.back = self._background(who)
        self.onsets = np.array([note.onset_s for note in performance.notes])
        self.ends = np.array([note.onset_s + note.duration_s for note in performance.notes])
        self.phase = self.dice.uniform(0, 6.28, 6)
        self.pace = self.dice.uniform(0.85, 1.15)
        self.shift = self.dice.uniform(-12, 12), self.dice.uniform(-6, 6)
        self.noise = self._noises()
        self.exposure = 0.0

    def _background(self, who: np.random.Generator) -> Frame:
        width, height = self.width, self.height
        rows = np.linspace(1.04, 0.82, height)[:, None, None]
        across = np.linspace(0.94, 1.06, width)[None, :, None]
        picture = np.clip(np.array(self.wall) * rows * across, 0, 255).astype(np.uint8)
        floor = int(height * 0.83)
        picture[floor:] = (
            np.array((96, 118, 140)) * np.linspace(0.9, 1.1, height - floor)[:, None, None]
        )
        x = int(who.integers(20, width // 4))
        cv2.rectangle(picture, (x, 40), (x + 110, 150), (235, 238, 240), -1)
        cv2.rectangle(picture, (x, 40), (x + 110, 150), (120, 130, 140), 4)
        cv2.line(picture, (x + 55, 40), (x + 55, 150), (120, 130, 140), 3)
        shelf = width - 150
        cv2.rectangle(picture, (shelf, 120), (width - 24, 128), (70, 90, 110), -1)
        for book in range(9):
            left = shelf + 6 + book * 12
            tall = int(who.integers(30, 56))
            colour = tuple(int(c) for c in who.integers(50, 190, 3))
            cv2.rectangle(picture, (left, 120 - tall), (left + 9, 119), colour, -1)
        return np.asarray(cv2.GaussianBlur(picture, (0, 0), 0.8), np.uint8)

    def _noises(self) -> list[Frame]:
        """Grain and blotches around 128, to be added to luma."""
        dark = 1 + 0.3 * (self.home.light < 0.5)
        found = []
        for _ in range(_NOISES):
            shape = (self.height + 16, self.width + 16)
            fine = self.dice.standard_normal(shape, np.float32) * np.float32(2.0 * dark)
            size = (shape[1] // 6 + 1, shape[0] // 6 + 1)
            coarse = self.dice.standard_normal(size[::-1], np.float32)
            blotches = cv2.resize(coarse, shape[::-1], interpolation=cv2.INTER_LINEAR)
            whole = 128 + fine + np.float32(1.6 * dark) * blotches
            found.append(np.clip(whole, 0, 255).astype(np.uint8))
        return found

    def frame(self, index: int, now: float) -> Frame:
        """Draw the frame at `now` seconds."""
        picture = self.back.copy()
        self.figure.draw(picture, self._pose(now))
        planes = np.asarray(cv2.cvtColor(picture, cv2.COLOR_BGR2YUV_I420), np.uint8)
        noise = self.noise[int(self.dice.integers(_NOISES))]
        top, left = (int(n) for n in self.dice.integers(0, 16, 2))
        grain = noise[top : top + self.height, left : left + self.width]
        self.exposure = 0.97 * self.exposure + float(self.dice.normal(0, 0.12))
        light = self.home.light
        luma = planes[: self.height]
        cv2.addWeighted(luma, light, grain, 1.0, self.exposure - 128 + 2, dst=luma)
        if light < 0.5:
            chroma = planes[self.height :]
            cv2.addWeighted(chroma, 0.5, chroma, 0.0, 64.0, dst=chroma)
        return planes

    def _pose(self, now: float) -> Pose:
        p, w = self.phase, self.pace
        last = int(np.searchsorted(self.onsets, now)) - 1
        since = now - self.onsets[last] if last >= 0 else 99.0
        quiet = max(now - self.ends[last], 0.0) if last >= 0 else 99.0
        ahead = self.onsets[last + 1] - now if last + 1 < len(self.onsets) else 99.0
        scale = self.home.size * (1.15 if self.home.upright else 1.0)
        foot = self.height * (0.93 if scale < 1.4 else 1.25)
        return Pose(
            x=self.width * 0.5 + self.shift[0],
            y=foot + self.shift[1],
            scale=scale,
            sway=7 * np.sin(1.9 * w * now + p[0]) + 4 * np.sin(0.73 * w * now + p[1]),
            bob=2.5 * np.sin(2.6 * w * now + p[2]) + 1.5 * np.sin(1.31 * w * now + p[3]),
            lifted=float(np.clip(1.6 - min(quiet, ahead) / 0.35, 0, 1)),
            attack=float(np.exp(-since / 0.09)),
            slide=0.5 + 0.5 * np.sin(5.1 * now + p[5]),
            lips=abs(np.sin(9 * now + p[4])),
        )
