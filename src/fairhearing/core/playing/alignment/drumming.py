"""Strokes and rolls as notes without pitch, so that a drum part can be aligned like any other."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from fairhearing.core.playing.types import Roll, Stroke

STROKE_S = 0.05


@dataclass(frozen=True, slots=True)
class HeardStroke:
    """A stroke, or a whole roll, as a heard note without pitch."""

    onset_s: float
    offset_s: float
    confidence: float
    midi: int | None = None
    cents: float | None = None


def strokes_as_notes(strokes: Sequence[Stroke], rolls: Sequence[Roll]) -> list[HeardStroke]:
    """Give the strokes and rolls of a take as heard notes, in order of time.

    A roll is one long note; the strokes heard inside it belong to it.
    """
    notes = [HeardStroke(roll.start_s, roll.end_s, 0.9) for roll in rolls]
    notes += [
        HeardStroke(stroke.onset_s, stroke.onset_s + STROKE_S, stroke.confidence)
        for stroke in strokes
        if not any(roll.start_s <= stroke.onset_s < roll.end_s for roll in rolls)
    ]
    return sorted(notes, key=lambda note: note.onset_s)
