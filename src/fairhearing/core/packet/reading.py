"""Sheet music from a file: MusicXML (plain or compressed, any encoding) or MIDI.

Nothing is guessed and nothing is lost: the notes read are as many as the notes in the file, or
the file is refused with the bar and the reason. Microtones are rounded to the nearest semitone in
``written`` and ``sounding`` and kept exactly in ``spelling``.
"""

from __future__ import annotations

from pathlib import Path

from fairhearing.core.errors import ScoreFileError
from fairhearing.core.packet.midi_reading import score_from_midi
from fairhearing.core.packet.musicxml_reading import score_from_tree
from fairhearing.core.packet.opening import file_bytes, parse_tree
from fairhearing.core.packet.score import Score

MUSICXML_SUFFIXES = (".musicxml", ".xml", ".mxl")
MIDI_SUFFIXES = (".mid", ".midi", ".smf")
SCORE_SUFFIXES = MUSICXML_SUFFIXES + MIDI_SUFFIXES


def read_score(path: Path | str) -> Score:
    """Read a score; the contents decide the format, not the name.

    Parameters
    ----------
    path : Path or str
        A MusicXML file (``.musicxml``, ``.xml``, ``.mxl``) or a MIDI file (``.mid``).

    Returns
    -------
    Score
        Parts, bars, notes and tempo marks as written; repeats are not played out
        (:func:`fairhearing.core.packet.unfolding.played` does that).

    Raises
    ------
    ScoreFileError
        One sentence with the file, the bar and the reason.

    Examples
    --------
    >>> read_score("etude.musicxml").part_notes(0)[0].sounding      # doctest: +SKIP
    58
    """
    path = Path(path)
    data = file_bytes(path)
    if data[:4] == b"MThd" or (data[:4] == b"RIFF" and data[8:12] == b"RMID"):
        return score_from_midi(_midi_chunk(data), path.name)
    if data[:5] == b"%PDF-":
        raise ScoreFileError(
            f"{path.name}: a PDF holds a picture of notes, not the notes; attach it to the packet "
            "as it is, or export MusicXML from the notation program"
        )
    return score_from_tree(parse_tree(data, path.name), path.name)


def _midi_chunk(data: bytes) -> bytes:
    start = data.find(b"MThd", 0, 64)
    return data[start:] if start > 0 else data
