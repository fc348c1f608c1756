"""``marks.csv``: one mark a row, as judges' sheets are exported.

Columns ``student,judge,criterion,mark`` and, where the season needs them, ``section``,
``instrument``, ``weight`` and ``order`` (the place of the take in the judge's listening order). A
row without a mark is a mark not given: it is left out, never read as zero.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np

from fairhearing.core.errors import TableError
from fairhearing.core.judging.evaluate import Facts
from fairhearing.core.judging.marks import Mark, Marks, from_rows
from fairhearing.core.judging.rubric import Rubric, weighted
from fairhearing.core.packet.instruments import find, load
from fairhearing.season.types import Roster, Season
from fairhearing.tables import Row, Table, plain_heading, read_table

REQUIRED = ("student", "judge", "criterion", "mark")
OPTIONAL = ("section", "instrument", "weight", "order")
ALSO = {
    "student": ("number", "audition number", "student number", "student id", "id"),
    "judge": ("judge number",),
    "mark": ("marks", "points"),
    "order": ("listening order", "position"),
}


def read_marks(
    path: Path | str,
    *,
    rubric: Rubric | None = None,
    roster: Roster | None = None,
    season: Season | None = None,
) -> Marks:
    """Read and check a table of marks.

    Parameters
    ----------
    rubric : Rubric, optional
        Gives every mark its weight (a ``weight`` column is then not read) and its scale.
    roster : Roster, optional
        Every student must stand in it; a mark without an instrument is of the student's main
        instrument. Without a roster an instrument that is not in the instrument table is ranked
        by itself, as typed. Known spellings become the instrument's id either way.

    season : Season, optional
        Its criteria give the weight of a mark that has none in the table.

    Raises
    ------
    TableError
        With file and line: a missing column or name, a mark that is no number or off the
        rubric's scale, a negative weight, a mark given twice, a student who is not on the roster.
    """
    table = read_table(path, required=REQUIRED, optional=OPTIONAL, aliases=ALSO)
    if rubric is not None and roster is None and "instrument" not in table.columns:
        raise TableError(
            'with a rubric there must be a column "instrument", because percussion is marked '
            "differently",
            path=path,
            line=1,
        )
    rows = _rows(table, roster, season, must_be_known=rubric is not None or roster is not None)
    try:
        if rubric is None:
            return from_rows(rows)
        families = {instrument.id: instrument.family for instrument in load().values()}
        return from_rows(weighted(rubric, ((row, families[row.instrument]) for row in rows)))
    except TableError as error:
        if error.path is not None:
            raise
        raise TableError(error.problem, path=Path(path), line=error.line) from None


def _rows(
    table: Table, roster: Roster | None, season: Season | None, *, must_be_known: bool
) -> Iterator[Mark]:
    weights = _weights(season)
    first: dict[tuple[str, str], tuple[str, int]] = {}
    spellings: dict[str, str] = {"": ""}
    for row in table:
        mark = row.number("mark")
        student, judge, criterion = (
            _same_spelling(row, what, first) for what in ("student", "judge", "criterion")
        )
        typed = row["instrument"]
        if typed not in spellings:
            spellings[typed] = _instrument(row, typed, must_be_known)
        instrument = spellings[typed]
        if roster is not None:
            instrument = _on_roster(row, roster, student, instrument)
        elif must_be_known and not typed:
            row.need("instrument")
        if mark is None:
            continue
        weight = row.number("weight", low=0)
        yield Mark(
            student=student,
            judge=judge,
            criterion=criterion,
            mark=mark,
            section=row["section"],
            instrument=instrument,
            weight=weights(row["section"], criterion, instrument) if weight is None else weight,
            order=row.number("order"),
            line=row.line,
        )


def _same_spelling(row: Row, what: str, first: dict[tuple[str, str], tuple[str, int]]) -> str:
    """Return a name, refused if it was written with other capitals or spaces before."""
    name = row.need(what)
    known, line = first.setdefault((what, " ".join(name.casefold().split())), (name, row.line))
    if known != name:
        raise row.error(
            f'the {what} "{name}" is written "{known}" in line {line}; write the same name the '
            "same way everywhere"
        )
    return name


def _weights(season: Season | None) -> Callable[[str, str, str], float]:
    """Return the weight of a mark that has none in the table: the season's, else 1."""

    @cache
    def weight(section: str, criterion: str, instrument: str) -> float:
        for one in season.criteria_for(instrument) if season else ():
            same = plain_heading(one.name) == plain_heading(criterion)
            if same and (not one.section or not section or one.section == section):
                return one.weight
        return 1.0

    return weight


