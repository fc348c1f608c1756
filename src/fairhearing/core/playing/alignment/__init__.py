"""The take against the page: which notes of a score were played, how, and where it is not sure.

``align`` takes a :class:`Score` and the heard notes and gives an :class:`Alignment`;
``etude_report`` turns that into the ``etude`` part of the hearing report.
"""

from fairhearing.core.playing.alignment.compare import align
from fairhearing.core.playing.alignment.result import (
    Alignment,
    BarSummary,
    ExtraNote,
    HeardNote,
    NoteResult,
    Outcome,
    Restart,
    Skip,
    TempoPoint,
    TurnTaken,
)
from fairhearing.core.playing.alignment.score import (
    Bar,
    Score,
    ScoreNote,
    Turn,
    repeat_turns,
)
from fairhearing.core.playing.alignment.summary import etude_report

__all__ = [
    "Alignment",
    "Bar",
    "BarSummary",
    "ExtraNote",
    "HeardNote",
    "NoteResult",
    "Outcome",
    "Restart",
    "Score",
    "ScoreNote",
    "Skip",
    "TempoPoint",
    "Turn",
    "TurnTaken",
    "align",
    "etude_report",
    "repeat_turns",
]
