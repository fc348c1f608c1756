"""From a season, its roster and its scores to the problem that the seating solves.

A student's wishes are the chairs of every ensemble for which one of their instruments counts, the
higher ensemble first (or the main instrument first, where the roster says so). An instrument the
student auditioned on comes before one they would only switch to. Places of the scores table order
the students of an instrument before their scores do (:mod:`fairhearing.season.places`).
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from fairhearing.core.errors import TableError
from fairhearing.core.packet.instruments import find, load
from fairhearing.core.seating import Candidate, Chairs, Costs, Part, Pin, Problem, Wish
from fairhearing.season.ensembles import PERCUSSION
from fairhearing.season.places import Counted, Places, counted_places, place_notes
from fairhearing.season.roster import ALIASES
from fairhearing.season.scores import Score, Scores
from fairhearing.season.types import Ensemble, Roster, Season, Seats, Student
from fairhearing.tables import read_table


@dataclass(frozen=True, slots=True)
class SeatingTask:
    """A problem to solve and what a person should know about how it came about."""

    problem: Problem
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class _Audition:
    """An instrument that a student could play in an ensemble, and the score that counts."""

    instrument: str
    heard_on: str
    score: Score | None
    group: int
    counted: Counted | None


def seating_task(
    season: Season, roster: Roster, scores: Scores, pins: Iterable[Pin] = ()
) -> SeatingTask:
    """Return the problem.

    Parameters
    ----------
    season, roster, scores
        As read.
    pins : iterable of Pin
        Students seated by hand.

    Raises
    ------
    TableError
        If the season has no ensembles.
    """
    if not season.ensembles:
        raise TableError(
            "no [[ensemble]] says where there is to sit", path=season.folder / "season.toml"
        )
    ties = [column for name in season.seating.tie_break if (column := scores.column(name))]
    places = counted_places(scores, ties, season.name)
    chairs = [_chairs(ensemble, seats) for ensemble in season.ensembles for seats in ensemble.seats]
    candidates = [
        Candidate(
            student.number,
            _wishes(season, student, scores, ties, places),
            tuple(load()[one].name for one in (*student.instruments, *student.would_switch)),
        )
        for student in roster.students
    ]
    problem = Problem(
        chairs=tuple(chairs),
        candidates=tuple(candidates),
        pins=tuple(pins),
        costs=Costs(unseated=Costs().unseated if season.seating.seat_everyone else 0),
        lot=season.name,
    )
    names = {instrument: shown(instrument) for _, instrument in places}
    notes = (*_notes(season, roster, scores, problem), *place_notes(problem, places, names))
    return SeatingTask(problem, notes)


def chairs_id(ensemble: Ensemble, seats: Seats) -> str:
    """Return the id of the chairs of one instrument in one ensemble."""
    return f"{ensemble.id}/{seats.instrument}"


def shown(instrument: str) -> str:
    """Return the name of an instrument (or of the percussion section) as people read it."""
    return PERCUSSION if instrument == PERCUSSION else load()[instrument].name


def read_pins(path: Path | str, season: Season, roster: Roster) -> tuple[Pin, ...]:
    """Read students seated by hand: ``student,ensemble,instrument,reason``.

    Without an ensemble the student is kept out; without an instrument the main one is meant.

    Raises
    ------
    TableError
        If a student, ensemble or instrument is unknown, or the ensemble has no such chairs.
    """
    pins: dict[str, Pin] = {}
    for row in read_table(
        path,
        required=("student", "ensemble"),
        optional=("instrument", "reason"),
        aliases={"student": ALIASES["student"]},
    ):
        student = roster.get(row.need("student"))
        if student is None:
            raise row.error(f"number {row['student']} is not on the roster")
        if student.number in pins:
            raise row.error(f"number {student.number} is pinned twice")
        where = None
        if row["ensemble"]:
            ensemble = season.ensemble(row["ensemble"])
            if ensemble is None:
                known = ", ".join(one.name for one in season.ensembles)
                raise row.error(f'"{row["ensemble"]}" is not an ensemble; there are {known}')
            instrument = student.instrument
            if row["instrument"] and row["instrument"].casefold() != PERCUSSION:
                try:
                    instrument = find(row["instrument"]).id
                except TableError as error:
                    raise row.error(error.problem) from None
            seats = _seats_for(ensemble, instrument)
            if not seats:
                raise row.error(f"{ensemble.name} has no chairs for {shown(instrument)}")
            where = chairs_id(ensemble, seats[0])
        pins[student.number] = Pin(student.number, where, row["reason"])
    return tuple(pins.values())


def _chairs(ensemble: Ensemble, seats: Seats) -> Chairs:
    return Chairs(
        id=chairs_id(ensemble, seats),
        ensemble=ensemble.name,
        instrument=shown(seats.instrument),
        level=ensemble.level,
        least=seats.least,
        ideal=seats.ideal,
        most=seats.most,
        parts=tuple(Part(part.name, part.chairs) for part in seats.parts),
        fill=seats.fill,
        doubles=seats.doubles,
    )


def _seats_for(ensemble: Ensemble, instrument: str) -> list[Seats]:
    """Return the chairs for which an instrument counts, its own before others that accept it."""
    fitting = [seats for seats in ensemble.seats if instrument in seats.accepts]
    return sorted(fitting, key=lambda seats: seats.instrument != instrument)


def _wishes(
    season: Season, student: Student, scores: Scores, ties: list[str], places: Places
) -> tuple[Wish, ...]:
    def heard(one: str, heard_on: str, group: int) -> _Audition:
        key = student.number, heard_on
        return _Audition(one, heard_on, scores.get(*key), group, places.get(key))

    switch = 1 if season.seating.switchers == "after" else 0
    own = [heard(one, one, 0) for one in student.instruments]
    own += [heard(one, student.instrument, switch) for one in student.would_switch]
    open_to = [
        ensemble
        for ensemble in season.ensembles
        if ensemble.id not in student.declines
        and (not ensemble.schools or student.school in ensemble.schools)
    ]
    if student.prefers == "instrument":
        pairs = [(ensemble, one) for one in own for ensemble in open_to]
    else:
        pairs = [(ensemble, one) for ensemble in open_to for one in own]
    wishes: dict[str, Wish] = {}
    for ensemble, audition in pairs:
        for seats in _seats_for(ensemble, audition.instrument):
            wish = _wish(ensemble, seats, student, audition, ties)
            earlier = wishes.get(wish.chairs)
            if earlier is None or _stands_better(wish, earlier):
                wishes[wish.chairs] = wish  # keeps the place in the list of the first mention
    return tuple(wishes.values())


def _wish(
    ensemble: Ensemble, seats: Seats, student: Student, audition: _Audition, ties: list[str]
) -> Wish:
    score, counted = audition.score, audition.counted
    told = score is not None and (counted is None or counted.ties_only)  # else not of this order
    parts = score.parts if score else {}
    return Wish(
        chairs=chairs_id(ensemble, seats),
        score=score.score if score else None,
        group=audition.group,
        tie=tuple(float("-inf") if (part := parts.get(tie)) is None else part for tie in ties),
        se=score.se if score and told else None,
        barred=_barred(ensemble, student, score),
        minimum=ensemble.minimum_score,
        audition=audition.heard_on,
        place=counted.place if counted else None,
        counts=counted.score if counted else None,
    )


def _stands_better(wish: Wish, other: Wish) -> bool:
    def standing(one: Wish) -> tuple[bool, int, float]:
        score = one.order_score
        return one.possible, -one.group, float("-inf") if score is None else score

    return standing(wish) > standing(other)


def _barred(ensemble: Ensemble, student: Student, score: Score | None) -> str:
    """Return why a student may not sit in an ensemble, or an empty text."""
    if ensemble.grades:
        low, high = ensemble.grades
        if student.grade is None:
            return f"it is for grades {low} to {high} and the roster has no grade"
        if not low <= student.grade <= high:
            return f"it is for grades {low} to {high}"
    if ensemble.honors:
        tried = student.honors
        if tried is None and score is not None and "honors" in score.parts:
            tried = score.parts["honors"] is not None
        if tried is None:
            return "it needs the honors excerpt, and the roster does not say that it was tried"
        if not tried:
            return "it needs the honors excerpt"
    return ""


def _notes(season: Season, roster: Roster, scores: Scores, problem: Problem) -> tuple[str, ...]:
    notes = list(roster.notes)
    missing = [name for name in season.seating.tie_break if scores.column(name) is None]
    if missing:
        notes.append(f"The scores table has no column {_listed(missing)}; ties are broken without.")
    unscored = [
        f"{one.number} ({shown(instrument)})"
        for one in roster.students
        for instrument in one.instruments
        if (score := scores.get(one.number, instrument)) is None or score.score is None
    ]
    if unscored:
        notes.append(f"Not scored and therefore not seated on it: {_listed(unscored)}.")
    homeless = [one.student for one in problem.candidates if not one.wishes]
    if homeless:
        notes.append(f"No ensemble has chairs for what they play: {_listed(homeless)}.")
    wanted = {wish.chairs for one in problem.candidates for wish in one.wishes if wish.possible}
    empty = [
        f"{one.instrument} in {one.ensemble}"
        for one in problem.chairs
        if one.ideal and one.id not in wanted
    ]
    if empty:
        notes.append(f"Nobody can sit there: {_listed(empty)}.")
    return tuple(notes)


def _listed(names: list[str], most: int = 20) -> str:
    more = f" and {len(names) - most} more" if len(names) > most else ""
    return ", ".join(names[:most]) + more
