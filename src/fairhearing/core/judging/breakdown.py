"""A fair score taken apart: by section and by criterion, freed of the judges' severity.

Feedback to a student needs the parts, and rules that break ties ("higher etude first") read them.
"""

from __future__ import annotations

import numpy as np

from fairhearing.core.judging.fair import FairScores
from fairhearing.core.judging.marks import Floats, sum_by


def by_criterion(scores: FairScores) -> Floats:
    """Return every student's fair mark on each criterion, points, shape (S, C).

    The judge's severity is taken out and the criterion's difficulty left in, so that the numbers
    stay on the scale the judges used. NaN where the student was not marked on it.
    """
    marks = scores.marks
    n_students, n_criteria = len(marks.students), len(marks.criteria)
    vote = scores.precision[marks.judge]
    key = marks.student * n_criteria + marks.criterion
    value = scores.adjusted - scores.difficulty[marks.criterion]
    total = sum_by(key, vote * value, n_students * n_criteria)
    votes = sum_by(key, vote, n_students * n_criteria)
    found = np.full(n_students * n_criteria, np.nan)
    np.divide(total, votes, out=found, where=votes > 0)
    return found.reshape(n_students, n_criteria)


def by_section(scores: FairScores) -> tuple[tuple[str, ...], Floats]:
    """Return the sections and every student's fair mark in each, points, shape (S, sections).

    Criteria inside a section count with their weights; NaN where none of them was marked.
    """
    marks = scores.marks
    criteria = by_criterion(scores)
    names = tuple(dict.fromkeys(section for section, _ in marks.criteria))
    count = sum_by(marks.criterion, np.ones(len(marks.mark)), len(marks.criteria))
    weight = sum_by(marks.criterion, marks.weight, len(marks.criteria)) / np.maximum(count, 1)
    found = np.full((len(marks.students), len(names)), np.nan)
    for at, name in enumerate(names):
        inside = [c for c, (section, _) in enumerate(marks.criteria) if section == name]
        part, w = criteria[:, inside], weight[inside]
        given = ~np.isnan(part)
        total = given @ w
        np.divide(np.where(given, part, 0) @ w, total, out=found[:, at], where=total > 0)
    return names, found
