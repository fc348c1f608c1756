"""From sheet music as the packet reads it to the plain score that a take is set beside.

The two rooms do not know each other; this is the one place where notes change hands.
Conventions as in :mod:`fairhearing.core.playing.alignment.score`: quarter beats, sounding pitch.
"""

from __future__ import annotations

import itertools
from dataclasses import replace
from pathlib import Path

from fairhearing.core.errors import ScoreFileError
from fairhearing.core.packet import score as packet
from fairhearing.core.packet.instruments import Instrument
from fairhearing.core.packet.reading import read_score
from fairhearing.core.packet.unfolding import bar_order
from fairhearing.core.playing.alignment import score as plain


def plain_score(path: Path | str, instrument: Instrument | None = None) -> plain.Score:
    """Read a score file for comparison with a take.

    Parameters
    ----------
    path : Path or str
        MusicXML (plain or compressed) or MIDI; the first part is the student's.
    instrument : Instrument, optional
        Whose take it is. A part that says nothing about transposition but was written for a
        transposing instrument is taken at its written pitch; the alignment recognises a take in
        another transposition and says so.

    Raises
    ------
    ScoreFileError
        If the file cannot be read, or its first part has no notes.
    """
    written = read_score(Path(path))
    notes = tuple(_note(note) for note in written.part_notes(0) if not note.cue)
    if not notes:
        raise ScoreFileError(
            f"{Path(path).name} has no notes in its first part; choose the student's own part."
        )
    if instrument is not None and instrument.kind == "drum":
        notes = tuple(replace(note, midi=None) for note in notes)
    return plain.Score(
        notes=tuple(sorted(notes, key=lambda note: (note.onset, not note.grace))),
        bars=tuple(plain.Bar(bar.number, bar.start, bar.length) for bar in written.bars),
        turns=_turns(written),
        tempo_bpm=written.tempo_marks[0].quarter_bpm if written.tempo_marks else None,
    )


def _note(note: packet.ScoreNote) -> plain.ScoreNote:
    return plain.ScoreNote(
        onset=note.onset,
        duration=note.duration,
        midi=note.sounding,
        bar=note.bar,
        grace=note.grace,
        tied=note.tie_stop,
    )


def _turns(written: packet.Score) -> tuple[plain.Turn, ...]:
    """Every place where the played order leaves the page's order."""
    order = bar_order(written)
    turns = []
    for here, there in itertools.pairwise(order):
        if there != here + 1:
            turn = plain.Turn(here, there, _kind(written.bars[here], here, there))
            if turn not in turns:
                turns.append(turn)
    return tuple(turns)


def _kind(bar: packet.Bar, here: int, there: int) -> plain.TurnKind:
    if any(jump in ("da capo", "dal segno") for jump in bar.jumps) and there <= here:
        return "da capo"
    if "to coda" in bar.jumps and there > here:
        return "coda"
    return "repeat" if there <= here else "ending"
