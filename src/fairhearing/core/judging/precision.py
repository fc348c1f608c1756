"""How exact is each judge? Error variances per judge, shrunk towards the common one.

A judge's error shows only against the other judges of the same students. With the students
eliminated, the mean square of judge j's residuals expects
``sum_s (1 - q_sj)^2 v_j + sum_s sum_k q_sk^2 v_k`` (q: a judge's share in a student's mean), one
linear equation a judge; this is the estimator of Grubbs (1948, J. Amer. Stat. Assoc. 43:243–264)
for incomplete panels. The raw variances of judges with few listenings are worth little, so they
are shrunk by the empirical Bayes rule of Smyth (2004, Stat. Appl. Genet. Mol. Biol. 3:3): with no
more spread than chance explains, every judge keeps exactly the same vote.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import sparse, special

from fairhearing.core.judging.marks import Floats, Indices, Listenings, sum_by

_LEAST_FREEDOM, _LEAST_TAKES = 4.0, 10
"""A judge's own variance from fewer degrees of freedom, or from fewer takes, says too little to
give or take votes."""
_NO_ERROR = 1e-18
"""Below this variance all judges agree but for rounding, points squared."""
_VOTE_LIMITS = (0.25, 4.0)
"""No judge counts less than a quarter or more than four times as much as the typical judge."""


@dataclass(frozen=True, slots=True)
class JudgeNoise:
    """Error of each judge's listenings.

    Attributes
    ----------
    variance : ndarray, shape (J,)
        Shrunk error variance of one listening, points squared; NaN where nothing can be said.
    raw_variance : ndarray, shape (J,)
        The judge's own estimate before shrinking; NaN where there is none.
    pooled : float
        Common error variance, points squared; NaN without a degree of freedom.
    freedom : ndarray, shape (J,)
        Degrees of freedom behind each raw variance.
    prior_freedom : float
        Degrees of freedom that the common value is worth; infinite if judges do not differ.
    """

    variance: Floats
    raw_variance: Floats
    pooled: float
    freedom: Floats
    prior_freedom: float

    @property
    def weight_freedom(self) -> Floats:
        """Degrees of freedom behind each judge's vote, shape (J,); infinite with equal votes."""
        return self.freedom + self.prior_freedom

    @property
    def precision(self) -> Floats:
        """Relative vote of each judge, typical judge 1, shape (J,)."""
        if not np.isfinite(self.pooled) or self.pooled <= 0 or np.isinf(self.prior_freedom):
            return np.ones(len(self.variance))
        ratio = np.clip(self.pooled / self.variance, *_VOTE_LIMITS)
        return np.asarray(ratio / np.exp(np.mean(np.log(ratio))), dtype=np.float64)


def judge_noise(heard: Listenings, residual: Floats, rank: int) -> JudgeNoise:
    """Estimate the error variance of every judge.

    Parameters
    ----------
    heard : Listenings
        L listenings; their weights give their share in the student's mean.
    residual : ndarray, shape (L,)
        Mean residual of each listening from an additive fit with equal votes, points.
    rank : int
        Number of judge effects that the fit estimated.
    """
    n_listenings, n_students, n_judges = len(heard.weight), heard.n_students, heard.n_judges
    freedom_total = n_listenings - n_students - rank
    if freedom_total <= 0:
        nothing = np.full(n_judges, np.nan)
        return JudgeNoise(nothing, nothing, np.nan, np.zeros(n_judges), np.inf)
    # Estimating the judges' severities eats some of the residuals; give it back evenly.
    squares = sum_by(heard.judge, residual**2, n_judges)
    squares *= (n_listenings - n_students) / freedom_total
    system = _mixing(heard)
    pooled = float(squares.sum() / system.sum())
    if pooled <= _NO_ERROR:
        zero = np.zeros(n_judges)
        return JudgeNoise(zero, zero, 0.0, zero, np.inf)
    raw, freedom = _own_variances(system, squares, heard.per_judge, pooled)
    known = (freedom >= _LEAST_FREEDOM) & (heard.per_judge >= _LEAST_TAKES)
    prior, prior_freedom = _prior(raw[known], freedom[known], pooled)
    variance = np.full(n_judges, pooled)
    if np.isfinite(prior_freedom):
        own = np.where(known, freedom, 0.0)
        variance = (prior_freedom * prior + own * np.where(known, raw, 0.0)) / (prior_freedom + own)
    return JudgeNoise(variance, np.where(known, raw, np.nan), pooled, freedom, prior_freedom)


def _mixing(heard: Listenings) -> Floats:
    """Return the matrix that turns judges' variances into expected sums of squares, (J, J)."""
    share = heard.weight / sum_by(heard.student, heard.weight, heard.n_students)[heard.student]
    at, shape = (heard.student, heard.judge), (heard.n_students, heard.n_judges)
    present = sparse.csr_array((np.ones(len(share)), at), shape)
    squared = sparse.csr_array((share**2, at), shape)
    system = np.asarray((present.T @ squared).toarray(), dtype=np.float64)
    np.fill_diagonal(system, sum_by(heard.judge, (1 - share) ** 2, heard.n_judges))
    return system


def _own_variances(
    system: Floats, squares: Floats, per_judge: Indices, pooled: float
) -> tuple[Floats, Floats]:
    """Solve for the judges' variances; return them with their degrees of freedom."""
    # Two judges who only ever heard students as a pair share one variance: a whisper of the
    # common value keeps the system solvable and splits it evenly.
    tie = 1e-3 * np.diagonal(system).clip(min=1e-12)
    inverse = np.linalg.inv(system + np.diag(tie))
    raw = inverse @ (squares + tie * pooled)
    expected = system.sum(axis=1) * pooled
    spread = 2 * expected**2 / per_judge
    variance_of_raw = np.einsum("jk,k,jk->j", inverse, spread, inverse)
    freedom = 2 * pooled**2 / variance_of_raw
    return np.maximum(raw, 0.05 * pooled), freedom


def _prior(raw: Floats, freedom: Floats, pooled: float) -> tuple[float, float]:
    """Return the common variance and the degrees of freedom it is worth (Smyth 2004, sec. 6.2)."""
    if len(raw) < 3:
        return pooled, np.inf
    half = freedom / 2
    logs = np.log(raw) - special.digamma(half) + np.log(half)
    mean = float(logs.mean())
    excess = float(np.mean((logs - mean) ** 2) * len(raw) / (len(raw) - 1)) - float(
        np.mean(special.polygamma(1, half))
    )
    if excess <= 0:
        return pooled, np.inf
    prior_half = _inverse_trigamma(excess)
    prior = float(np.exp(mean + special.digamma(prior_half) - np.log(prior_half)))
    return prior, 2 * prior_half


def _inverse_trigamma(value: float) -> float:
    """Solve trigamma(y) = value by Newton's method on 1 / trigamma (Smyth 2004, appendix)."""
    y = 0.5 + 1 / value
    for _ in range(50):
        tri = float(special.polygamma(1, y))
        step = tri * (1 - tri / value) / float(special.polygamma(2, y))
        y += step
        if -step / y < 1e-10:
            break
    return y
