"""Which students can be compared, and how exactly: against dense linear algebra."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fairhearing.core.errors import JudgingError
from fairhearing.core.judging.fair import fair_scores
from fairhearing.core.judging.marks import Mark, from_rows


def patchy(seed, *, n_students=7, n_judges=4, n_criteria=3, density=0.35):
    rng = np.random.default_rng(seed)
    rows = []
    for s in range(n_students):
        for j in range(n_judges):
            for c in range(n_criteria):
                if rng.random() < density:
                    rows.append(Mark(f"s{s}", f"j{j}", f"c{c}", float(rng.integers(1, 11))))
    return rows


def dense(marks):
    """Students, judges, criteria as indicator columns, shape (n, S + J + C)."""
    n = len(marks.mark)
    sizes = (len(marks.students), len(marks.judges), len(marks.criteria))
    matrix = np.zeros((n, sum(sizes)))
    rows = np.arange(n)
    matrix[rows, marks.student] = 1
    matrix[rows, sizes[0] + marks.judge] = 1
    matrix[rows, sizes[0] + sizes[1] + marks.criterion] = 1
    return matrix


@settings(max_examples=150, deadline=None)
@given(st.integers(0, 100_000), st.floats(0.12, 0.7))
def test_refused_exactly_when_a_contrast_of_students_is_not_estimable(seed, density):
    rows = patchy(seed, density=density)
    if not rows:
        return
    marks = from_rows(rows)
    matrix = dense(marks)
    rank = np.linalg.matrix_rank(matrix)
    n_students = len(marks.students)
    contrasts = np.zeros((n_students - 1, matrix.shape[1]))
    contrasts[:, 0] = 1
    contrasts[np.arange(n_students - 1), np.arange(1, n_students)] = -1
    estimable = np.linalg.matrix_rank(np.vstack([matrix, contrasts])) == rank
    try:
        scores = fair_scores(marks)
    except JudgingError:
        assert not estimable
    else:
        assert estimable
        assert np.isfinite(scores.fair).all()


@pytest.mark.parametrize("seed", range(6))
def test_errors_are_those_of_the_score_as_it_is_computed(seed):
    """The score is linear in the marks; push unit errors of single listenings through it."""
    rng = np.random.default_rng(seed)
    rows = [
        Mark(f"s{s}", f"j{j}", f"c{c}", float(rng.normal(6, 1.5)), weight=1.0 + c)
        for s in range(14)
        for j in rng.permutation(5)[:3]
        for c in range(3)
        if c < 2 or s % 3
    ]
    marks = from_rows(rows)
    scores = fair_scores(marks, precision_weights=False)
    units = range(len(marks.students))
    effect = np.empty((len(marks.students), len(scores.heard.weight)))
    for listening in range(len(scores.heard.weight)):
        at = scores.heard.of_mark == listening
        moved = [
            Mark(row.student, row.judge, row.criterion, row.mark + 1.0 * hit, weight=row.weight)
            for row, hit in zip(_rows(marks), at, strict=True)
        ]
        effect[:, listening] = (
            fair_scores(from_rows(moved), precision_weights=False).fair - scores.fair
        )
    brute = scores.noise.pooled * effect @ effect.T
    ours = scores.covariance(list(units))

    def pairs(c):
        return np.diag(c)[:, None] + np.diag(c)[None, :] - 2 * c

    assert pairs(ours) == pytest.approx(pairs(brute), abs=1e-9)


def _rows(marks):
    return [
        Mark(marks.students[s], marks.judges[j], marks.criteria[c][1], float(mark), weight=float(w))
        for s, j, c, mark, w in zip(
            marks.student, marks.judge, marks.criterion, marks.mark, marks.weight, strict=True
        )
    ]
