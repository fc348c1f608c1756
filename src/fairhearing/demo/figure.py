"""The drawn player with an instrument and a music stand.

Conventions: the player's own measure is a hundredth of the body's height: x to the right, y up
from the feet; colours are blue, green, red as OpenCV has them.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from fairhearing.core.packet import instruments
from fairhearing.demo.cast import Player

Frame = NDArray[np.uint8]
Point = tuple[float, float]
Colour = tuple[int, int, int]

_SHIRTS = ((120, 70, 50), (60, 90, 150), (70, 120, 70), (130, 60, 110), (70, 70, 80))
_SKINS = ((150, 180, 220), (110, 145, 190), (70, 100, 145), (55, 75, 110), (130, 165, 210))
_HAIRS = ((30, 40, 60), (25, 25, 30), (60, 90, 130), (40, 60, 100), (90, 90, 100))
_BRASS, _BLACK, _SILVER = (70, 170, 205), (40, 38, 36), (205, 205, 200)
_TROUSERS, _MOUTH, _PAPER = (70, 60, 55), (60, 60, 130), (225, 232, 236)


@dataclass(frozen=True, slots=True)
class Pose:
    """Where the player stands and moves at one moment.

    ``x, y``: the feet, in pixels; ``scale``: 1 is normal size; ``sway, bob``: pixels; ``lifted``:
    0 (resting) to 1 (playing); ``attack``: 1 when a note begins, fading; ``slide``: 0…1;
    ``lips``: 0…1 while speaking.
    """

    x: float
    y: float
    scale: float
    sway: float
    bob: float
    lifted: float
    attack: float
    slide: float
    lips: float


@dataclass(frozen=True, slots=True)
class _Pencil:
    picture: Frame
    pose: Pose

    def at(self, point: Point, lean: float = 1.0) -> tuple[int, int]:
        """Pixel of a point of the player; what stands on the floor does not lean."""
        x, y = point
        pose = self.pose
        across = 2.6 * x + lean * pose.sway * y / 100
        up = 2.6 * y + lean * (pose.bob * y / 100 - 2.0 * pose.attack)
        return round(pose.x + pose.scale * across), round(pose.y - pose.scale * up)

    def wide(self, pixels: float) -> int:
        return max(round(pixels * self.pose.scale), 1)

    def line(self, start: Point, end: Point, colour: Colour, pixels: float) -> None:
        cv2.line(self.picture, self.at(start), self.at(end), colour, self.wide(pixels), cv2.LINE_AA)

    def disc(self, middle: Point, across: float, high: float, colour: Colour) -> None:
        axes = self.wide(across), self.wide(high)
        cv2.ellipse(self.picture, self.at(middle), axes, 0, 0, 360, colour, -1, cv2.LINE_AA)

    def ring(
        self, middle: Point, axes: Point, colour: Colour, pixels: float, half: int = 1
    ) -> None:
        size = self.wide(axes[0]), self.wide(axes[1])
        end = 360 // half
        cv2.ellipse(
            self.picture, self.at(middle), size, 0, 0, end, colour, self.wide(pixels), cv2.LINE_AA
        )


@dataclass(frozen=True, slots=True)
class Figure:
    """One player's looks."""

    instrument: str
    kind: str
    shirt: Colour
    skin: Colour
    hair: Colour
    long_hair: bool

    @classmethod
    def of(cls, player: Player) -> Figure:
        """Return the looks that belong to a player, always the same."""
        dice = player.dice("figure")
        shirt, skin, hair = (int(n) for n in dice.integers(0, 5, 3))
        return cls(
            instrument=player.instrument,
            kind=instruments.load()[player.instrument].kind,
            shirt=_SHIRTS[shirt],
            skin=_SKINS[skin],
            hair=_HAIRS[hair],
            long_hair=bool(dice.integers(0, 2)),
        )

    def draw(self, picture: Frame, pose: Pose) -> None:
        """Draw the player, the instrument and the stand into a picture, in place."""
        pencil = _Pencil(picture, pose)
        for leg in (-6, 6):
            foot, hip = pencil.at((leg, 0), 0), pencil.at((leg * 0.8, 46))
            cv2.line(picture, foot, hip, _TROUSERS, pencil.wide(26))
        outline = ((-15, 44), (15, 44), (19, 86), (8, 92), (-8, 92), (-19, 86))
        body = np.array([pencil.at(point) for point in outline], np.int32)
        cv2.fillPoly(picture, [body], self.shirt, cv2.LINE_AA)
        if self.long_hair:
            pencil.disc((0, 101), 26, 34, self.hair)
        pencil.disc((0, 105), 23, 28, self.skin)
        top, axes = pencil.at((0, 110)), (pencil.wide(23), pencil.wide(17))
        cv2.ellipse(picture, top, axes, 0, 180, 360, self.hair, -1, cv2.LINE_AA)
        for side in (-3.3, 3.3):
            pencil.disc((side, 105.5), 2, 2, _BLACK)
        speaks = 0.0 if pose.lifted else 1.6 * pose.lips
        pencil.disc((0, 98.5), 5, 1 + speaks, _MOUTH)
        if self.kind == "mallet":
            self._xylophone(pencil)
        elif self.kind == "drum":
            self._drum(pencil)
        elif self.instrument in ("flute", "clarinet", "oboe", "bassoon", "alto-saxophone"):
            self._woodwind(pencil)
        else:
            self._brass(pencil)
        _stand(picture, pose)

    def _arms(self, pencil: _Pencil, left: Point, right: Point) -> None:
        for side, hand in ((-1, left), (1, right)):
            elbow = (side * 24.0, (86 + hand[1]) / 2 - 12)
            pencil.line((side * 18.0, 85), elbow, self.shirt, 15)
            pencil.line(elbow, hand, self.skin, 11)
            pencil.disc(hand, 8, 8, self.skin)

    def _woodwind(self, pencil: _Pencil) -> None:
        down = 26 * (1 - pencil.pose.lifted)
        if self.instrument == "flute":
            pencil.line((-7, 98 - down), (44, 95 - down), _SILVER, 5)
            self._arms(pencil, (12, 96 - down), (34, 94 - down))
        elif self.instrument == "alto-saxophone":
            pencil.line((0, 98 - down), (8, 58 - down / 2), _BRASS, 9)
            pencil.ring((14, 57 - down / 2), (16, 14), _BRASS, 9, half=2)
            pencil.disc((21, 66 - down / 2), 13, 13, _BRASS)
            self._arms(pencil, (2, 84 - down), (8, 66 - down))
        else:
            long = 30 if self.instrument == "bassoon" else 0
            foot = (9 + long / 3, 52 - down / 2 - long / 3)
            pencil.line((-long / 3, 98 - down + long / 2), foot, _BLACK, 8)
            pencil.disc(foot, 8, 8, _BLACK)
            self._arms(pencil, (2, 82 - down), (6, 66 - down))

    def _brass(self, pencil: _Pencil) -> None:
        down = 26 * (1 - pencil.pose.lifted)
        if self.instrument in ("trumpet", "trombone"):
            slides = self.instrument == "trombone"
            reach = 40 + 14 * pencil.pose.slide * pencil.pose.lifted if slides else 32.0
            pencil.line((0, 98 - down), (reach, 93 - down), _BRASS, 6)
            pencil.line((6, 92 - down), (30, 89 - down), _BRASS, 5)
            pencil.disc((34, 93 - down), 9, 17, _BRASS)
            self._arms(pencil, (9, 91 - down), (reach - 8 if slides else 16, 91 - down))
            return
        size = {"horn": 20, "euphonium": 24}.get(self.instrument, 34)
        middle = (6.0, 72 - down / 2)
        pencil.ring(middle, (size * 1.5, size * 1.7), _BRASS, 10)
        bell = (24.0, 58 - down / 2) if self.instrument == "horn" else (20.0, 100 - down / 2)
        pencil.disc(bell, size * 1.1, size * 0.6, _BRASS)
        pencil.line((0, 98 - down), middle, _BRASS, 6)
        self._arms(pencil, (-4, 70 - down / 2), (12, 72 - down / 2))

    def _xylophone(self, pencil: _Pencil) -> None:
        for bar in range(13):
            x, tall = -42 + 7 * bar, 8 - bar * 0.3
            colour = (60, 90, 150) if bar % 2 else (70, 105, 165)
            corners = pencil.at((x, 46 + tall), 0), pencil.at((x + 6, 46 - tall), 0)
            cv2.rectangle(pencil.picture, *corners, colour, -1)
        self._sticks(pencil)

    def _drum(self, pencil: _Pencil) -> None:
        top, axes = pencil.at((0, 50), 0), (pencil.wide(56), pencil.wide(14))
        left, right = pencil.at((-21, 49), 0), pencil.at((21, 38), 0)
        cv2.rectangle(pencil.picture, left, right, (60, 60, 140), -1)
        cv2.ellipse(pencil.picture, top, axes, 0, 0, 360, (225, 228, 230), -1, cv2.LINE_AA)
        cv2.ellipse(pencil.picture, top, axes, 0, 0, 360, (80, 80, 150), 3, cv2.LINE_AA)
        self._sticks(pencil)

    def _sticks(self, pencil: _Pencil) -> None:
        raised = 14 * (1 - pencil.pose.attack)
        left, right = (-13.0, 62 + raised * 0.4), (13.0, 62 + raised)
        self._arms(pencil, left, right)
        for hand, x in ((left, -5.0), (right, 7.0)):
            tip = (x, 52 + (hand[1] - 62) * 1.3)
            pencil.line(hand, tip, (150, 190, 215), 4)
            pencil.disc(tip, 4, 4, (60, 60, 70))


def _stand(picture: Frame, pose: Pose) -> None:
    x, y = pose.x + 78 * pose.scale, pose.y - 150 * pose.scale
    cv2.line(picture, (round(x), round(y)), (round(x), round(pose.y)), _BLACK, 3)
    corners = ((-36, 0), (36, 0), (30, -46), (-30, -46))
    desk = np.array([(x + a * pose.scale, y + b * pose.scale) for a, b in corners], np.int32)
    cv2.fillPoly(picture, [desk], _PAPER, cv2.LINE_AA)
    cv2.polylines(picture, [desk], True, _BLACK, 2)
