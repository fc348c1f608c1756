"""The additive model of marks: mark = student + judge + criterion + error.

Students, judges and criteria are all *fixed*: no student is pulled towards the others' average,
and nothing is assumed about which students a judge happened to hear. Weighted least squares with
the students eliminated exactly leaves one small system of judges and criteria (the reduced normal
equations of an incomplete block design; Searle 1971, *Linear Models*, ch. 7; Montgomery 2001,
*Design and Analysis of Experiments*, ch. 4). 30,000 students cost little more than 300.

A *listening* (all that one judge marked in one take) counts as one observation for every error
estimate: a judge's criteria move together (halo), and taking them as independent makes every
later probability too sure.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import sparse

from fairhearing.core.judging.marks import Floats, Indices, Marks

_RANK_TOLERANCE = 1e-9
_SAME = 1e-6


@dataclass(frozen=True, slots=True)
class AdditiveFit:
    """A least-squares fit of the additive model.

    Attributes
    ----------
    effects : ndarray, shape (J + C,)
        What each judge and then each criterion adds to a mark, points.
    inverse : ndarray, shape (J + C, J + C)
        Pseudo-inverse of the reduced system.
    null : ndarray, shape (J + C, d)
        Orthonormal combinations of effects that the marks cannot tell from the students.
    student_mean : ndarray, shape (S,)
        Weighted least-squares effect of each student, points.
    residual : ndarray, shape (n,)
        What the fit leaves of each mark, points.
    rank : int
        Number of effects that were estimated.
    """

    effects: Floats
    inverse: Floats
    null: Floats
    student_mean: Floats
    residual: Floats
    rank: int


def design(marks: Marks) -> sparse.csr_array:
    """Return the indicator of judge and criterion of each mark, shape (n, J + C).

    A single criterion is the same for all and is left out (C = 0).
    """
    n, n_judges = len(marks.mark), len(marks.judges)
    rows = np.arange(n)
    columns = [marks.judge]
    width = n_judges
    if len(marks.criteria) > 1:
        columns.append(n_judges + marks.criterion)
        width += len(marks.criteria)
    row_index = np.tile(rows, len(columns))
    return sparse.csr_array(
        (np.ones(len(row_index)), (row_index, np.concatenate(columns))), shape=(n, width)
    )


def fit(marks: Marks, precision: Floats, indicator: sparse.csr_array | None = None) -> AdditiveFit:
    """Fit the additive model.

    Parameters
    ----------
    marks : Marks
        n marks of S students by J judges.
    precision : ndarray, shape (J,)
        Weight of each judge's listenings (inverse variance, any common factor).
    indicator : sparse array, shape (n, K), optional
        :func:`design` of the marks, when it is already at hand.
    """
    z = design(marks) if indicator is None else indicator
    weight = marks.weight * precision[marks.judge]
    n_students = len(marks.students)
    member = sparse.csr_array(
        (weight, (marks.student, np.arange(len(weight)))), shape=(n_students, len(weight))
    )
    per_student = np.bincount(marks.student, weight, n_students)
    total = member @ marks.mark
    shared = (member @ z).tocsr()
    scaled = sparse.diags_array(1 / per_student) @ shared
    weighted = sparse.diags_array(weight) @ z
    system = (z.T @ weighted - shared.T @ scaled).toarray()
    right = weighted.T @ marks.mark - scaled.T @ total
    inverse, null = _pseudo_inverse(system)
    effects = inverse @ right
    student_mean = (total - shared @ effects) / per_student
    residual = marks.mark - student_mean[marks.student] - z @ effects
    return AdditiveFit(effects, inverse, null, student_mean, residual, len(effects) - null.shape[1])


def _pseudo_inverse(system: Floats) -> tuple[Floats, Floats]:
    """Return the pseudo-inverse of a positive semi-definite matrix and its null space."""
    scale = np.sqrt(np.maximum(np.diagonal(system), 0))
    scale = np.where(scale > 0, scale, 1.0)
    values, vectors = np.linalg.eigh(system / np.outer(scale, scale))
    kept = values > _RANK_TOLERANCE * max(1.0, float(values[-1]))
    basis = vectors[:, kept]
    # A generalized inverse in the unscaled coordinates: contrasts that can be estimated do not
    # depend on which one is taken.
    inverse = (basis / values[kept]) @ basis.T / np.outer(scale, scale)
    null, _ = np.linalg.qr(vectors[:, ~kept] / scale[:, None])
    return inverse, null


def indistinguishable(marks: Marks, null: Floats, indicator: sparse.csr_array) -> Indices:
    """Return the groups of students inside which scores can be compared, shape (S,).

    Each null direction of the reduced system shifts some students against others without changing
    one expected mark. Students that every direction shifts alike are comparable.
    """
    n_students = len(marks.students)
    weight = marks.weight / np.bincount(marks.student, marks.weight, n_students)[marks.student]
    member = sparse.csr_array(
        (weight, (marks.student, np.arange(len(weight)))), shape=(n_students, len(weight))
    )
    shift = member @ (indicator @ null)
    reach = float(np.abs(shift).max(initial=0)) or 1.0
    levels = np.zeros(shift.shape, dtype=np.int64)
    for d in range(shift.shape[1]):
        order = np.argsort(shift[:, d])
        steps = np.diff(shift[order, d], prepend=shift[order[:1], d]) > _SAME * reach
        levels[order, d] = np.cumsum(steps)
    _, group = np.unique(levels, axis=0, return_inverse=True)
    counts = np.bincount(group.ravel())
    rank = np.empty(len(counts), dtype=np.int64)
    rank[np.argsort(-counts, kind="stable")] = np.arange(len(counts))
    return np.asarray(rank[group.ravel()], dtype=np.int64)
