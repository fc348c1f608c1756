"""How far do the judges agree? Intraclass correlations, Krippendorff's alpha, Kendall's W.

Conventions: ratings are an array of shape (n takes, k judges), NaN where a judge did not hear a
take. Every figure that cannot be computed is None with a reason, never 0.

References
----------
Shrout & Fleiss 1979, Psychological Bulletin 86:420–428 (the six intraclass correlations).
Krippendorff 2011, *Computing Krippendorff's Alpha-Reliability*.
Kendall & Smith 1939, Annals of Mathematical Statistics 10:275–287; correction for ties as in
Siegel & Castellan 1988, *Nonparametric Statistics*, sec. 9.7.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from scipy import sparse, stats

from fairhearing.core.errors import JudgingError
from fairhearing.core.judging.marks import Floats, Indices, Listenings, Marks, listenings

Level = Literal["nominal", "ordinal", "interval", "ratio"]
_BLOCK = 512


@dataclass(frozen=True, slots=True)
class IntraclassCorrelations:
    """The six intraclass correlations and the mean squares behind them.

    Attributes
    ----------
    icc_1_1, icc_2_1, icc_3_1 : float
        Of a single judge: judges differ from take to take; judges are a sample of all judges;
        these are the only judges of interest.
    icc_1_k, icc_2_k, icc_3_k : float
        The same of the mean of the k judges.
    between_ms, within_ms, judges_ms, error_ms : float
        Mean squares between takes, within takes, between judges, and of error.
    takes, judges : int
        Size of the complete table.
    """

    icc_1_1: float
    icc_2_1: float
    icc_3_1: float
    icc_1_k: float
    icc_2_k: float
    icc_3_k: float
    between_ms: float
    within_ms: float
    judges_ms: float
    error_ms: float
    takes: int
    judges: int


@dataclass(frozen=True, slots=True)
class Concordance:
    """Kendall's coefficient of concordance.

    Attributes
    ----------
    w : float
        Corrected for ties; 1 is full agreement on the order.
    uncorrected : float
        Without the correction.
    chi_square, p : float
        Friedman's statistic, ``judges * (takes - 1) * w``, and its large-sample probability.
    takes, judges : int
        Size of the complete table.
    """

    w: float
    uncorrected: float
    chi_square: float
    p: float
    takes: int
    judges: int


@dataclass(frozen=True, slots=True)
class Agreement:
    """Agreement figures of a season; None where one cannot be computed.

    Attributes
    ----------
    icc : IntraclassCorrelations or None
        From the takes that all judges heard.
    alpha : dict of str to float or None
        Krippendorff's alpha by level of measurement, from all takes heard at least twice.
    concordance : Concordance or None
        From the takes that all judges heard.
    reasons : dict of str to str
        Why a figure is missing.
    """

    icc: IntraclassCorrelations | None
    alpha: dict[Level, float | None]
    concordance: Concordance | None
    reasons: dict[str, str]


def intraclass_correlations(ratings: Floats) -> IntraclassCorrelations:
    """Compute the six intraclass correlations (Shrout & Fleiss 1979, table 3 and p. 423).

    Parameters
    ----------
    ratings : ndarray, shape (n, k)
        Complete; n ≥ 2 takes by k ≥ 2 judges.

    Raises
    ------
    JudgingError
        If the table is incomplete, too small, or all takes have the same marks.
    """
    table = _complete(ratings)
    n, k = table.shape
    grand = table.mean()
    takes = k * float(np.sum((table.mean(axis=1) - grand) ** 2))
    judges = n * float(np.sum((table.mean(axis=0) - grand) ** 2))
    total = float(np.sum((table - grand) ** 2))
    bms = takes / (n - 1)
    wms = (total - takes) / (n * (k - 1))
    jms = judges / (k - 1)
    ems = max(total - takes - judges, 0.0) / ((n - 1) * (k - 1))
    if total <= 1e-12 * max(1.0, grand**2) * table.size or bms <= 1e-12 * total:
        raise JudgingError("all takes have the same mean mark, so agreement cannot be measured")
    return IntraclassCorrelations(
        icc_1_1=(bms - wms) / (bms + (k - 1) * wms),
        icc_2_1=(bms - ems) / (bms + (k - 1) * ems + k * (jms - ems) / n),
        icc_3_1=(bms - ems) / (bms + (k - 1) * ems),
        icc_1_k=(bms - wms) / bms,
        icc_2_k=(bms - ems) / (bms + (jms - ems) / n),
        icc_3_k=(bms - ems) / bms,
        between_ms=bms,
        within_ms=wms,
        judges_ms=jms,
        error_ms=ems,
        takes=n,
        judges=k,
    )


def spearman_brown(single: float, judges: float) -> float:
    """Return the reliability of the mean of several judges from that of one.

    Source: Spearman 1910, Brown 1910 (British J. of Psychology 3:271–295, 296–322).
    """
    return judges * single / (1 + (judges - 1) * single)


def krippendorff_alpha(ratings: Floats, level: Level = "interval") -> float:
    """Compute Krippendorff's alpha (Krippendorff 2011).

    Parameters
    ----------
    ratings : ndarray, shape (n, k)
        NaN where a judge did not hear a take.
    level : {"nominal", "ordinal", "interval", "ratio"}
        Which differences count: any, in rank, in points, in proportion.

    Raises
    ------
    JudgingError
        If no take was heard twice, all marks are equal, or a ratio is asked of marks below 0.
    """
    take, judge = np.nonzero(~np.isnan(ratings))
    return _alpha(take.astype(np.int64), ratings[take, judge], level)


def _alpha(take: Indices, value: Floats, level: Level) -> float:
    counts = np.bincount(take)
    heard_twice = counts[take] > 1
    if not heard_twice.any():
        raise JudgingError("no take was heard by two judges, so agreement cannot be measured")
    take, value = take[heard_twice], np.round(value[heard_twice], 9)
    if level == "ratio" and value.min() < 0:
        raise JudgingError("proportions of marks below 0 mean nothing; use the interval level")
    values, code = np.unique(value, return_inverse=True)
    if len(values) == 1:
        raise JudgingError(f"all marks are {values[0]:g}, so agreement cannot be measured")
    table = sparse.csr_array(
        (np.ones(len(take)), (take, code)), shape=(int(take.max()) + 1, len(values))
    )
    per_take = np.bincount(take, minlength=table.shape[0])
    scale = sparse.diags_array(np.where(per_take > 1, 1 / np.maximum(per_take - 1, 1), 0.0))
    scaled = scale @ table
    coincidence = (
        table.T @ scaled - sparse.diags_array(np.asarray(scaled.sum(axis=0)).ravel())
    ).tocsr()
    frequency = np.bincount(code).astype(float)
    observed = expected = 0.0
    for start in range(0, len(values), _BLOCK):
        block = slice(start, min(start + _BLOCK, len(values)))
        distance = _squared_distance(values, frequency, block, level)
        observed += float(np.sum(coincidence[block].toarray() * distance))
        expected += float(frequency[block] @ distance @ frequency)
    return 1 - (len(value) - 1) * observed / expected


def _squared_distance(values: Floats, frequency: Floats, block: slice, level: Level) -> Floats:
    a, b = values[block, None], values[None, :]
    if level == "nominal":
        return np.asarray(a != b, dtype=np.float64)
    if level == "interval":
        return np.asarray((a - b) ** 2, dtype=np.float64)
    if level == "ratio":
        total = a + b
        return np.asarray(
            np.divide(a - b, total, out=np.zeros(total.shape), where=total != 0) ** 2,
            dtype=np.float64,
        )
    middle = np.cumsum(frequency) - frequency / 2
    return np.asarray((middle[block, None] - middle[None, :]) ** 2, dtype=np.float64)


def kendall_w(ratings: Floats) -> Concordance:
    """Compute Kendall's W with the correction for ties.

    Parameters
    ----------
    ratings : ndarray, shape (n, k)
        Complete marks or ranks; n ≥ 2 takes by k ≥ 2 judges.

    Raises
    ------
    JudgingError
        If the table is incomplete or too small, or every judge marked all takes alike.
    """
    table = _complete(ratings)
    n, k = table.shape
    ranks = stats.rankdata(table, axis=0)
    spread = float(np.sum((ranks.sum(axis=1) - k * (n + 1) / 2) ** 2))
    ties = 0.0
    for column in table.T:
        sizes = np.unique(column, return_counts=True)[1].astype(float)
        ties += float(np.sum(sizes**3 - sizes))
    full = k**2 * (n**3 - n)
    if full - k * ties <= 0:
        raise JudgingError("every judge marked all takes alike, so there is no order to agree on")
    w = 12 * spread / (full - k * ties)
    chi_square = k * (n - 1) * w
    return Concordance(
        w, 12 * spread / full, chi_square, float(stats.chi2.sf(chi_square, n - 1)), n, k
    )


def _complete(ratings: Floats) -> Floats:
    table = np.asarray(ratings, dtype=np.float64)
    if table.ndim != 2 or np.isnan(table).any():
        raise JudgingError("no table of takes that every judge heard")
    if min(table.shape) < 2:
        raise JudgingError(
            "fewer than two takes were heard by every judge, or there is one judge only"
        )
    return table


def agreement(marks: Marks) -> Agreement:
    """Compute all agreement figures on the listenings' weighted mean marks.

    The judges' marks are compared as given: a lenient and a severe judge do not agree, which is
    what fair scores then correct. ``ICC(3,·)`` and W look past severity.
    """
    heard = listenings(marks)
    value = heard.mean(marks, marks.mark)
    reasons: dict[str, str] = {}
    alpha: dict[Level, float | None] = {}
    levels: tuple[Level, ...] = ("nominal", "ordinal", "interval", "ratio")
    for level in levels:
        try:
            alpha[level] = _alpha(heard.student, value, level)
        except JudgingError as error:
            alpha[level] = None
            reasons[f"alpha_{level}"] = str(error)
    table = _heard_by_all(heard, value)
    icc: IntraclassCorrelations | None = None
    concordance: Concordance | None = None
    try:
        icc = intraclass_correlations(table)
    except JudgingError as error:
        reasons["icc"] = str(error)
    try:
        concordance = kendall_w(table)
    except JudgingError as error:
        reasons["kendall_w"] = str(error)
    return Agreement(icc, alpha, concordance, reasons)


def _heard_by_all(heard: Listenings, value: Floats) -> Floats:
    """Return the marks of the takes that every judge heard, shape (n, J)."""
    full = heard.per_student == heard.n_judges
    row = np.cumsum(full) - 1
    kept = full[heard.student]
    table = np.full((int(full.sum()), heard.n_judges), np.nan)
    table[row[heard.student[kept]], heard.judge[kept]] = value[kept]
    return table
