"""``judges.csv`` and the plan of who hears whom, as tables.

``judges.csv``: ``judge`` and, where they matter, ``instruments`` (those the judge may hear; empty
for all), ``schools`` (own students, whom the judge does not hear), ``not`` (audition numbers of
relatives and private pupils), ``most`` (most takes). Several entries stand in one cell with ``;``
between them.

The plan has a row a listening: ``judge,order,student,instrument,calibration``. It holds no names
of students and may be given to the judges.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import numpy as np

from fairhearing.core.errors import TableError
from fairhearing.core.judging.panel_plan import Judge, PanelPlan, Take
from fairhearing.core.packet.instruments import find, load
from fairhearing.season.types import Roster, Season
from fairhearing.tables import Row, plain_heading, read_table

PLAN_COLUMNS = ("judge", "order", "student", "instrument", "calibration")
ALSO = {
    "judge": ("name", "judge name"),
    "instruments": ("hears", "may hear"),
    "schools": ("school", "own school"),
    "not": ("conflicts", "not these", "does not hear"),
    "most": ("limit", "most takes"),
}


def takes_of(roster: Roster) -> tuple[Take, ...]:
    """Return one take for each audition on the roster."""
    return tuple(
        Take(student.number, instrument, student.school or "")
        for student in roster.students
        for instrument in student.instruments
    )


def read_judges(
    path: Path | str, roster: Roster, season: Season | None = None
) -> tuple[Judge, ...]:
    """Read the judges, checked against the roster.

    With a season, a judge who is on a school's staff does not hear that school's students.

    Raises
    ------
    TableError
        If a judge stands twice, an instrument is unknown, or a student in ``not`` is not on the
        roster.
    """
    schools = {student.school for student in roster.students if student.school}
    first: dict[str, int] = {}
    judges = []
    table = read_table(
        path,
        required=("judge",),
        optional=("instruments", "schools", "not", "most"),
        aliases=ALSO,
    )
    for row in table:
        name = row.need("judge")
        if name in first:
            raise row.error(f"judge {name} stands twice (first in line {first[name]}); keep one")
        first[name] = row.line
        for number in row.words("not"):
            if roster.get(number) is None:
                raise row.error(f"student {number} is not on the roster; check the number")
        own = {_school(row, word, schools) for word in row.words("schools")}
        if season is not None:
            own |= {school.id for school in season.schools if name in school.staff}
            own |= {school.name for school in season.schools if name in school.staff}
        judges.append(
            Judge(
                name=name,
                instruments=_instruments(row),
                schools=frozenset(own),
                conflicts=frozenset(row.words("not")),
                most=row.whole("most", low=1),
            )
        )
    if not judges:
        raise TableError("there is no judge; write one a line", path=path)
    return tuple(judges)


def _school(row: Row, word: str, schools: set[str]) -> str:
    by_plain = {plain_heading(school): school for school in schools}
    found = by_plain.get(plain_heading(word))
    if found is None and schools:
        raise row.error(
            f'no student on the roster is of "{word}"; there are {", ".join(sorted(schools))}'
        )
    return found or word


def _instruments(row: Row) -> frozenset[str]:
    """Return the ids of the instruments a judge may hear; a family stands for all of it."""
    found: set[str] = set()
    for word in row.words("instruments"):
        family = [one.id for one in load().values() if one.family == word.casefold()]
        if family:
            found.update(family)
            continue
        try:
            found.add(find(word).id)
        except TableError as error:
            raise row.error(error.problem) from None
    return frozenset(found)


def plan_rows(plan: PanelPlan) -> Iterator[list[object]]:
    """Return the rows of a plan under :data:`PLAN_COLUMNS`, judge by judge in listening order."""
    shared = set(plan.calibration)
    for judge, order in zip(plan.judges, plan.order, strict=True):
        for place, take in enumerate(order, start=1):
            yield [
                judge.name,
                place,
                plan.takes[take].student,
                plan.takes[take].instrument,
                "yes" if take in shared else "",
            ]


def read_plan(
    path: Path | str, takes: tuple[Take, ...], judges: tuple[Judge, ...], seed: str
) -> PanelPlan:
    """Read a plan back.

    Parameters
    ----------
    takes, judges : tuple
        The roster's takes and the judges; the plan must speak of these.

    Raises
    ------
    TableError
        If the plan names a judge or take that is not among them.
    """
    table = read_table(
        path, required=("judge", "order", "student"), optional=("instrument", "calibration")
    )
    unit = {(take.student, take.instrument): at for at, take in enumerate(takes)}
    for at, take in enumerate(takes):
        unit.setdefault((take.student, ""), at)
    place = {judge.name: at for at, judge in enumerate(judges)}
    hears = np.zeros((len(takes), len(judges)), dtype=bool)
    orders: list[list[tuple[float, int]]] = [[] for _ in judges]
    shared: dict[int, float] = {}
    for row in table:
        name, key = row.need("judge"), (row.need("student"), row["instrument"])
        if name not in place:
            raise row.error(f"judge {name} is not among the judges; add the name there")
        if key not in unit:
            raise row.error(f"{' '.join(key).strip()} is not on the roster")
        number = row.number("order") or 0.0
        hears[unit[key], place[name]] = True
        orders[place[name]].append((number, unit[key]))
        if row.yes("calibration"):
            shared[unit[key]] = max(number, shared.get(unit[key], 0.0))
    return PanelPlan(
        takes=takes,
        judges=judges,
        hears=hears,
        calibration=tuple(sorted(shared, key=lambda take: shared[take])),
        order=tuple(tuple(take for _, take in sorted(order)) for order in orders),
        seed=seed,
    )
