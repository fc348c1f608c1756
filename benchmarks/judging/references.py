"""What else is done with marks: the methods that fair scores are compared with in the same run."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.stats import kendalltau

from fairhearing.core.judging.marks import Marks, listenings, sum_by

Floats = NDArray[np.float64]


def raw_mean(marks: Marks) -> Floats:
    heard = listenings(marks)
    value = heard.mean(marks, marks.mark)
    return sum_by(heard.student, value, heard.n_students) / heard.per_student


def drop_high_low(marks: Marks) -> Floats:
    heard = listenings(marks)
    value = heard.mean(marks, marks.mark)
    high = np.full(heard.n_students, -np.inf)
    low = np.full(heard.n_students, np.inf)
    np.maximum.at(high, heard.student, value)
    np.minimum.at(low, heard.student, value)
    total = sum_by(heard.student, value, heard.n_students)
    return (total - high - low) / (heard.per_student - 2)


def z_score(marks: Marks) -> Floats:
    """Each judge's listenings standardised by the judge's own mean and spread."""
    heard = listenings(marks)
    value = heard.mean(marks, marks.mark)
    count = np.maximum(heard.per_judge, 1)
    mean = sum_by(heard.judge, value, heard.n_judges) / count
    centred = value - mean[heard.judge]
    spread = np.sqrt(sum_by(heard.judge, centred**2, heard.n_judges) / count)
    z = centred / np.maximum(spread, 1e-9)[heard.judge]
    return sum_by(heard.student, z, heard.n_students) / heard.per_student


def tau(found: Floats, true: Floats) -> float:
    return float(kendalltau(found, true).statistic)


def thirds(values: Floats) -> NDArray[np.int64]:
    """Return in which of three equal ensembles each student sits."""
    return np.argsort(np.argsort(-values, kind="stable"), kind="stable") * 3 // len(values)


def right_third(found: Floats, true: Floats) -> float:
    return float(np.mean(thirds(found) == thirds(true)))
