"""Sheet music as plain data: bars, parts, notes.

Conventions: positions and lengths are quarter beats from the start of the piece, exact, as
written (repeats are *not* played out; :mod:`fairhearing.core.packet.unfolding` does that).
Written pitch is what the player reads, sounding pitch what is heard; both count C4 as 60.
Bars are counted from 0 by ``bar`` and named as printed by ``Score.bars[bar].number``.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

STEPS = "CDEFGAB"
STEP_SEMITONES = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}


@dataclass(frozen=True, slots=True)
class Spelling:
    """A note name: letter, sharps (+) or flats (−), octave; C4 is middle C.

    ``alter`` is in semitones and may be a fraction in music with microtones.
    """

    step: str
    alter: Fraction
    octave: int

    @property
    def midi(self) -> int:
        """Nearest MIDI number (halves go up)."""
        exact = self.exact_midi
        return (exact.numerator * 2 + exact.denominator) // (2 * exact.denominator)

    @property
    def exact_midi(self) -> Fraction:
        """MIDI number with microtones kept."""
        return Fraction(12 * (self.octave + 1) + STEP_SEMITONES[self.step]) + self.alter

    def __str__(self) -> str:
        signs = {0: "", 1: "♯", 2: "𝄪", -1: "♭", -2: "𝄫"}
        sign = signs.get(int(self.alter), "") if self.alter.denominator == 1 else "?"
        return f"{self.step}{sign}{self.octave}"


@dataclass(frozen=True, slots=True)
class ScoreNote:
    """One written note head (a tied note is several, see ``tie_start``/``tie_stop``).

    Attributes
    ----------
    id : str
        Unique in the score; the engraved note carries it too.
    part, bar : int
        Indices into ``Score.parts`` and ``Score.bars``.
    onset, duration : Fraction
        Quarter beats; a grace note has the onset of the note it leans on and duration 0.
    spelling : Spelling or None
        As written; None without pitch.
    written, sounding : int or None
        MIDI numbers; None for an unpitched (percussion) note.
    percussion_key : int or None
        General MIDI percussion key of an unpitched note, when the file says so.
    voice : str
    staff : int
    chord : bool
        Sounds together with the note before it.
    grace, cue : bool
    tie_start, tie_stop : bool
        Tied to the next, from the previous, note of the same pitch.
    """

    id: str
    part: int
    bar: int
    onset: Fraction
    duration: Fraction
    spelling: Spelling | None
    written: int | None
    sounding: int | None
    percussion_key: int | None = None
    voice: str = "1"
    staff: int = 1
    chord: bool = False
    grace: bool = False
    cue: bool = False
    tie_start: bool = False
    tie_stop: bool = False

    @property
    def unpitched(self) -> bool:
        """Whether the note has no pitch."""
        return self.spelling is None


@dataclass(frozen=True, slots=True)
class KeySignature:
    """Sharps (+) or flats (−); ``fifths`` is None for a signature of another kind."""

    fifths: int | None
    mode: str | None = None


@dataclass(frozen=True, slots=True)
class TimeSignature:
    """For example 6/8: ``beats`` 6, ``beat_type`` 8; beats 0 means free time."""

    beats: int
    beat_type: int

    @property
    def bar_length(self) -> Fraction:
        """Quarter beats in a full bar; 0 in free time."""
        return Fraction(4 * self.beats, self.beat_type)

    def __str__(self) -> str:
        return f"{self.beats}/{self.beat_type}" if self.beats else "free time"


@dataclass(frozen=True, slots=True)
class Bar:
    """One bar, common to all parts.

    Attributes
    ----------
    number : str
        As printed.
    start, length : Fraction
        Quarter beats.
    key, time : KeySignature, TimeSignature
        In force at the start of the bar, in the first part's written key.
    repeat_from, repeat_to : bool
        A repeat sign opens at the start, closes at the end.
    times : int
        How often the passage is played when ``repeat_to`` (2 unless the score says more).
    endings : tuple of int
        The numbers of the volta bracket above this bar; empty without one.
    jumps : tuple of str
        "segno", "coda", "fine", "to coda", "da capo", "dal segno", "al fine", "al coda".
    """

    number: str
    start: Fraction
    length: Fraction
    key: KeySignature
    time: TimeSignature
    repeat_from: bool = False
    repeat_to: bool = False
    times: int = 2
    endings: tuple[int, ...] = ()
    jumps: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class TempoMark:
    """Quarter notes a minute from ``onset`` on; ``text`` is what is printed, if anything."""

    onset: Fraction
    quarter_bpm: float
    text: str = ""


@dataclass(frozen=True, slots=True)
class ScorePart:
    """One player's part.

    Attributes
    ----------
    id, name : str
        As in the file.
    clef : str
        The first clef: "treble", "bass", "alto", "tenor", "percussion", "tab" or "other";
        "" when the file has none.
    staves : int
    sounding_minus_written : int
        Semitones, at the start of the part.
    keys : tuple of (Fraction, KeySignature)
        Written key signatures with their onsets.
    """

    id: str
    name: str
    clef: str
    staves: int
    sounding_minus_written: int
    keys: tuple[tuple[Fraction, KeySignature], ...]


@dataclass(frozen=True, slots=True)
class Score:
    """A whole piece; ``notes`` are sorted by part, onset, then as in the file."""

    title: str
    kind: Literal["musicxml", "midi"]
    parts: tuple[ScorePart, ...]
    bars: tuple[Bar, ...]
    notes: tuple[ScoreNote, ...]
    tempo_marks: tuple[TempoMark, ...]

    @property
    def length(self) -> Fraction:
        """Quarter beats, repeats not played out."""
        return self.bars[-1].start + self.bars[-1].length if self.bars else Fraction(0)

    def part_notes(self, part: int = 0) -> tuple[ScoreNote, ...]:
        """Return the notes of one part."""
        return tuple(note for note in self.notes if note.part == part)

    def where(self, note: ScoreNote) -> str:
        """Say where a note stands: ``"bar 12"``, with the part if there are several."""
        bar = f"bar {self.bars[note.bar].number}"
        name = self.parts[note.part].name
        return f"{bar} of {name}" if len(self.parts) > 1 and name else bar
