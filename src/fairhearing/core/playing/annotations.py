"""Notes as a plain table, so that a school can correct a take by ear and measure the program on it.

One note a row: ``onset_s,offset_s,pitch``; seconds with a point, pitch as a sounding MIDI number
(a fraction is allowed) or as a note name (``Bb3``, ``F#5``, C4 = 60). Text after ``#`` at the
start of a line is a comment. A byte-order mark, semicolons and stray spaces do no harm.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from fairhearing.core.errors import TableError
from fairhearing.core.playing.types import Note

COLUMNS = ("onset_s", "offset_s", "pitch")

_STEPS = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}


@dataclass(frozen=True, slots=True)
class AnnotatedNote:
    """A note as a person heard it; ``pitch_midi`` is sounding and may carry a fraction."""

    onset_s: float
    offset_s: float
    pitch_midi: float


def write_annotations(path: Path, notes: Sequence[Note | AnnotatedNote]) -> None:
    """Write notes as a table; the file appears whole or not at all.

    Parameters
    ----------
    path : Path
    notes : sequence of Note or AnnotatedNote
    """
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(COLUMNS)
    for note in notes:
        pitch = note.midi if isinstance(note, Note) else note.pitch_midi
        writer.writerow([f"{note.onset_s:.3f}", f"{note.offset_s:.3f}", f"{pitch:g}"])
    partial = path.with_name(path.name + ".part")
    partial.write_text(text.getvalue(), encoding="utf-8")
    partial.replace(path)


def read_annotations(path: Path) -> tuple[AnnotatedNote, ...]:
    """Read a table of notes, sorted by onset.

    Raises
    ------
    TableError
        With the line, if a column is missing or a value is not what it should be.
    """
    try:
        lines = path.read_text(encoding="utf-8-sig").splitlines()
    except FileNotFoundError:
        raise TableError("this file does not exist; check the name", path=path) from None
    except UnicodeDecodeError:
        raise TableError("this is not a text file in UTF-8; save it as CSV", path=path) from None
    numbered = [
        (number, line)
        for number, line in enumerate(lines, start=1)
        if line.strip() and not line.lstrip().startswith("#")
    ]
    if not numbered:
        raise TableError(
            f"no notes; the first line names the columns {', '.join(COLUMNS)}", path=path
        )
    separator = ";" if numbered[0][1].count(";") > numbered[0][1].count(",") else ","
    heads = [
        head.strip().casefold() for head in next(csv.reader([numbered[0][1]], delimiter=separator))
    ]
    missing = [column for column in COLUMNS if column not in heads]
    if missing:
        raise TableError(
            f"the column {missing[0]} is missing; the first line names the columns "
            f"{', '.join(COLUMNS)}",
            path=path,
            line=numbered[0][0],
        )
    notes = [
        _row(
            dict(zip(heads, next(csv.reader([line], delimiter=separator)), strict=False)), path, at
        )
        for at, line in numbered[1:]
    ]
    return tuple(sorted(notes, key=lambda note: note.onset_s))


def _row(cells: dict[str, str], path: Path, line: int) -> AnnotatedNote:
    onset_s = _seconds(cells, "onset_s", path, line)
    offset_s = _seconds(cells, "offset_s", path, line)
    if offset_s <= onset_s:
        raise TableError("the note ends before it begins; swap the two times", path=path, line=line)
    return AnnotatedNote(onset_s, offset_s, _pitch(cells.get("pitch", ""), path, line))


def _seconds(cells: dict[str, str], column: str, path: Path, line: int) -> float:
    text = cells.get(column, "").strip()
    if not re.fullmatch(r"\d+(\.\d+)?", text):
        raise TableError(
            f'{column} is "{text}"; write seconds with a point, such as 12.345',
            path=path,
            line=line,
        )
    return float(text)


def _pitch(text: str, path: Path, line: int) -> float:
    text = text.strip().replace("♭", "b").replace("♯", "#")
    named = re.fullmatch(r"([A-Ga-g])(b|#)?(-?\d)", text)
    if named:
        letter, sign, octave = named.groups()
        step = _STEPS[letter.upper()] + {"b": -1, "#": 1, None: 0}[sign]
        return float(12 * (int(octave) + 1) + step)
    if re.fullmatch(r"\d{1,3}(\.\d+)?", text) and 0 <= float(text) <= 127:
        return float(text)
    raise TableError(
        f'pitch is "{text}"; write a MIDI number such as 58 or a note such as Bb3',
        path=path,
        line=line,
    )
