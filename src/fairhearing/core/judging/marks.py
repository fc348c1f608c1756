"""Judges' marks, one mark a row, kept as columns of numbers.

Conventions
-----------
A *mark* is what one judge gave one student on one criterion of one section. A *listening* is all
that one judge marked in one take. The unit that is scored is a student on an instrument: a
student who auditions on two instruments has two takes and two scores. A mark that was not given
(an honors excerpt not attempted, a criterion left blank) is an absent row, never a zero.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from fairhearing.core.errors import TableError

_DIGITS = re.compile(r"([0-9]+)")
Floats = NDArray[np.float64]
Indices = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Mark:
    """One mark.

    Attributes
    ----------
    student, judge, criterion : str
        Who was marked, by whom, on what.
    mark : float
        The mark as given.
    section : str
        Section of the audition ("etude", "scales"); empty if the season has one section only.
    instrument : str
        Instrument of the take; empty if the marks are of one instrument only.
    weight : float
        Weight of the criterion in the score; 0 leaves the mark out.
    order : float or None
        Place of the take in the judge's own listening order, from 1.
    line : int or None
        Line in the file that the mark came from, for messages.
    """

    student: str
    judge: str
    criterion: str
    mark: float
    section: str = ""
    instrument: str = ""
    weight: float = 1.0
    order: float | None = None
    line: int | None = None


@dataclass(frozen=True, slots=True)
class Marks:
    """All marks of a season as columns; row ``r`` is one mark.

    Attributes
    ----------
    students : tuple of str
        Student of each scored unit, shape (S,).
    instruments : tuple of str
        Instrument of each scored unit, shape (S,); empty strings when none was given.
    judges : tuple of str
        Shape (J,).
    criteria : tuple of (str, str)
        Section and criterion, shape (C,).
    student, judge, criterion : ndarray of int, shape (n,)
        Indices into the tuples above.
    mark, weight : ndarray of float, shape (n,)
        The marks as given and their weights (> 0).
    order : ndarray of float, shape (n,)
        Place in the judge's listening order; NaN where unknown.
    """

    students: tuple[str, ...]
    instruments: tuple[str, ...]
    judges: tuple[str, ...]
    criteria: tuple[tuple[str, str], ...]
    student: Indices
    judge: Indices
    criterion: Indices
    mark: Floats
    weight: Floats
    order: Floats

    def name(self, unit: int) -> str:
        """Name of a scored unit in a sentence: the student, and the instrument if one is known."""
        instrument = self.instruments[unit].replace("-", " ")
        return f"{self.students[unit]} ({instrument})" if instrument else self.students[unit]

    def without_judges(self, names: Iterable[str]) -> Marks:
        """Return the marks of all other judges.

        Raises
        ------
        TableError
            If a name marked nobody, or nothing is left.
        """
        gone = set(names)
        unknown = sorted(gone - set(self.judges))
        if unknown:
            raise TableError(f'no marks by a judge "{unknown[0]}"; check the spelling')
        keep = ~np.isin(self.judge, [j for j, name in enumerate(self.judges) if name in gone])
        return self.subset(keep)

    def subset(self, keep: NDArray[np.bool_]) -> Marks:
        """Return the rows where `keep` (shape (n,)) is true, with unused names dropped.

        Raises
        ------
        TableError
            If nothing is left.
        """
        if not keep.any():
            raise TableError("no marks are left; at least one judge must have marked a student")
        student, units = _reindex(self.student[keep])
        judge, judges = _reindex(self.judge[keep])
        criterion, criteria = _reindex(self.criterion[keep])
        return Marks(
            students=tuple(self.students[u] for u in units),
            instruments=tuple(self.instruments[u] for u in units),
            judges=tuple(self.judges[j] for j in judges),
            criteria=tuple(self.criteria[c] for c in criteria),
            student=student,
            judge=judge,
            criterion=criterion,
            mark=self.mark[keep],
            weight=self.weight[keep],
            order=self.order[keep],
        )


@dataclass(frozen=True, slots=True)
class Listenings:
    """The listenings behind the marks; listening ``l`` is one judge hearing one take.

    Attributes
    ----------
    of_mark : ndarray of int, shape (n,)
        The listening of each mark.
    student, judge : ndarray of int, shape (L,)
        Who was heard by whom.
    weight : ndarray, shape (L,)
        Sum of the weights of the listening's marks.
    n_students, n_judges : int
    """

    of_mark: Indices
    student: Indices
    judge: Indices
    weight: Floats
    n_students: int
    n_judges: int

    @property
    def per_student(self) -> Indices:
        """Number of judges who heard each student, shape (S,)."""
        return count_by(self.student, self.n_students)

    @property
    def per_judge(self) -> Indices:
        """Number of students whom each judge heard, shape (J,)."""
        return count_by(self.judge, self.n_judges)

    def mean(self, marks: Marks, values: Floats) -> Floats:
        """Return the weighted mean over each listening of a value a mark, shape (L,)."""
        return sum_by(self.of_mark, marks.weight * values, len(self.weight)) / self.weight


def listenings(marks: Marks) -> Listenings:
    """Gather the marks of each listening."""
    n_judges = len(marks.judges)
    keys, of_mark = np.unique(marks.student * n_judges + marks.judge, return_inverse=True)
    of_mark = of_mark.astype(np.int64)
    return Listenings(
        of_mark=of_mark,
        student=keys // n_judges,
        judge=keys % n_judges,
        weight=sum_by(of_mark, marks.weight, len(keys)),
        n_students=len(marks.students),
        n_judges=n_judges,
    )


def from_rows(rows: Iterable[Mark]) -> Marks:
    """Collect marks into columns, checked.

    Parameters
    ----------
    rows : iterable of Mark
        In any order; the result does not depend on it.

    Raises
    ------
    TableError
        If there is no mark, a mark or weight is not a finite number, a weight is negative, or a
        judge marked the same student twice on one criterion. Names the line where it is known.
    """
    kept: list[Mark] = []
    first: dict[tuple[str, str, str, str, str], int | None] = {}
    for row in rows:
        _check(row)
        key = (row.student, row.instrument, row.judge, row.section, row.criterion)
        if key in first:
            where = f" (first in line {first[key]})" if first[key] is not None else ""
            raise TableError(
                f"judge {row.judge} marks student {row.student} a second time on "
                f'"{row.criterion}"{where}; keep one of the two',
                line=row.line,
            )
        first[key] = row.line
        if row.weight > 0:
            kept.append(row)
    if not kept:
        raise TableError("there is no mark; each row needs student, judge, criterion and mark")
    return _columns(kept)


def _columns(rows: Sequence[Mark]) -> Marks:
    units = _numbered((row.instrument, row.student) for row in rows)
    judges = _numbered(row.judge for row in rows)
    criteria = _numbered((row.section, row.criterion) for row in rows)
    student = np.array([units[row.instrument, row.student] for row in rows], dtype=np.int64)
    judge = np.array([judges[row.judge] for row in rows], dtype=np.int64)
    criterion = np.array([criteria[row.section, row.criterion] for row in rows], dtype=np.int64)
    order = np.lexsort((criterion, judge, student))
    return Marks(
        students=tuple(name for _, name in units),
        instruments=tuple(instrument for instrument, _ in units),
        judges=tuple(judges),
        criteria=tuple(criteria),
        student=student[order],
        judge=judge[order],
        criterion=criterion[order],
        mark=np.array([row.mark for row in rows], dtype=float)[order],
        weight=np.array([row.weight for row in rows], dtype=float)[order],
        order=np.array([math.nan if row.order is None else row.order for row in rows])[order],
    )


_Name = TypeVar("_Name", str, tuple[str, str])


def _numbered(names: Iterable[_Name]) -> dict[_Name, int]:
    """Number the distinct names in natural order ("7" before "12"), so that row order is lost."""
    distinct = sorted(set(names), key=_natural)
    return {name: number for number, name in enumerate(distinct)}


def natural_key(name: str) -> tuple[tuple[int, int, str], ...]:
    """Return a sort key under which "J2" stands before "J10"."""
    return tuple(
        (0, int(part), part) if part.isdecimal() else (1, 0, part)
        for part in _DIGITS.split(name)
        if part
    )


def _natural(name: str | tuple[str, str]) -> tuple[object, ...]:
    return natural_key(name) if isinstance(name, str) else tuple(natural_key(part) for part in name)


def _check(row: Mark) -> None:
    for what, name in (("student", row.student), ("judge", row.judge)):
        if not name:
            raise TableError(
                f"the {what} is empty; write who was marked and by whom", line=row.line
            )
    if not math.isfinite(row.mark):
        raise TableError(
            f"the mark of student {row.student} by judge {row.judge} is not a number; leave the "
            "row out if no mark was given",
            line=row.line,
        )
    if not math.isfinite(row.weight) or row.weight < 0:
        raise TableError(
            f'the weight of "{row.criterion}" is {row.weight:g}; a weight is 0 or more',
            line=row.line,
        )


def _reindex(values: Indices) -> tuple[Indices, Indices]:
    used, index = np.unique(values, return_inverse=True)
    return index.astype(np.int64), used


def sum_by(index: Indices, values: Floats, size: int) -> Floats:
    """Return the sum of `values` for each index, shape (size,)."""
    return np.asarray(np.bincount(index, values, size), dtype=np.float64)


def count_by(index: Indices, size: int) -> Indices:
    """Return how often each index occurs, shape (size,)."""
    return np.bincount(index, minlength=size).astype(np.int64)
