"""The take against the page: which notes of a score were played, how, and where it is not sure.

``align`` takes a :class:`Score` and the heard notes and gives an :class:`Alignment`;
``etude_report`` turns that into the ``etude`` part of the hearing report.
"""

from fairhearing.core.playing.alignment.compare import align
from fairhearing.core.playing.alignment.drumming import HeardStroke, strokes_as_notes
from fairhearing.core.playing.alignment.dynamics import note_levels_db
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
from fairhearing.core.playing.alignment.tendency import Tendency, pitch_tendency

__all__ = [
    "Alignment",
    "Bar",
    "BarSummary",
    "ExtraNote",
    "HeardNote",
    "HeardStroke",
    "NoteResult",
    "Outcome",
    "Restart",
    "Score",
    "ScoreNote",
    "Skip",
    "TempoPoint",
    "Tendency",
    "Turn",
    "TurnTaken",
    "align",
    "etude_report",
    "note_levels_db",
    "pitch_tendency",
    "repeat_turns",
    "strokes_as_notes",
]
