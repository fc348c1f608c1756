"""What a season is made of, as plain data. Scores, marks and takes are not in here.

Conventions: instruments are ids of the instrument table ("alto-saxophone"); ensembles stand in
order of level, 1 the highest; dates are aware and in the season's own time zone.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date, datetime
from pathlib import Path
from typing import Literal
from zoneinfo import ZoneInfo

SECTION_KINDS = ("introduction", "chromatic", "scales", "etude", "honors", "other")
SCALE_MINUTE_S = 60.0  # common practice, no source


@dataclass(frozen=True, slots=True)
class School:
    """A school of the season, with its own staff."""

    id: str
    name: str
    staff: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Dates:
    """The season's days: takes are welcome from `opens` to `due`; `results` is one hour for all."""

    opens: datetime | None = None
    due: datetime | None = None
    results: datetime | None = None
    delete_takes: date | None = None


@dataclass(frozen=True, slots=True)
class Section:
    """One section of the audition.

    Attributes
    ----------
    kind : str
        One of :data:`SECTION_KINDS`.
    name : str
        What it is called; the kind where nothing else is said.
    limit_s : float or None
        The longest it may take; scales are counted from their first note.
    optional : bool
        Not playing it is not a zero.
    instruments : frozenset of str
        Who plays it.
    on : str or None
        The instrument it is played on where that is not the student's own.
    """

    kind: str
    name: str
    limit_s: float | None
    optional: bool
    instruments: frozenset[str]
    on: str | None = None


@dataclass(frozen=True, slots=True)
class Piece:
    """The sheet music of a section for some instruments at one level (None: any level).

    ``narrowness`` is 3 for entries that name instruments, 2 for kinds, 1 for families and 0 for
    everyone; the narrowest entry that fits is the one that counts.
    """

    section: str
    instruments: frozenset[str]
    level: str | None
    file: Path
    title: str
    tempo_bpm: float | None
    narrowness: int


@dataclass(frozen=True, slots=True)
class Criterion:
    """A criterion of the rubric, its weight, and where it is marked (None: once per take)."""

    name: str
    weight: float
    section: str | None
    instruments: frozenset[str]


@dataclass(frozen=True, slots=True)
class PartSize:
    """A part within a section of the ensemble; ``chairs`` None shares the players out evenly."""

    name: str
    chairs: int | None = None


@dataclass(frozen=True, slots=True)
class Seats:
    """How many chairs one instrument has in one ensemble.

    Attributes
    ----------
    instrument : str
        Instrument id, or "percussion" for the section that plays all of it.
    accepts : tuple of str
        Instruments whose auditions count for these chairs.
    least, ideal, most : int
        The plan; `least` is wanted, not enforced: a shortfall is reported.
    parts : tuple of PartSize
    fill : {"top", "leaders"}
        Best players on the first part, or a leader on each part first.
    doubles : tuple of str
        What the first chair plays besides.
    """

    instrument: str
    accepts: tuple[str, ...]
    least: int
    ideal: int
    most: int
    parts: tuple[PartSize, ...] = ()
    fill: Literal["top", "leaders"] = "top"
    doubles: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Ensemble:
    """An ensemble, who may sit in it, and its chairs; ``grades`` is (from, to)."""

    id: str
    name: str
    level: int
    grades: tuple[int, int] | None
    honors: bool
    minimum_score: float | None
    schools: tuple[str, ...]
    seats: tuple[Seats, ...]


@dataclass(frozen=True, slots=True)
class SeatingRules:
    """Rules that hold for every ensemble; announced before the season opens."""

    seat_everyone: bool = True
    switchers: Literal["after", "by score"] = "after"
    tie_break: tuple[str, ...] = ()
    alternates: int = 2


@dataclass(frozen=True, slots=True)
class Season:
    """A season as ``season.toml`` describes it; see ``docs/season.md``."""

    name: str
    folder: Path
    invented: bool
    language: str
    time_zone: ZoneInfo
    level: str
    rubric: str | None
    dates: Dates
    schools: tuple[School, ...]
    sections: tuple[Section, ...]
    pieces: tuple[Piece, ...]
    criteria: tuple[Criterion, ...]
    ensembles: tuple[Ensemble, ...]
    seating: SeatingRules = field(default_factory=SeatingRules)

    def sections_for(self, instrument: str) -> tuple[Section, ...]:
        """Return the sections that a student of this instrument plays, in order."""
        return tuple(section for section in self.sections if instrument in section.instruments)

    def criteria_for(self, instrument: str) -> tuple[Criterion, ...]:
        """Return the criteria that a student of this instrument is marked on."""
        return tuple(one for one in self.criteria if instrument in one.instruments)

    def piece_for(self, section: str, instrument: str, level: str | None = None) -> Piece | None:
        """Return the sheet music of a section, or None where nothing is written down.

        The narrowest entry wins: an instrument before a kind, a kind before a family, a family
        before everyone; the same level before any level.
        """
        level = level or self.level
        fitting = [
            piece
            for piece in self.pieces
            if piece.section == section
            and instrument in piece.instruments
            and piece.level in (None, level)
        ]
        return max(
            fitting, key=lambda piece: (piece.narrowness, piece.level is not None), default=None
        )

    def ensemble(self, id_or_name: str) -> Ensemble | None:
        """Return an ensemble by its id or name, or None."""
        wanted = id_or_name.casefold()
        return next(
            (one for one in self.ensembles if wanted in (one.id.casefold(), one.name.casefold())),
            None,
        )

    def school(self, id_or_name: str) -> School | None:
        """Return a school by its id or name, or None."""
        wanted = id_or_name.casefold()
        return next(
            (one for one in self.schools if wanted in (one.id.casefold(), one.name.casefold())),
            None,
        )


@dataclass(frozen=True, slots=True)
class Student:
    """One line of the roster.

    Attributes
    ----------
    number : str
        The audition number; all that a judge ever sees.
    instruments : tuple of str
        What the student auditions on, the main instrument first.
    would_switch : tuple of str
        Instruments the student would take without an audition on them.
    prefers : {"ensemble", "instrument"}
        Whether a higher ensemble or the main instrument comes first.
    declines : tuple of str
        Ids of ensembles the student will not sit in.
    honors : bool or None
        Whether the honors excerpt was tried; None where nobody has said.
    line : int
        Line of the roster.
    """

    number: str
    name: str
    instruments: tuple[str, ...]
    grade: int | None = None
    school: str | None = None
    would_switch: tuple[str, ...] = ()
    prefers: Literal["ensemble", "instrument"] = "ensemble"
    declines: tuple[str, ...] = ()
    honors: bool | None = None
    level: str | None = None
    line: int = 0

    @property
    def instrument(self) -> str:
        """The main instrument."""
        return self.instruments[0]

    @property
    def second_instrument(self) -> str | None:
        """The second instrument, if there is one."""
        return self.instruments[1] if len(self.instruments) > 1 else None


@dataclass(frozen=True, slots=True)
class Roster:
    """The students of a season, and what is doubtful about the list without being wrong."""

    path: Path
    students: tuple[Student, ...]
    notes: tuple[str, ...] = ()
    _by_number: dict[str, Student] = field(default_factory=dict, repr=False)

    def __getitem__(self, number: str) -> Student:
        return self._by_number[number]

    def get(self, number: str) -> Student | None:
        """Return a student by audition number, or None."""
        return self._by_number.get(number)

    def __len__(self) -> int:
        return len(self.students)
