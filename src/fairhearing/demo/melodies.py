"""The etudes and honors excerpts of the demo season, composed for it.

A melody is written once in steps of a major scale and set for each instrument in a key and an
octave that fit it. One bar a line; a note is *step, octave marks, length*:

* step 1–7 with ``#`` or ``b`` before it, ``r`` for a rest, ``x`` for a stroke on a drum;
* ``'`` an octave up, ``,`` an octave down;
* length ``w h q e s`` (whole … sixteenth), ``.`` dotted, ``>`` accented.

Conventions: beats are quarter notes, exact; MIDI numbers here are *written* pitch (C4 = 60).
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from fractions import Fraction

_LENGTHS = {
    "w": Fraction(4),
    "h": Fraction(2),
    "q": Fraction(1),
    "e": Fraction(1, 2),
    "s": Fraction(1, 4),
}
_MAJOR = (0, 2, 4, 5, 7, 9, 11)
_LETTERS = "CDEFGAB"
_LETTER_SEMITONES = (0, 2, 4, 5, 7, 9, 11)
_TOKEN = re.compile(r"([#b]?)([1-7rx])([',]*)([whqes])(\.?)(>?)")


@dataclass(frozen=True, slots=True)
class WrittenNote:
    """A note, rest or stroke of a melody.

    Attributes
    ----------
    bar : int
        Counted from 1, as printed.
    onset, length : Fraction
        Quarter beats; the onset from the beginning of the piece.
    midi : int or None
        Written pitch; None for a rest or a stroke.
    spelling : tuple of (str, int, int) or None
        Letter, sharps (+) or flats (−), octave.
    stroke, accent : bool
        A drum stroke; an accent.
    """

    bar: int
    onset: Fraction
    length: Fraction
    midi: int | None
    spelling: tuple[str, int, int] | None
    stroke: bool = False
    accent: bool = False

    @property
    def sounds(self) -> bool:
        """Whether anything is to be heard."""
        return self.stroke or self.midi is not None


@dataclass(frozen=True, slots=True)
class Piece:
    """A melody set for an instrument; ``dynamics`` by bar; ``fifths`` the key signature."""

    title: str
    fifths: int
    tempo_bpm: int
    notes: tuple[WrittenNote, ...]
    dynamics: dict[int, str]

    @property
    def bars(self) -> int:
        """How many bars there are."""
        return self.notes[-1].bar


@dataclass(frozen=True, slots=True)
class _Melody:
    title: str
    tempo_bpm: int
    bars: tuple[str, ...]
    dynamics: dict[int, str]


_WOODWIND = _Melody(
    "Etude: Reeds by the Water", 100,
    (
        "1q. 2e 3q 5q", "6q. 5e 3h", "4q 3e 2e 3q 1q", "2h. rq",
        "1e 2e 3e 4e 5q 5q", "6e 5e 4e 3e 2q 5,q", "1e 3e 5e 1'e 7q 5q", "6e 4e 2e 7,e 1h",
        "3'q. 2'e 1'q 7q", "6s 7s 1's 7s 6s 5s 4s 3s 2q 5q", "1q 3e 5e 1'q 2'e 7e", "1'q 5q 1h",
    ),
    {1: "mp", 5: "mf", 9: "f", 12: "p"},
)  # fmt: skip
_BRASS = _Melody(
    "Etude: Morning on the Ridge", 96,
    (
        "5,e 5,e 1q 1q 2e 3e", "3q. 2e 1h", "5q 4e 3e 4q 2q", "3h. rq",
        "1q 5,q 1e 2e 3e 4e", "5q. 3e 5h", "6e 5e 4e 3e 2q 6,q", "7,e 1e 2e 3e 2h",
        "1e 1e 1q 3e 3e 3q", "5e 4e 3e 2e 1'q 5q", "6q 4e 2e 1q 7,q", "1h. rq",
    ),
    {1: "mf", 5: "mp", 9: "f"},
)  # fmt: skip
_MALLETS = _Melody(
    "Etude: Rain on Slate", 92,
    (
        "1e 1e 3e 3e 5e 5e 1'q", "7e 5e 6e 4e 5h", "4s 3s 2s 1s 2q 5,e 7,e 2q", "1q 3q 5h",
        "1's 7s 1's 5s 6q 6s 5s 6s 4s 5q", "3e 2e 1e 2e 3q rq",
        "5,e 1e 3e 1e 5,e 7,e 2e 7,e", "1q 1'q 1h",
    ),
    {1: "mf", 5: "f", 7: "p"},
)  # fmt: skip
_SNARE = _Melody(
    "Etude: Short Steps", 96,
    (
        "xq> xe xe xq xq", "xe xe xs xs xs xs xq> rq", "xe. xs xe. xs xq xq",
        "xs xs xe xe xs xs xh",
        "xq> xq xe xe> xe xe", "xs xs xs xs xe xe xq> xq", "xe xs xs xe xs xs xq xq>",
        "xq rq xe xe xq>", "xs xs xs xs xs xs xs xs xq> xq", "xe. xs> xe. xs> xh",
    ),
    {1: "mf", 5: "p", 9: "f"},
)  # fmt: skip
_WOODWIND_HONORS = _Melody(
    "Honors excerpt: Kites", 112,
    (
        "1s 2s 3s 4s 5e 3e 6q 5q", "4s 3s 2s 1s 7,e 2e 1q rq", "3e. 4s 5e #4e 5q 1'q",
        "7s 6s 5s #4s 5q 2q 5q", "b6q. 5e 4e b3e 2q", "1s 3s 5s 1's 3'q 2's 1's 7s 6s 5q",
        "6s 5s 4s 3s 4s 3s 2s 1s 2e 5,e 7,e 2e", "1q 1'e 5e 1h",
    ),
    {1: "f", 5: "p", 6: "f"},
)  # fmt: skip
_BRASS_HONORS = _Melody(
    "Honors excerpt: The Lamplighters", 108,
    (
        "1e. 1s 3e 5e 1'q 5q", "6e 5e #4e 5e 3h", "2e. 2s 4e 6e 5q 2q", "3s 2s 1s 2s 3q 5,h",
        "b3q. 4e 5e b6e 5q", "1s 2s 3s 1s 2s 3s 4s 2s 3q 5q", "1'e 7e 6e 5e 4e 3e 2e 7,e",
        "1q 5,q 1h",
    ),
    {1: "f", 5: "mp", 7: "f"},
)  # fmt: skip
_SNARE_HONORS = _Melody(
    "Honors excerpt: Gravel", 104,
    (
        "xs> xs xs xs xs> xs xs xs xq> xq", "xe. xs xs xs xe> xe xe xq",
        "xs xe> xs xs xe> xs xq xq",
        "xs> xs xs> xs xe xe> xq> rq", "xs xs xs> xs xs xs xs> xs xe xs xs> xq",
        "xe> xe xs xs xs xs xq> xq>",
    ),
    {1: "f", 3: "p", 5: "f"},
)  # fmt: skip

# Written tonic (MIDI) and key signature by instrument: the melody runs from a fourth below the
# tonic to a tenth above it and stays inside the intermediate range of core/packet.
_KEYS: dict[str, tuple[int, int]] = {
    "flute": (65, -1), "oboe": (65, -1), "clarinet": (67, 1), "alto-saxophone": (67, 1),
    "bassoon": (46, -2), "horn": (60, 0), "trumpet": (60, 0), "trombone": (46, -2),
    "euphonium": (46, -2), "tuba": (34, -2), "xylophone": (72, 0), "snare-drum": (60, 0),
}  # fmt: skip
_WOODWINDS = ("flute", "oboe", "clarinet", "alto-saxophone", "bassoon")


def instruments() -> tuple[str, ...]:
    """Return the instruments that have music."""
    return tuple(_KEYS)


def etude(instrument: str) -> Piece:
    """Return the etude of an instrument (its id)."""
    if instrument == "snare-drum":
        return _set(_SNARE, instrument)
    if instrument == "xylophone":
        return _set(_MALLETS, instrument)
    return _set(_WOODWIND if instrument in _WOODWINDS else _BRASS, instrument)


def honors(instrument: str) -> Piece:
    """Return the honors excerpt of an instrument (its id)."""
    if instrument == "snare-drum":
        return _set(_SNARE_HONORS, instrument)
    with_reeds = instrument in (*_WOODWINDS, "xylophone")
    return _set(_WOODWIND_HONORS if with_reeds else _BRASS_HONORS, instrument)


def spell(tonic_midi: int, fifths: int, step: int, alter: int = 0) -> tuple[str, int, int]:
    """Spell a step (0 = tonic, 7 = an octave up, may be negative) of a major key.

    Returns
    -------
    (letter, sharps or flats, octave)
    """
    # The tonic of a key signature, walking up in fifths from C (letters move by four).
    letter = (4 * fifths) % 7
    octave_steps = 7 * ((tonic_midi - _tonic_semitone(fifths)) // 12 - 1) + letter + step
    name = _LETTERS[octave_steps % 7]
    octave = octave_steps // 7
    wanted = tonic_midi + 12 * (step // 7) + _MAJOR[step % 7] + alter
    natural = 12 * (octave + 1) + _LETTER_SEMITONES[octave_steps % 7]
    return name, wanted - natural, octave


def _tonic_semitone(fifths: int) -> int:
    """Semitones of the tonic above the C below its letter (C-flat is −1)."""
    letter = (4 * fifths) % 7
    semitone = (7 * fifths) % 12
    natural = _LETTER_SEMITONES[letter]
    return natural + (semitone - natural + 6) % 12 - 6


def _set(melody: _Melody, instrument: str) -> Piece:
    tonic, fifths = _KEYS[instrument]
    notes: list[WrittenNote] = []
    onset = Fraction(0)
    for bar, line in enumerate(melody.bars, start=1):
        for token in line.split():
            note = _note(token, bar, onset, tonic, fifths)
            notes.append(note)
            onset += note.length
        if onset != 4 * bar:
            raise ValueError(f"{melody.title}, bar {bar}: {onset - 4 * (bar - 1)} beats, not 4")
    return Piece(melody.title, fifths, melody.tempo_bpm, tuple(notes), dict(melody.dynamics))


def _note(token: str, bar: int, onset: Fraction, tonic: int, fifths: int) -> WrittenNote:
    found = _TOKEN.fullmatch(token)
    if not found:
        raise ValueError(f'"{token}" is not a note of a melody')
    sign, step, marks, length, dot, accent = found.groups()
    beats = _LENGTHS[length] * (Fraction(3, 2) if dot else 1)
    if step in "rx":
        return WrittenNote(bar, onset, beats, None, None, step == "x", bool(accent))
    alter = {"#": 1, "b": -1, "": 0}[sign]
    steps = int(step) - 1 + 7 * (marks.count("'") - marks.count(","))
    name, sharps, octave = spell(tonic, fifths, steps, alter)
    midi = tonic + 12 * (steps // 7) + _MAJOR[steps % 7] + alter
    return WrittenNote(bar, onset, beats, midi, (name, sharps, octave), accent=bool(accent))
