"""Read the scores table that ``fairhearing score`` writes, checked against the roster."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from fairhearing.core.errors import TableError
from fairhearing.core.packet.instruments import find
from fairhearing.season.roster import ALIASES
from fairhearing.season.types import Roster, Student
from fairhearing.tables import Row, plain_heading, read_table


@dataclass(frozen=True, slots=True)
class Score:
    """One audition's score.

    Attributes
    ----------
    score : float or None
        None is "not scored", never 0.
    se : float or None
        Standard error, in the unit of the score.
    parts : dict of str to (float or None)
        Further columns by plain heading, for breaking ties.
    line : int
    place : int or None
        The announced place within the instrument, 1 the first; None where the table has none.
    """

    score: float | None
    se: float | None
    parts: dict[str, float | None]
    line: int
    place: int | None = None


@dataclass(frozen=True, slots=True)
class Scores:
    """Scores by (audition number, instrument id), and the further columns there are."""

    path: Path
    of: dict[tuple[str, str], Score]
    columns: frozenset[str]

    def get(self, student: str, instrument: str) -> Score | None:
        """Return the score of one audition, or None where the table has no line for it."""
        return self.of.get((student, instrument))

    def column(self, heading: str) -> str | None:
        """Return the plain heading of a column that may break ties, or None."""
        plain = plain_heading(heading)
        return plain if plain in self.columns else None


def read_scores(path: Path | str, roster: Roster, tie_break: tuple[str, ...] = ()) -> Scores:
    """Read a scores table.

    A line without an instrument counts for the student's main instrument. Where there is a column
    ``place``, every score has a place.

    Parameters
    ----------
    path : Path or str
    roster : Roster
    tie_break : tuple of str
        Columns that are wanted for breaking ties, where the table has them.

    Raises
    ------
    TableError
        If a student is not on the roster, an audition stands twice, a cell is no number, or a
        score has no place where others have one.
    """
    path = Path(path)
    table = read_table(
        path,
        required=("student", "fair_score"),
        optional=("se", "instrument", "place"),
        aliases={
            "student": ALIASES["student"],
            "fair_score": ("score", "fair"),
            "se": ("standard error",),
        },
    )
    ties = {plain_heading(name) for name in (*tie_break, "honors")}  # honors: was it tried?
    headings = {plain_heading(one): one for one in table.others if plain_heading(one) in ties}
    found: dict[tuple[str, str], Score] = {}
    for row in table:
        student = roster.get(row.need("student"))
        if student is None:
            raise row.error(f"number {row['student']} is not on the roster; add or correct it")
        key = student.number, _instrument(row, student)
        if key in found:
            raise row.error(
                f"number {key[0]} on {key[1]} has a score already in line {found[key].line}; "
                "a student with two auditions needs the instrument in each line"
            )
        parts = {plain: row.number(heading) for plain, heading in headings.items()}
        score, place = row.number("fair_score"), row.whole("place", low=1)
        if score is not None and place is None and "place" in table.columns:
            raise row.error(
                f"number {key[0]} has a score but no place; fill it in, or delete the column "
                '"place" so that scores alone decide'
            )
        found[key] = Score(score, row.number("se", low=0), parts, row.line, place)
    if not found:
        raise TableError("there are no scores in it", path=path)
    return Scores(path, found, frozenset(headings))


def _instrument(row: Row, student: Student) -> str:
    text = row["instrument"]
    if not text:
        return student.instrument
    try:
        instrument = find(text).id
    except TableError as error:
        raise row.error(error.problem) from None
    if instrument not in student.instruments:
        raise row.error(
            f"number {student.number} does not audition on {instrument} "
            f"(roster: {', '.join(student.instruments)})"
        )
    return instrument
