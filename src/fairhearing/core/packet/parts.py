"""One source → a part for one instrument: right clef, right key, an octave that fits.

Conventions: ``semitones`` is what is added to the source's *written* pitch. The whole piece moves
by one interval; phrases are never folded. What still lies outside the player's range is reported
note by note (:class:`Misfit`), never hidden. Percussion is not transposed: snare drum and timpani
need their own source.
"""

from __future__ import annotations

import copy
import re
from collections.abc import Iterable
from dataclasses import dataclass, replace
from pathlib import Path
from xml.etree.ElementTree import Element

from fairhearing.core.errors import ScoreFileError, TableError
from fairhearing.core.packet.dressing import dress, single_part
from fairhearing.core.packet.instruments import Instrument, find
from fairhearing.core.packet.musicxml_reading import score_from_tree
from fairhearing.core.packet.notating import tree_from_score
from fairhearing.core.packet.opening import open_tree
from fairhearing.core.packet.reading import MIDI_SUFFIXES, read_score
from fairhearing.core.packet.score import Score, ScoreNote, Spelling
from fairhearing.core.packet.transposing import key_shift, transpose_part, write_accidentals

MAX_MINUTES = 10.0
MAX_TIMPANI_PITCHES = 5

_ACCOMPANIES = re.compile(r"\b(piano|acc(omp(animent)?)?\.?|acompañamiento)\b", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class Misfit:
    """A note outside the player's range.

    Attributes
    ----------
    bar : str
        As printed.
    spelling : Spelling
        As the player would read it.
    semitones : int
        How far outside: positive above the range, negative below.
    """

    bar: str
    spelling: Spelling
    semitones: int


@dataclass(frozen=True, slots=True, eq=False)
class Part:
    """A part ready to be engraved.

    Attributes
    ----------
    instrument : Instrument
    level : str
    title : str
    tree : Element
        MusicXML, one part, in the instrument's notation.
    score : Score
        The same, read back.
    semitones : int
        Added to the source's written pitch.
    sounding_octaves : int
        Octaves by which the music sounds higher (+) or lower (−) than the source.
    misfits : tuple of Misfit
    """

    instrument: Instrument
    level: str
    title: str
    tree: Element
    score: Score
    semitones: int
    sounding_octaves: int
    misfits: tuple[Misfit, ...]

    @property
    def says(self) -> str:
        """One sentence about the fit, for the director."""
        return describe_fit(self)


def source_tree(path: Path | str) -> Element:
    """Return a source, MusicXML or MIDI, as a MusicXML tree.

    Raises
    ------
    ScoreFileError
        If it cannot be read (:func:`fairhearing.core.packet.reading.read_score`).
    """
    path = Path(path)
    if path.suffix.lower() in MIDI_SUFFIXES:
        return tree_from_score(read_score(path), path.name)
    return open_tree(path)


def part_for(
    source: Path | str | Element, instrument: Instrument, level: str, *, name: str | None = None
) -> Part:
    """Return the part of a source for an instrument and level.

    Parameters
    ----------
    source : Path, str or Element
        A MusicXML or MIDI file, or an opened tree.
    instrument : Instrument
    level : str
        "beginner", "intermediate" or "advanced".
    name : str, optional
        How errors name the source.

    Raises
    ------
    ScoreFileError
        If the source is not a part that this instrument can play; bars are named.
    """
    if isinstance(source, Element):
        root, label = copy.deepcopy(source), name or "the score"
    else:
        root, label = source_tree(source), name or Path(source).name
    whole = score_from_tree(root, label)
    index = _part_index(whole, instrument, label)
    _check_playable(whole, index, instrument, label)
    tree = single_part(root, index)
    before = score_from_tree(tree, label)
    semitones = 0
    if instrument.kind in {"melodic", "mallet"}:
        semitones = _best_shift(before, instrument, level)
        keys = [key.fifths for _, key in before.parts[0].keys if key.fifths is not None]
        part = tree.find("part")
        assert part is not None
        transpose_part(part, semitones, key_shift(semitones, keys or [0]))
        write_accidentals(part)
    dress(tree, instrument)
    after = score_from_tree(tree, label)
    octaves = _check_same_music(before, after, label)
    return Part(
        instrument,
        level,
        whole.title,
        tree,
        after,
        semitones,
        octaves,
        tuple(_misfits(after, instrument, level)),
    )


def accompaniment_of(source: Path | str) -> Score | None:
    """Return the piano part that a source brings along with the line, or None.

    A part counts as accompaniment if its name says piano or accompaniment.

    Raises
    ------
    ScoreFileError
        If the source cannot be read.
    """
    root = source_tree(source)
    whole = score_from_tree(root, Path(source).name)
    indices = [i for i, part in enumerate(whole.parts) if _ACCOMPANIES.search(part.name)]
    if not indices or len(whole.parts) == len(indices):
        return None
    notes = tuple(note for note in whole.notes if note.part in indices)
    return replace(whole, notes=notes) if notes else None


def part_on_its_own(root: Element, index: int, instrument: Instrument) -> Element:
    """Return one part of a score in an instrument's clef, neither transposed nor checked."""
    tree = single_part(root, index)
    dress(tree, instrument)
    return tree


def describe_fit(part: Part) -> str:
    """Say in one sentence how a part fits the player's range."""
    if not part.misfits:
        return f"{part.instrument.name}, {part.level}: every note lies in the player's range"
    total = len(part.score.notes)
    named = sorted({str(misfit.spelling) for misfit in part.misfits})
    bars = list(dict.fromkeys(misfit.bar for misfit in part.misfits))
    lie = "note lies" if len(part.misfits) == 1 else "notes lie"
    where = ", ".join(bars[:8]) + ("…" if len(bars) > 8 else "")
    return (
        f"{part.instrument.name}, {part.level}: {len(part.misfits)} of {total} {lie} outside the "
        f"player's range ({', '.join(named[:6])}{'…' if len(named) > 6 else ''}; "
        f"bar{'s' if len(bars) > 1 else ''} {where}); give this level an etude of its own or "
        "accept it"
    )


# -- choosing and checking ---------------------------------------------------------------------


def _part_index(score: Score, instrument: Instrument, label: str) -> int:
    if len(score.parts) == 1:
        return 0
    lines = [i for i, part in enumerate(score.parts) if not _ACCOMPANIES.search(part.name)]
    if len(lines) == 1:
        return lines[0]  # one line and its piano
    table = {instrument.id: instrument}
    for index, part in enumerate(score.parts):
        try:
            find(part.name, table)
        except TableError:
            continue
        return index
    names = ", ".join(part.name or part.id for part in score.parts)
    raise ScoreFileError(
        f"{label}: the score has {len(score.parts)} parts ({names}) and none is called "
        f"{instrument.name}; save the part that is meant on its own"
    )


def _check_playable(score: Score, index: int, instrument: Instrument, label: str) -> None:
    notes = score.part_notes(index)
    if not notes:
        raise ScoreFileError(f"{label}: there are no notes in the part, only rests")
    minutes = _minutes(score)
    if minutes > MAX_MINUTES:
        raise ScoreFileError(
            f"{label}: the piece lasts {minutes:.0f} minutes, an audition piece at most "
            f"{MAX_MINUTES:.0f}; save only the bars that are asked for"
        )
    unpitched = [note for note in notes if note.unpitched]
    if instrument.kind == "drum":
        _refuse_if(
            [note for note in notes if not note.unpitched], score, label,
            f"notes with pitch cannot be played on the {instrument.name}; "
            "give it a source of its own",
        )  # fmt: skip
        return
    _refuse_if(
        unpitched, score, label,
        f"notes without pitch (drum notation) cannot be played on the {instrument.name}",
    )  # fmt: skip
    if instrument.kind == "timpani":
        pitches = {note.sounding for note in notes}
        if len(pitches) > MAX_TIMPANI_PITCHES:
            raise ScoreFileError(
                f"{label}: {len(pitches)} different pitches are too many for timpani "
                f"(at most {MAX_TIMPANI_PITCHES}); give them a source of their own"
            )
    if instrument.kind != "melodic":
        return
    player = f"one {instrument.name} player"
    _refuse_if(
        [note for note in notes if note.staff > 1], score, label,
        f"music on two staves cannot be played by {player}; save the staff that is meant",
    )  # fmt: skip
    _refuse_if(
        [note for note in notes if note.chord], score, label,
        f"chords cannot be played by {player}; leave one note of each",
    )  # fmt: skip
    _refuse_if(
        _together(notes), score, label,
        f"several voices at once cannot be played by {player}; leave one voice",
    )  # fmt: skip


def _refuse_if(notes: list[ScoreNote], score: Score, label: str, reason: str) -> None:
    if not notes:
        return
    bars = list(dict.fromkeys(score.bars[note.bar].number for note in notes))
    shown = ", ".join(bars[:8]) + ("…" if len(bars) > 8 else "")
    raise ScoreFileError(f"{label}, bar{'s' if len(bars) > 1 else ''} {shown}: {reason}")


def _together(notes: Iterable[ScoreNote]) -> list[ScoreNote]:
    """Return notes that start while another still sounds (grace notes apart)."""
    found = []
    end = None
    for note in sorted((n for n in notes if not n.grace), key=lambda n: n.onset):
        if end is not None and note.onset < end:
            found.append(note)
        end = max(end or note.onset, note.onset + note.duration)
    return found


def _minutes(score: Score) -> float:
    """Return the length without repeats, at the printed tempo or else 90 quarters a minute."""
    tempo = min((mark.quarter_bpm for mark in score.tempo_marks), default=90.0)
    return float(score.length) / tempo


# -- fitting -----------------------------------------------------------------------------------


def _best_shift(score: Score, instrument: Instrument, level: str) -> int:
    """Return semitones on the written pitch: same pitch classes in sound, the octave that fits."""
    written = [note.written for note in score.notes if note.written is not None]
    base = score.parts[0].sounding_minus_written - instrument.sounding_minus_written
    low, high = written_range(instrument, level)
    as_it_is = base == 0 and score.parts[0].clef in {"", instrument.clef}

    def cost(octaves: int) -> tuple[int, bool, int, float]:
        moved = [pitch + base + 12 * octaves for pitch in written]
        outside = [max(low - pitch, pitch - high, 0) for pitch in moved]
        centre = abs(sum(moved) / len(moved) - (low + high) / 2)
        misses = sum(1 for much in outside if much)
        return misses, not (as_it_is and octaves == 0), sum(outside), centre

    return base + 12 * min(range(-6, 7), key=cost)


def written_range(instrument: Instrument, level: str) -> tuple[int, int]:
    """Return the lowest and highest written MIDI number of a level.

    Raises
    ------
    ScoreFileError
        If the instrument's table has no range for it.
    """
    if level not in instrument.ranges:
        raise ScoreFileError(
            f"the instrument table has no {level} range for {instrument.name}; add one"
        )
    return instrument.ranges[level]


def _misfits(score: Score, instrument: Instrument, level: str) -> Iterable[Misfit]:
    if level not in instrument.ranges:
        return
    low, high = instrument.ranges[level]
    for note in score.notes:
        if note.written is None or note.spelling is None:
            continue
        if note.written < low or note.written > high:
            beyond = note.written - high if note.written > high else note.written - low
            yield Misfit(score.bars[note.bar].number, note.spelling, beyond)


def _check_same_music(before: Score, after: Score, label: str) -> int:
    """Return the octaves in sound between source and part; refuse if it is not the same music."""
    first = next((n for n in before.notes if n.sounding is not None), None)
    octaves = 0
    if first is not None:
        moved = next(n for n in after.notes if n.sounding is not None)
        octaves = ((moved.sounding or 0) - (first.sounding or 0)) // 12
    same = len(before.notes) == len(after.notes) and all(
        (a.onset, a.duration, None if a.sounding is None else a.sounding + 12 * octaves)
        == (b.onset, b.duration, b.sounding)
        for a, b in zip(before.notes, after.notes, strict=False)
    )
    if not same:
        raise ScoreFileError(
            f"{label}: the transposed part would not sound like the source (the transposition "
            "changes within the piece?); save it in one transposition"
        )
    return octaves
