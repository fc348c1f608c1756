"""What is true of a take: notes, words, sections, scales and slips, exact by construction.

Conventions: times in seconds from the first sample of the take; ``midi`` is sounding pitch.
"""

from __future__ import annotations

from dataclasses import dataclass

from fairhearing.demo.cast import Player


@dataclass(frozen=True, slots=True)
class PlayedNote:
    """One note or stroke as it sounds.

    Attributes
    ----------
    onset_s, duration_s : float
        Seconds.
    midi : int or None
        Sounding pitch; None for a drum stroke.
    cents : float
        Deviation from equal temperament at A4 = 440 Hz.
    velocity : int
        MIDI velocity.
    section : str
        Kind of section.
    said : str
        "right", "wrong" (another pitch than written), "extra" (not written) or "again" (a note
        played before and repeated after a restart).
    score_note : int or None
        Index among the sounding notes of the piece, for etude and honors.
    """

    onset_s: float
    duration_s: float
    midi: int | None
    cents: float
    velocity: int
    section: str
    said: str = "right"
    score_note: int | None = None


@dataclass(frozen=True, slots=True)
class Spoken:
    """A phrase and when it begins (seconds)."""

    start_s: float
    phrase: str


@dataclass(frozen=True, slots=True)
class SectionTruth:
    """From the first to the last note of a section; of the introduction, the words."""

    kind: str
    start_s: float
    end_s: float


@dataclass(frozen=True, slots=True)
class ScaleTruth:
    """One scale; ``complete``: up to the tonic and back; times of first onset, last end."""

    tonic: str
    tonic_concert: str
    tonic_midi: int
    octaves: int
    start_s: float
    end_s: float
    complete: bool
    in_window: bool
    wrong_notes: int


@dataclass(frozen=True, slots=True)
class Slip:
    """A mistake in a piece: "wrong", "missed", "extra" or "restart", where and when."""

    kind: str
    section: str
    bar: int
    time_s: float
    score_note: int | None = None


@dataclass(frozen=True, slots=True)
class ChromaticTruth:
    """Sounding limits of the chromatic scale and what was left out."""

    lowest_midi: int
    highest_midi: int
    missing_midi: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Performance:
    """The whole take as it was meant.

    ``beats_bpm`` is the basic tempo of each piece; ``window_s`` the scale minute (first onset,
    end); ``joint_s`` where a second recording begins, if one does; ``tuning_cents`` the player's
    own pitch against A4 = 440 Hz.
    """

    player: Player
    notes: tuple[PlayedNote, ...]
    spoken: tuple[Spoken, ...]
    sections: tuple[SectionTruth, ...]
    chromatic: ChromaticTruth | None
    scales: tuple[ScaleTruth, ...]
    window_s: tuple[float, float] | None
    slips: tuple[Slip, ...]
    beats_bpm: dict[str, float]
    tuning_cents: float
    duration_s: float
    joint_s: float | None = None
