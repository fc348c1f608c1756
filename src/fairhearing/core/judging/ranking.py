"""From scores to places, by the rules of the season; ties are a main road, not an accident.

On whole marks from 1 to 10 most raw totals tie, so what breaks a tie decides many places. Every
place says by what it was decided.
"""

from __future__ import annotations

import hashlib
import itertools
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy import stats

from fairhearing.core.errors import JudgingError
from fairhearing.core.judging.breakdown import by_criterion, by_section
from fairhearing.core.judging.fair import FairScores
from fairhearing.core.judging.marks import Floats, Indices, sum_by
from fairhearing.core.judging.rules import Rules

_SAME = 9  # decimals below which two scores are the same number


@dataclass(frozen=True, slots=True)
class Ranking:
    """Places of all students inside their instrument.

    Attributes
    ----------
    rules : Rules
    value : ndarray, shape (S,)
        What the rules rank by, points; for a sum of ranks the *mean place* (lower is better).
    place : ndarray of int, shape (S,)
        1 is the first; students who share a place have the same number.
    decided_by : tuple of str, shape (S,)
        "score", the name of the tie-break, "lot", or "shared".
    order : dict of str to tuple of int
        Units of each instrument, the first place first.
    """

    rules: Rules
    value: Floats
    place: Indices
    decided_by: tuple[str, ...]
    order: dict[str, tuple[int, ...]]


def rank(scores: FairScores, rules: Rules | None = None) -> Ranking:
    """Rank the students of each instrument by the rules.

    Raises
    ------
    JudgingError
        If a tie-break is no section or criterion of these marks, or the method needs more
        listenings than there are; names the students.
    """
    rules = Rules() if rules is None else rules
    value = _values(scores, rules)
    if rules.decimals is not None:
        value = np.round(value, rules.decimals)
    higher = -value if rules.method == "sum of ranks" else value
    breaks = [(name, tie_break_values(scores, name)) for name in rules.tie_break]
    if rules.last_tie == "drawn":
        breaks.append(("lot", _lot(scores, rules.lot)))
    columns = [np.round(higher, _SAME), *(np.round(v, _SAME) for _, v in breaks)]
    # An absent section (honors not attempted) stands behind any mark in a tie-break.
    keys = np.column_stack([np.where(np.isnan(c), -np.inf, c) for c in columns])
    place = np.zeros(len(value), dtype=np.int64)
    decided = ["score"] * len(value)
    order: dict[str, tuple[int, ...]] = {}
    for instrument in dict.fromkeys(scores.marks.instruments):
        units = [u for u, name in enumerate(scores.marks.instruments) if name == instrument]
        units.sort(key=lambda u: (*(-keys[u]), u))
        order[instrument] = tuple(units)
        for number, unit in enumerate(units):
            before = units[number - 1] if number else None
            same = before is not None and np.array_equal(keys[unit], keys[before])
            place[unit] = place[before] if same and before is not None else number + 1
        _explain(units, keys, [name for name, _ in breaks], decided)
    return Ranking(rules, value, place, tuple(decided), order)


def _explain(units: list[int], keys: Floats, names: list[str], decided: list[str]) -> None:
    """Write for each unit what set it apart from its neighbours of the same score."""
    for above, below in itertools.pairwise(units):
        differ = np.flatnonzero(keys[above] != keys[below])
        if len(differ) and differ[0] == 0:
            continue
        reason = names[differ[0] - 1] if len(differ) else "shared"
        for unit in (above, below):
            if decided[unit] != "shared":
                decided[unit] = reason


def _values(scores: FairScores, rules: Rules) -> Floats:
    if rules.method == "sum of ranks":
        return mean_places(scores, rules)
    if not rules.drop_high_low:
        return scores.fair if rules.method == "fair score" else scores.raw_mean
    fair = rules.method == "fair score"
    return without_extremes(scores, scores.adjusted if fair else scores.marks.mark)


def without_extremes(scores: FairScores, mark: Floats) -> Floats:
    """Return each student's mean listening without the highest and the lowest, shape (S,).

    Parameters
    ----------
    mark : ndarray, shape (n,)
        The marks as given, or freed of severity.

    Raises
    ------
    JudgingError
        If a student was heard by fewer than three judges.
    """
    heard = scores.heard
    few = np.flatnonzero(heard.per_student < 3)
    if len(few):
        names = ", ".join(scores.marks.name(int(u)) for u in few[:6])
        more = f" and {len(few) - 6} more" if len(few) > 6 else ""
        raise JudgingError(
            f"dropping the highest and lowest needs three judges, but {names}{more} had fewer; "
            "let more judges listen or do not drop"
        )
    listening = heard.mean(scores.marks, mark)
    total = sum_by(heard.student, listening, heard.n_students)
    high = np.full(heard.n_students, -np.inf)
    low = np.full(heard.n_students, np.inf)
    np.maximum.at(high, heard.student, listening)
    np.minimum.at(low, heard.student, listening)
    return np.asarray((total - high - low) / (heard.per_student - 2), dtype=np.float64)


