"""What was played? Pitch, notes, sections, scales, alignment to the score.

>>> from fairhearing.core.playing import Plan, Player, hear_playing
>>> playing = hear_playing(samples, player=Player(52, 86, -2), plan=Plan())  # doctest: +SKIP
"""

from fairhearing.core.playing.hear import hear_playing
from fairhearing.core.playing.reading import with_sections
from fairhearing.core.playing.types import (
    RATE_HZ,
    Chromatic,
    Drumming,
    Note,
    PitchLine,
    PitchTendency,
    Plan,
    Player,
    Playing,
    Remark,
    Roll,
    Scale,
    Scales,
    Section,
    Stroke,
    Tuning,
)

__all__ = [
    "RATE_HZ",
    "Chromatic",
    "Drumming",
    "Note",
    "PitchLine",
    "PitchTendency",
    "Plan",
    "Player",
    "Playing",
    "Remark",
    "Roll",
    "Scale",
    "Scales",
    "Section",
    "Stroke",
    "Tuning",
    "hear_playing",
    "with_sections",
]