def _on_roster(row: Row, roster: Roster, student: str, instrument: str) -> str:
    known = roster.get(student)
    if known is None:
        raise row.error(f"student {student} is not on the roster; check the number")
    if instrument and instrument not in known.instruments:
        raise row.error(
            f"student {student} auditions on {' and '.join(known.instruments)}, "
            f"not on {instrument}; correct one of the two tables"
        )
    return instrument or known.instrument


def _instrument(row: Row, typed: str, must_be_known: bool) -> str:
    try:
        return find(typed).id
    except TableError as error:
        if must_be_known:
            raise row.error(error.problem) from None
        return typed


def unknown_instruments(marks: Marks) -> tuple[str, ...]:
    """Return a sentence for each instrument that is not in the instrument table."""
    known = load()
    return tuple(
        f'"{name}" is not in the instrument table; its students are ranked by themselves.'
        for name in dict.fromkeys(marks.instruments)
        if name and name not in known
    )


def with_order(marks: Marks, path: Path | str) -> Marks:
    """Return the marks with the listening order of a plan (``fairhearing panel``).

    Raises
    ------
    TableError
        If the plan cannot be read or knows none of these listenings.
    """
    place: dict[tuple[str, str, str], float] = {}
    table = read_table(path, required=("judge", "order", "student"), optional=("instrument",))
    for row in table:
        order = row.number("order", low=1)
        if order is not None:
            instrument = _instrument(row, row["instrument"], False) if row["instrument"] else ""
            place[row.need("judge"), row.need("student"), instrument] = order
            place.setdefault((row["judge"], row["student"], ""), order)
    places = np.full(len(marks.mark), np.nan)
    for at, (judge, unit) in enumerate(zip(marks.judge, marks.student, strict=True)):
        key = (marks.judges[judge], marks.students[unit], marks.instruments[unit])
        places[at] = place.get(key, math.nan)
    if np.isnan(places).all():
        raise TableError(
            "knows none of these listenings; is it the plan of this season?", path=path
        )
    return replace(marks, order=places)


def read_facts(path: Path | str, marks: Marks) -> Facts:
    """Read what is known about the takes: ``student`` and any further columns but ``name``.

    A column of numbers only is read as numbers, any other as groups. With a column
    ``instrument``, a line is about that audition; otherwise about all auditions of the student.

    Returns
    -------
    dict of str to list
        One value a scored unit of `marks`, None where unknown.

    Raises
    ------
    TableError
        If a student stands twice, nobody in the table has marks, or there is no further column.
    """
    table = read_table(
        path,
        required=("student",),
        optional=("instrument", "name"),
        aliases={"student": ALSO["student"]},
    )
    names = [name for name in table.others if name]
    if not names:
        raise TableError(
            "there is no column besides the student; add what is known, such as school or grade",
            path=path,
            line=1,
        )
    of: dict[tuple[str, str], Row] = {}
    for row in table:
        instrument = _instrument(row, row["instrument"], True) if row["instrument"] else ""
        key = (row.need("student"), instrument)
        if key in of:
            raise row.error(f"student {key[0]} stands twice (first in line {of[key].line})")
        of[key] = row
    units = list(zip(marks.students, marks.instruments, strict=True))
    rows = [of.get(unit) or of.get((unit[0], "")) for unit in units]
    if not any(rows):
        raise TableError("none of these students has marks; are these the same numbers?", path=path)
    return {name: _column(rows, name) for name in names}


def _column(rows: Sequence[Row | None], name: str) -> list[str | float | None]:
    texts = [row[name] if row else "" for row in rows]
    try:
        numbers = [row.number(name) if row else None for row in rows]
    except TableError:
        return [text or None for text in texts]
    return list(numbers)
