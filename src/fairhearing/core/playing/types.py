"""What the other rooms see of what was played: plain frozen data.

Conventions: times in seconds from the first sample; ``midi`` is *sounding* (concert) pitch with
C4 = 60 and A4 = 440 Hz (ISO 16:1975); cents are 1/100 of an equal-tempered semitone. A quantity
that could not be measured is ``None`` and a ``reason`` says why in one plain sentence.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from numpy.typing import NDArray

RATE_HZ = 16_000
"""Sample rate, in Hz, that every function of this room expects."""

Kind = Literal["melodic", "mallet", "timpani", "drum"]
SectionKind = Literal["introduction", "chromatic", "scales", "etude", "honors", "other"]
Mode = Literal["major", "natural minor", "harmonic minor", "melodic minor"]

MODES: tuple[Mode, ...] = ("major", "natural minor", "harmonic minor", "melodic minor")


@dataclass(frozen=True, slots=True)
class Player:
    """Who plays, in plain numbers; the room knows no instrument by name.

    Attributes
    ----------
    lowest_midi, highest_midi : int or None
        Limits of the instrument, sounding; None guesses them from the take.
    sounding_minus_written : int
        Semitones from the written to the sounding note.
    kind : {"melodic", "mallet", "timpani", "drum"}
        "melodic": one sustained note at a time; "mallet": struck and ringing; "timpani": tuned
        drums; "drum": strokes without pitch.
    """

    lowest_midi: int | None = None
    highest_midi: int | None = None
    sounding_minus_written: int = 0
    kind: Kind = "melodic"


@dataclass(frozen=True, slots=True)
class Plan:
    """What the audition asks for.

    Attributes
    ----------
    order : tuple of str
        Sections in the order in which they are to be played.
    scales_limit_s : float
        Time for the scales, counted from the first note of the first scale.
    modes : tuple of str
        Kinds of scale that are looked for.
    tonics_written : tuple of int or None
        Pitch classes (0 = C) of the scales asked for, as the student reads them; None: any.
    """

    order: tuple[SectionKind, ...] = ("introduction", "chromatic", "scales", "etude", "honors")
    scales_limit_s: float = 60.0
    modes: tuple[Mode, ...] = ("major",)
    tonics_written: tuple[int, ...] | None = None


@dataclass(frozen=True, slots=True)
class Note:
    """One note as it was heard.

    Attributes
    ----------
    onset_s, offset_s : float
        Start of the sound and end of its sounding part (reverberation left out).
    midi : int
        Nearest semitone after the take's own tuning is allowed for.
    cents : float or None
        Deviation of the median pitch from equal temperament at A4 = 440 Hz; None when the note
        is too short or too little of it is voiced to be honest.
    cents_spread : float or None
        Half the middle 68 % of the frame pitches: how steady the note was.
    confidence : float
        0…1.
    """

    onset_s: float
    offset_s: float
    midi: int
    cents: float | None
    cents_spread: float | None
    confidence: float


@dataclass(frozen=True, slots=True)
class Section:
    """A part of the audition, from its first to its last note (introduction: of the speech).

    ``announced`` is True when speech was heard between the section before and this one.
    """

    kind: SectionKind
    start_s: float
    end_s: float
    announced: bool
    confidence: float


@dataclass(frozen=True, slots=True)
class PitchTendency:
    """How one pitch was played by this player: the median of its notes, and how many."""

    midi: int
    cents: float
    notes: int


@dataclass(frozen=True, slots=True)
class Tuning:
    """Where A4 was, from the notes long enough to say.

    Attributes
    ----------
    reference_hz : float or None
        The A4 to which the take as a whole is tuned.
    cents : float or None
        The same as a deviation from A4 = 440 Hz.
    spread_cents : float or None
        Half the middle 68 % of the notes' deviations around that centre.
    by_pitch : tuple of PitchTendency
        Deviation of each pitch from the take's own centre; only pitches heard at least twice.
    reason : str or None
        Why it could not be measured.
    """

    reference_hz: float | None
    cents: float | None
    spread_cents: float | None
    by_pitch: tuple[PitchTendency, ...] = ()
    reason: str | None = None


@dataclass(frozen=True, slots=True)
class Chromatic:
    """The chromatic scale: how far it went and what was left out (sounding MIDI numbers)."""

    lowest_midi: int
    highest_midi: int
    missing_midi: tuple[int, ...]
    complete_up: bool
    complete_down: bool
    start_s: float
    end_s: float


@dataclass(frozen=True, slots=True)
class Scale:
    """One scale as it was played.

    Attributes
    ----------
    tonic, tonic_concert : str
        As the student reads it, and sounding: "B-flat", "F-sharp".
    tonic_midi : int
        The lowest tonic, sounding.
    mode : str
        "major", "natural minor", "harmonic minor" or "melodic minor".
    octaves : int
        Octaves up and down (of what was attempted, when not complete).
    start_s, end_s : float
        First onset and last offset.
    complete : bool
        From the tonic up to the tonic and back to it.
    in_window : bool
        It ended before the time was over.
    at_the_bell : bool
        It had begun, but not ended, when the time was over.
    asked_for : bool
        The plan asks for this scale (True when the plan leaves it open).
    wrong_notes, missed_notes, stray_notes : int
        Notes in place of others, left out, and played in addition.
    repairs : int
        Times that the student went back within the scale, or began it anew.
    first_note, last_note : int
        Positions in the take's list of notes, both included.
    """

    tonic: str
    tonic_concert: str
    tonic_midi: int
    mode: Mode
    octaves: int
    start_s: float
    end_s: float
    complete: bool
    in_window: bool
    at_the_bell: bool
    asked_for: bool
    wrong_notes: int
    missed_notes: int
    stray_notes: int
    repairs: int
    first_note: int
    last_note: int


@dataclass(frozen=True, slots=True)
class Scales:
    """The scales and their time: the window opens with the first note of the first scale."""

    window_start_s: float | None
    window_end_s: float | None
    played: tuple[Scale, ...] = ()
    reason: str | None = None


@dataclass(frozen=True, slots=True)
class Stroke:
    """One stroke on a drum.

    ``strength_db`` is relative to the loudest stroke of the take; strokes inside a roll are not
    listed one by one.
    """

    onset_s: float
    strength_db: float
    confidence: float


@dataclass(frozen=True, slots=True)
class Roll:
    """A roll: strokes too close to be told apart, or a steady run faster than 11 a second."""

    start_s: float
    end_s: float
    strokes_per_s: float | None


@dataclass(frozen=True, slots=True)
class Drumming:
    """What was played on an instrument without pitch."""

    strokes: tuple[Stroke, ...]
    rolls: tuple[Roll, ...]
    tempo_bpm: float | None
    tempo_steadiness: float | None
    reason: str | None = None


@dataclass(frozen=True, slots=True)
class Remark:
    """Something about the take as a whole that a person should know, in one plain sentence."""

    about: str
    says: str
    start_s: float | None = None
    end_s: float | None = None


@dataclass(frozen=True, slots=True, eq=False)
class PitchLine:
    """The measured pitch along the take, for drawing.

    Attributes
    ----------
    hop_s : float
        Time from one value to the next; the first stands at second 0.
    midi : ndarray of float32, shape (n,)
        Sounding pitch as a fractional MIDI number; NaN where no pitch was heard.
    level_db : ndarray of float32, shape (n,)
        Level re full scale.
    """

    hop_s: float
    midi: NDArray[np.float32]
    level_db: NDArray[np.float32]


@dataclass(frozen=True, slots=True)
class Playing:
    """Everything that was heard in one take.

    Attributes
    ----------
    notes : tuple of Note
        In order of time; empty for drums.
    speech : tuple of (float, float)
        Stretches of speech, start and end in seconds.
    sections : tuple of Section
    tuning : Tuning
    chromatic : Chromatic or None
        None when no chromatic scale was found; ``chromatic_reason`` says why.
    scales : Scales
    drumming : Drumming or None
        Only for drums and timpani.
    remarks : tuple of Remark
        What makes the measurement doubtful: silence, speech only, several instruments, …
    duration_s : float
    pitch_line : PitchLine or None
    """

    notes: tuple[Note, ...]
    speech: tuple[tuple[float, float], ...]
    sections: tuple[Section, ...]
    tuning: Tuning
    chromatic: Chromatic | None
    chromatic_reason: str | None
    scales: Scales
    drumming: Drumming | None
    remarks: tuple[Remark, ...]
    duration_s: float
    pitch_line: PitchLine | None = field(default=None, compare=False, repr=False)
