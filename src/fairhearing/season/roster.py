"""Read ``roster.csv``: who auditions on what."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import replace
from pathlib import Path
from typing import Literal

from fairhearing.core.errors import TableError
from fairhearing.core.packet.instruments import LEVELS, find
from fairhearing.season.types import Roster, Season, Student
from fairhearing.tables import Row, read_table

ALIASES = {
    "student": (
        "id",
        "number",
        "no",
        "audition number",
        "audition no",
        "student id",
        "student number",
    ),
    "name": ("student name", "full name"),
    "grade": ("year", "class"),
    "instrument": ("main instrument", "primary instrument", "first instrument"),
    "second_instrument": ("second", "2nd instrument", "other instrument"),
    "would_switch": ("switch", "would switch to", "willing to switch"),
    "honors": ("honors excerpt", "honours"),
}
COLUMNS = (
    *("name", "grade", "school", "second_instrument", "would_switch"),
    *("prefers", "declines", "honors", "level"),
)


def read_roster(path: Path | str, season: Season | None = None) -> Roster:
    """Read the roster; with a season, schools and ensembles are checked against it.

    Parameters
    ----------
    path : Path or str
        The table, or the season's folder (then ``roster.csv`` or ``roster.xlsx`` in it).
    season : Season, optional

    Raises
    ------
    TableError
        If a number stands twice, an instrument, school or ensemble is unknown, or a cell cannot
        be read.
    """
    path = roster_file(path)
    by_number: dict[str, Student] = {}
    for row in read_table(
        path, required=("student", "instrument"), optional=COLUMNS, aliases=ALIASES
    ):
        student = _student(row, season)
        earlier = by_number.get(student.number)
        by_number[student.number] = _joined(earlier, student, row) if earlier else student
    students = tuple(by_number.values())
    if not students:
        raise TableError("there are no students in it", path=path)
    return Roster(path, students, _notes(students), by_number)


def roster_file(path: Path | str) -> Path:
    """Return the roster meant by a folder or a file name."""
    path = Path(path)
    if not path.is_dir():
        return path
    for name in ("roster.csv", "roster.xlsx"):
        if (path / name).is_file():
            return path / name
    raise TableError("there is no roster.csv in this folder; docs/season.md says how", path=path)


def _student(row: Row, season: Season | None) -> Student:
    main = _instrument(row, "instrument", row.need("instrument"))
    second = row["second_instrument"]
    instruments = [main]
    if second and (other := _instrument(row, "second_instrument", second)) != main:
        instruments.append(other)
    switch = [_instrument(row, "would_switch", word) for word in row.words("would_switch")]
    return Student(
        number=row.need("student"),
        name=row["name"],
        instruments=tuple(instruments),
        grade=row.whole("grade", low=0, high=20),
        school=_school(row, season),
        would_switch=tuple(one for one in dict.fromkeys(switch) if one not in instruments),
        prefers=_prefers(row),
        declines=_declines(row, season),
        honors=row.yes("honors"),
        level=_level(row),
        line=row.line,
    )


def _instrument(row: Row, column: str, word: str) -> str:
    try:
        return find(word).id
    except TableError as error:
        raise row.error(f'{error.problem} (column "{column}")') from None


def _school(row: Row, season: Season | None) -> str | None:
    text = row["school"]
    if season is None:
        return text or None
    if not text:
        if len(season.schools) > 1:
            raise row.error(
                "the school is missing; with several schools every student needs one of "
                + ", ".join(school.id for school in season.schools)
            )
        return season.schools[0].id if season.schools else None
    school = season.school(text)
    if school is None and season.schools:
        known = ", ".join(each.id for each in season.schools)
        raise row.error(f'"{text}" is not a school of the season; there are {known}')
    return school.id if school else text


def _prefers(row: Row) -> Literal["ensemble", "instrument"]:
    text = row["prefers"].casefold() or "ensemble"
    if text not in ("ensemble", "instrument"):
        raise row.error(f'"{row["prefers"]}" under "prefers" must be ensemble or instrument')
    return "instrument" if text == "instrument" else "ensemble"


def _declines(row: Row, season: Season | None) -> tuple[str, ...]:
    declined = []
    for word in row.words("declines"):
        ensemble = season.ensemble(word) if season else None
        if season and ensemble is None:
            known = ", ".join(each.name for each in season.ensembles)
            raise row.error(f'"{word}" under "declines" is not an ensemble; there are {known}')
        declined.append(ensemble.id if ensemble else word)
    return tuple(declined)


def _level(row: Row) -> str | None:
    text = row["level"].casefold()
    if text and text not in LEVELS:
        raise row.error(f'"{row["level"]}" under "level" must be one of {", ".join(LEVELS)}')
    return text or None


def _joined(earlier: Student, later: Student, row: Row) -> Student:
    """Return one student out of two lines, if they are the two auditions of one person."""
    same = (earlier.name, earlier.school) == (later.name, later.school) and earlier.name
    if not same or later.instrument in earlier.instruments:
        raise row.error(
            f"number {later.number} stands already in line {earlier.line}; "
            "give every student a number of their own"
        )
    instruments = tuple(dict.fromkeys((*earlier.instruments, *later.instruments)))
    if len(instruments) > 2:
        raise row.error(f"number {later.number} auditions on more than two instruments")
    return replace(
        earlier,
        instruments=instruments,
        would_switch=tuple(
            one
            for one in dict.fromkeys((*earlier.would_switch, *later.would_switch))
            if one not in instruments
        ),
        honors=earlier.honors if later.honors is None else later.honors,
    )


def _notes(students: tuple[Student, ...]) -> tuple[str, ...]:
    """Return what a person should know: students who share a name are told apart by number."""
    by_name: dict[str, list[str]] = defaultdict(list)
    for student in students:
        if student.name:
            by_name[" ".join(student.name.casefold().split())].append(student.number)
    return tuple(
        f"Numbers {', '.join(numbers[:-1])} and {numbers[-1]} have the same name; "
        "they are kept apart by number."
        for numbers in by_name.values()
        if len(numbers) > 1
    )
