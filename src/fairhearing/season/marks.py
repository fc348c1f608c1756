"""``marks.csv``: one mark a row, as judges' sheets are exported.

Columns ``student,judge,criterion,mark`` and, where the season needs them, ``section``,
``instrument``, ``weight`` and ``order`` (the place of the take in the judge's listening order). A
row without a mark is a mark not given: it is left out, never read as zero.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from fairhearing.core.errors import TableError
from fairhearing.core.judging.marks import Mark, Marks, from_rows
from fairhearing.tables import Table, read_table

REQUIRED = ("student", "judge", "criterion", "mark")
OPTIONAL = ("section", "instrument", "weight", "order")
ALSO = {
    "student": ("number", "audition number", "student number"),
    "judge": ("judge number",),
    "mark": ("marks", "points"),
    "order": ("listening order", "position"),
}


def read_marks(path: Path | str) -> Marks:
    """Read and check a table of marks.

    Raises
    ------
    TableError
        With file and line: a missing column or name, a mark that is no number, a negative
        weight, a mark given twice.
    """
    table = read_table(path, required=REQUIRED, optional=OPTIONAL, aliases=ALSO)
    try:
        return from_rows(_rows(table))
    except TableError as error:
        if error.path is not None:
            raise
        raise TableError(error.problem, path=Path(path), line=error.line) from None


def _rows(table: Table) -> Iterator[Mark]:
    for row in table:
        mark = row.number("mark")
        student, judge, criterion = row.need("student"), row.need("judge"), row.need("criterion")
        if mark is None:
            continue
        weight = row.number("weight", low=0)
        yield Mark(
            student=student,
            judge=judge,
            criterion=criterion,
            mark=mark,
            section=row["section"],
            instrument=row["instrument"],
            weight=1.0 if weight is None else weight,
            order=row.number("order"),
            line=row.line,
        )
