"""Which file is whose: a folder of takes and a form tool's table, matched to the roster.

A file is matched by the table first (its line names student and file), then by the audition
number in its name, then by the student's name in its name. Nothing is guessed between two
students: what fits both, or none, is listed for a person.
"""

from __future__ import annotations

import re
from collections import defaultdict
from dataclasses import dataclass
from pathlib import Path, PurePosixPath
from urllib.parse import parse_qs, unquote, urlsplit

from fairhearing.core.errors import TableError
from fairhearing.season.types import Roster, Student
from fairhearing.tables import Row, plain_heading, read_table

ENDINGS = frozenset(
    [
        ".mp4",
        ".mov",
        ".m4v",
        ".webm",
        ".mkv",
        ".m4a",
        ".wav",
        ".mp3",
        ".ogg",
        ".opus",
        ".aac",
        ".3gp",
    ]
)
FILE_HEADINGS = (
    *("take", "video", "recording", "upload", "file name", "filename", "link", "url"),
    *("video link", "upload your video", "audition video", "file upload"),
)
STUDENT_HEADINGS = (
    *("id", "number", "audition number", "student id", "student number", "name"),
    *("student name", "full name", "your name"),
)


@dataclass(frozen=True, slots=True)
class Matched:
    """Takes and students, matched both ways.

    Attributes
    ----------
    takes : dict of str to tuple of Path
        Audition number to files, oldest name first; several where a student sent several.
    files_without_student : tuple of (Path, str)
        With the reason in a few words.
    students_without_file : tuple of str
        Audition numbers.
    lines_without_file : tuple of (int, str)
        Lines of the table whose file is not in the folder (or whose student is unknown).
    """

    takes: dict[str, tuple[Path, ...]]
    files_without_student: tuple[tuple[Path, str], ...]
    students_without_file: tuple[str, ...]
    lines_without_file: tuple[tuple[int, str], ...]


def match_takes(
    folder: Path | str,
    roster: Roster,
    table: Path | str | None = None,
    *,
    student_column: str | None = None,
    file_column: str | None = None,
) -> Matched:
    """Match the recordings in a folder (and below it) to the roster.

    Parameters
    ----------
    folder : Path or str
        Where the files are.
    roster : Roster
    table : Path or str, optional
        What a form tool exported: a column that names the student (number or name), one that
        names the file (name, path or link).
    student_column, file_column : str, optional
        The headings of these two columns where they are not found by themselves.

    Raises
    ------
    TableError
        If the folder does not exist or the table has no such columns.
    """
    folder = Path(folder)
    if not folder.is_dir():
        raise TableError("there is no such folder of takes", path=folder)
    files = sorted(
        one for one in folder.rglob("*") if one.is_file() and one.suffix.casefold() in ENDINGS
    )
    found: dict[str, list[Path]] = defaultdict(list)
    lines: list[tuple[int, str]] = []
    taken: set[Path] = set()
    if table is not None:
        for row in _form(table, student_column, file_column):
            student, why_not = _student(row["student"], roster)
            named = [_named(link, files) for link in _links(row["file"])]
            if student is None:
                lines.append((row.line, why_not))
            elif not any(named):
                lines.append((row.line, f'the file "{row["file"]}" is not in the folder'))
            else:
                for file in filter(None, named):
                    if file not in taken:
                        found[student.number].append(file)
                        taken.add(file)
    strangers: list[tuple[Path, str]] = []
    for file in files:
        if file not in taken:
            student, why_not = _by_file_name(file, roster)
            if student is None:
                strangers.append((file, why_not))
            else:
                found[student.number].append(file)
    return Matched(
        takes={
            one.number: tuple(found[one.number]) for one in roster.students if found.get(one.number)
        },
        files_without_student=tuple(strangers),
        students_without_file=tuple(
            one.number for one in roster.students if not found.get(one.number)
        ),
        lines_without_file=tuple(lines),
    )


def _form(table: Path | str, student_column: str | None, file_column: str | None) -> list[Row]:
    aliases = {
        "student": (student_column,) if student_column else STUDENT_HEADINGS,
        "file": (file_column,) if file_column else FILE_HEADINGS,
    }
    return list(read_table(table, required=("student", "file"), aliases=aliases))


def _links(cell: str) -> list[str]:
    return [part.strip() for part in re.split(r"[\n;]|, (?=https?:)", cell) if part.strip()]


def _named(link: str, files: list[Path]) -> Path | None:
    """Return the file that a name, path or link means, by its last part (or an id in the link)."""
    parts = urlsplit(link)
    keys = [unquote(PurePosixPath(parts.path.replace("\\", "/")).name)]
    keys += [value for values in parse_qs(parts.query).values() for value in values]
    for key in keys:
        wanted = key.casefold()
        same = [one for one in files if wanted in (one.name.casefold(), one.stem.casefold())]
        if len(same) == 1:
            return same[0]
    return None


def _student(text: str, roster: Roster) -> tuple[Student | None, str]:
    if not text:
        return None, "no student is named"
    if (student := roster.get(text)) is not None:
        return student, ""
    bare = text.lstrip("0#")
    by_number = [one for one in roster.students if one.number.lstrip("0#") == bare and bare]
    if len(by_number) == 1:
        return by_number[0], ""
    wanted = _name_key(text)
    same = [one for one in roster.students if one.name and _name_key(one.name) == wanted]
    if len(same) == 1:
        return same[0], ""
    if same:
        numbers = ", ".join(one.number for one in same)
        return None, f'"{text}" is the name of numbers {numbers}; use the number'
    return None, f'"{text}" is not on the roster'


def _name_key(name: str) -> tuple[str, ...]:
    """Return the words of a name, sorted: "Lind, Ana" and "Ana Lind" are one person."""
    words = re.split(r"[\W_]+", name)
    return tuple(sorted(plain_heading(word) for word in words if plain_heading(word)))


def _by_file_name(file: Path, roster: Roster) -> tuple[Student | None, str]:
    """Return the one student whose number or name stands in the file's name."""
    words = [word for word in re.split(r"[\W_]+", file.stem.casefold()) if word]
    numbers = [one for one in roster.students if _holds(words, one.number)]
    if len(numbers) == 1:
        return numbers[0], ""
    if len(numbers) > 1:
        return None, f"numbers {', '.join(one.number for one in numbers)} stand in its name"
    plain = {plain_heading(word) for word in words}
    names = [
        one
        for one in roster.students
        if len(key := _name_key(one.name)) > 1 and plain.issuperset(key)
    ]
    if len(names) == 1:
        return names[0], ""
    if names:
        return None, f"it fits numbers {', '.join(one.number for one in names)}"
    return None, "its name holds no number or name of the roster"


def _holds(words: list[str], number: str) -> bool:
    wanted = [word for word in re.split(r"[\W_]+", number.casefold()) if word]
    size = len(wanted)
    return size > 0 and any(words[at : at + size] == wanted for at in range(len(words) - size + 1))