def mean_places(scores: FairScores, rules: Rules) -> Floats:
    """Return each student's mean place over the judges, 1 the best, shape (S,).

    Raises
    ------
    JudgingError
        If a judge did not hear all students of an instrument.
    """
    heard, marks = scores.heard, scores.marks
    total = np.round(heard.mean(marks, marks.mark), _SAME)
    found = np.full(heard.n_students, np.nan)
    instrument = np.array(marks.instruments)[heard.student]
    for name in dict.fromkeys(marks.instruments):
        inside = instrument == name
        panel = np.unique(heard.judge[inside])
        n_units = sum(1 for other in marks.instruments if other == name)
        places = np.zeros(heard.n_students)
        for judge in panel:
            rows = np.flatnonzero(inside & (heard.judge == judge))
            if len(rows) < n_units:
                of = f" of {name}" if name else ""
                raise JudgingError(
                    f"a sum of ranks needs every judge to hear every student{of}, but judge "
                    f"{marks.judges[judge]} heard {len(rows)} of {n_units}; use fair scores"
                )
            places[heard.student[rows]] += _places_of(scores, rules, rows, total)
        units = np.unique(heard.student[inside])
        found[units] = places[units] / len(panel)
    return found


def _places_of(scores: FairScores, rules: Rules, rows: Indices, total: Floats) -> Floats:
    """Return one judge's places of some listenings, shared unless the judge breaks own ties."""
    if not rules.judge_breaks_own_ties:
        return np.asarray(stats.rankdata(-total[rows]), dtype=np.float64)
    columns = [total[rows]]
    for name in rules.tie_break:
        columns.append(_own_marks(scores, name)[rows])
    keys = np.column_stack([np.where(np.isnan(c), -np.inf, c) for c in columns])
    _, code = np.unique(keys, axis=0, return_inverse=True)
    return np.asarray(stats.rankdata(-code.ravel()), dtype=np.float64)


def _own_marks(scores: FairScores, name: str) -> Floats:
    """Return a judge's own weighted mark on a section or criterion, one a listening."""
    marks, heard = scores.marks, scores.heard
    wanted = np.array([name in pair or " ".join(pair) == name for pair in marks.criteria])
    rows = wanted[marks.criterion]
    size = len(heard.weight)
    weight = sum_by(heard.of_mark[rows], marks.weight[rows], size)
    value = sum_by(heard.of_mark[rows], (marks.weight * marks.mark)[rows], size)
    found = np.full(size, np.nan)
    np.divide(value, weight, out=found, where=weight > 0)
    return np.round(found, _SAME)


def tie_break_values(scores: FairScores, name: str) -> Floats:
    """Return the fair marks on a section or criterion, shape (S,); NaN where absent.

    Raises
    ------
    JudgingError
        If these marks have no such section or criterion.
    """
    sections, values = by_section(scores)
    if name in sections and name:
        return np.asarray(values[:, sections.index(name)], dtype=np.float64)
    criteria = [pair for pair in scores.marks.criteria if name in (pair[1], " ".join(pair).strip())]
    if len(criteria) == 1:
        at = scores.marks.criteria.index(criteria[0])
        return np.asarray(by_criterion(scores)[:, at], dtype=np.float64)
    known = list(dict.fromkeys([s for s in sections if s] + [c for _, c in scores.marks.criteria]))
    problem = (
        f'the tie-break "{name}" is a criterion of several sections; write the section before it'
        if criteria
        else f'the tie-break "{name}" is no section or criterion of these marks'
    )
    raise JudgingError(f"{problem} (there are {', '.join(known)})")


def _lot(scores: FairScores, text: str) -> Floats:
    """Return a number a student that anyone can recompute from the announced text."""

    def number(student: str, instrument: str) -> float:
        digest = hashlib.sha256(f"{text}|{instrument}|{student}".encode()).digest()
        return int.from_bytes(digest[:6], "big") / 2**48

    draw: Callable[[str, str], float] = number
    pairs = zip(scores.marks.students, scores.marks.instruments, strict=True)
    return np.array([draw(student, instrument) for student, instrument in pairs])
