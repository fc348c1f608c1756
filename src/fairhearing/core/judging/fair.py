"""Fair scores: what each student's marks would be if every judge had heard every student.

Three steps. (1) The additive model (:mod:`.additive`) says how severe each judge and how hard
each criterion is. (2) The judges' exactness (:mod:`.precision`) gives each listening its weight,
unless that is switched off. (3) Every mark is freed of its judge's and criterion's effect,
averaged over the judges criterion by criterion, and the criteria are put together with the
announced weights, which therefore hold for every student however many judges heard a section.

The level is that of the marks given: all adjustments together are zero. A score's standard error
is that of another panel of equally exact judges hearing the same take; it contains the
uncertainty of the judges' severities, and whole listenings, not single marks, are its unit.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from fairhearing.core.errors import JudgingError
from fairhearing.core.judging import linking
from fairhearing.core.judging.additive import AdditiveFit, design, fit, indistinguishable
from fairhearing.core.judging.marks import Floats, Indices, Listenings, Marks, listenings, sum_by
from fairhearing.core.judging.precision import JudgeNoise, judge_noise


@dataclass(frozen=True, slots=True)
class FairScores:
    """Scores of S students and the judges' part in them.

    Attributes
    ----------
    marks : Marks
        The marks that the scores were computed from.
    heard : Listenings
        The listenings they come from; ``heard.per_student`` counts the judges of each student.
    fair : ndarray, shape (S,)
        Fair score, points.
    raw_mean : ndarray, shape (S,)
        Weighted mean of the marks as given, points.
    se : ndarray, shape (S,)
        Standard error of the fair score, points; NaN where it cannot be measured.
    group : ndarray of int, shape (S,)
        Scores of students in different groups (instruments without a common judge) cannot be
        compared.
    severity : ndarray, shape (J,)
        How many points lower than the panel's average this judge marks; negative is lenient.
    severity_se : ndarray, shape (J,)
        Its standard error; NaN where it cannot be measured.
    precision : ndarray, shape (J,)
        The judge's vote; 1 is the typical judge, all 1 when weights are off or not supported.
    noise : JudgeNoise
        Error variances behind the votes.
    difficulty : ndarray, shape (C,)
        How many points lower than average the marks on this criterion are.
    adjusted : ndarray, shape (n,)
        Every mark freed of its judge's and criterion's effect.
    residual : ndarray, shape (n,)
        Adjusted mark minus the student's fair score.
    notes : tuple of str
        Plain sentences about limits of these scores.
    """

    marks: Marks
    heard: Listenings
    fair: Floats
    raw_mean: Floats
    se: Floats
    group: Indices
    severity: Floats
    severity_se: Floats
    precision: Floats
    noise: JudgeNoise
    difficulty: Floats
    adjusted: Floats
    residual: Floats
    notes: tuple[str, ...]
    _error: _ErrorModel = field(repr=False)

    def covariance(self, units: Sequence[int] | Indices) -> Floats:
        """Return the covariance matrix of the scores of some students, points squared.

        Parameters
        ----------
        units : sequence of int, length k
            Indices into ``marks.students``.

        Returns
        -------
        ndarray, shape (k, k)
            NaN throughout if there is no degree of freedom to measure errors with.
        """
        return self._error.covariance(np.asarray(units, dtype=np.int64))


@dataclass(frozen=True, slots=True)
class _ErrorModel:
    """Error of score s: ``sum_l own[s, l] e_l - sensitivity[s] @ (A' e)``, e one per listening."""

    own: Floats  # (S,) variance of the first term
    sensitivity: Floats  # (S, K) response of the score to the effects' error
    cross: Floats  # (S, K) covariance of the first term with A' e
    spread: Floats  # (K, K) covariance of A' e

    def covariance(self, units: Indices) -> Floats:
        b, cross = self.sensitivity[units], self.cross[units]
        mixed = cross @ b.T
        found = b @ self.spread @ b.T - mixed - mixed.T
        found[np.diag_indices(len(units))] += self.own[units]
        return found

    def variances(self) -> Floats:
        b = self.sensitivity
        found = self.own - 2 * np.einsum("sk,sk->s", self.cross, b)
        return np.asarray(found + np.einsum("sk,sk->s", b @ self.spread, b), dtype=np.float64)


def fair_scores(marks: Marks, *, precision_weights: bool = True) -> FairScores:
    """Compute fair scores.

    Parameters
    ----------
    marks : Marks
        From :func:`fairhearing.core.judging.marks.from_rows`.
    precision_weights : bool, default True
        Give exact judges more and erratic judges less vote, as far as the marks support it.

    Returns
    -------
    FairScores

    Raises
    ------
    JudgingError
        If students of one instrument were heard by unlinked panels; says which listenings to add.
    """
    heard = listenings(marks)
    indicator = design(marks)
    equal = np.ones(len(marks.judges))
    plain = fit(marks, equal, indicator)
    group = indistinguishable(marks, plain.null, indicator)
    linked = linking.parts(heard.student, heard.judge, heard.n_students, heard.n_judges)
    require_linked(marks, linked, group)
    noise = judge_noise(heard, heard.mean(marks, plain.residual), len(marks.judges) - linked.count)
    vote = noise.precision if precision_weights else equal
    final = plain if np.all(vote == vote[0]) else fit(marks, vote, indicator)
    return _assemble(_Fitted(marks, heard, linked, indicator, group, noise, vote, final))


def require_linked(marks: Marks, linked: linking.Parts, group: Indices) -> None:
    """Refuse marks from which students of one instrument cannot be ranked together.

    Raises
    ------
    JudgingError
        Names the judges of the separate panels and the listenings that would link them.
    """
    for instrument in dict.fromkeys(marks.instruments):
        inside = np.array([name == instrument for name in marks.instruments])
        of = f" of {instrument}" if instrument else ""
        split = np.unique(linked.of_student[inside])
        if len(split) > 1:
            raise JudgingError(_unlinked(marks, linked, inside, of))
        apart = np.unique(group[inside])
        if len(apart) > 1:
            one = int(np.flatnonzero(inside & (group == apart[0]))[0])
            other = int(np.flatnonzero(inside & (group == apart[1]))[0])
            raise JudgingError(
                f"students{of} were marked on different criteria that no student has in common "
                f"(for example {marks.name(one)} and {marks.name(other)}), so they cannot be "
                "ranked together; mark at least one student on all of these criteria"
            )


def _unlinked(marks: Marks, linked: linking.Parts, inside: NDArray[np.bool_], of: str) -> str:
    split = [int(part) for part in np.unique(linked.of_student[inside])]
    heard_inside = np.unique(marks.judge[inside[marks.student]])
    panels = [
        _listed([marks.judges[j] for j in heard_inside if linked.of_judge[j] == part])
        for part in split
    ]
    additions = linking.cross_marks(linked, split, inside)
    wanted = "; ".join(
        f"judge {marks.judges[a.judge]} hears {_listed([marks.students[s] for s in a.students])}"
        for a in additions[:6]
    )
    more = f"; and {len(additions) - 6} more panels in the same way" if len(additions) > 6 else ""
    shown = "; ".join(panels[:6]) + ("; …" if len(panels) > 6 else "")
    return (
        f"the panels{of} are not linked ({shown} never heard a student in common), so their "
        f"students cannot be ranked together; add these listenings and score again: {wanted}{more}"
    )


def _listed(names: list[str], limit: int = 6) -> str:
    shown = names if len(names) <= limit else [*names[:limit], f"{len(names) - limit} more"]
    return shown[0] if len(shown) == 1 else f"{', '.join(shown[:-1])} and {shown[-1]}"


def _score_shares(marks: Marks, vote: Floats) -> Floats:
    """Return the share of each mark in its student's score; sums to 1 a student, shape (n,)."""
    n_criteria = len(marks.criteria)
    key = marks.student * n_criteria + marks.criterion
    size = len(marks.students) * n_criteria
    votes = vote[marks.judge]
    vote_sum = sum_by(key, votes, size)
    criterion_weight = np.divide(
        sum_by(key, votes * marks.weight, size),
        vote_sum,
        out=np.zeros(size),
        where=vote_sum > 0,
    )
    total = criterion_weight.reshape(-1, n_criteria).sum(axis=1)
    return np.asarray(
        criterion_weight[key] * votes / vote_sum[key] / total[marks.student], dtype=np.float64
    )


@dataclass(frozen=True, slots=True)
class _Fitted:
    """All that the scores are put together from."""

    marks: Marks
    heard: Listenings
    linked: linking.Parts
    indicator: sparse.csr_array
    group: Indices
    noise: JudgeNoise
    vote: Floats
    final: AdditiveFit


def _assemble(fitted: _Fitted) -> FairScores:
    marks, group, vote = fitted.marks, fitted.group, fitted.vote
    n_students = len(marks.students)
    shares = _score_shares(marks, vote)
    effect = np.asarray(fitted.indicator @ fitted.final.effects, dtype=np.float64)
    # Level: inside each comparable group all adjustments together are zero.
    of_row = group[marks.student]
    level = sum_by(of_row, marks.weight * effect, int(group.max()) + 1)
    level /= sum_by(of_row, marks.weight, len(level))
    adjusted = marks.mark - effect + level[of_row]
    fair = sum_by(marks.student, shares * adjusted, n_students)
    equal = _score_shares(marks, np.ones(len(marks.judges)))
    error = _errors(fitted, shares)
    se = np.sqrt(np.maximum(error.variances(), 0))
    severity, severity_se = _severity(fitted, error)
    return FairScores(
        marks=marks,
        heard=fitted.heard,
        fair=fair,
        raw_mean=sum_by(marks.student, equal * marks.mark, n_students),
        se=se,
        group=group,
        severity=severity,
        severity_se=severity_se,
        precision=vote,
        noise=fitted.noise,
        difficulty=_difficulty(marks, fitted.final),
        adjusted=adjusted,
        residual=adjusted - fair[marks.student],
        notes=_notes(fitted, se),
        _error=error,
    )


def _errors(fitted: _Fitted, shares: Floats) -> _ErrorModel:
    """Propagate one independent error a listening through the fit and the scores."""
    marks, heard, group, vote = fitted.marks, fitted.heard, fitted.group, fitted.vote
    indicator, noise = fitted.indicator, fitted.noise
    n, n_students, n_listenings = len(marks.mark), len(marks.students), len(heard.weight)
    rows = np.arange(n)
    # Votes follow the shrunk variances; with equal votes all judges share the common variance.
    equal = bool(np.all(vote == vote[0]))
    variance = np.full(len(marks.judges), noise.pooled) if equal else noise.variance
    sigma = sparse.diags_array(variance[heard.judge])

    def gather(values: Floats, index: Indices, size: int) -> sparse.csr_array:
        return sparse.csr_array(sparse.csr_array((values, (index, rows)), (size, n)) @ indicator)

    weight = marks.weight * vote[marks.judge]
    centre = sparse.diags_array(1 / sum_by(marks.student, weight, n_students)) @ gather(
        weight, marks.student, n_students
    )
    # Response of the reduced system's right side to each listening's error, (L, K).
    per_listening = sparse.diags_array(sum_by(heard.of_mark, weight, n_listenings))
    response = (
        gather(weight, heard.of_mark, n_listenings) - per_listening @ centre.tocsr()[heard.student]
    ).tocsr()
    own = sparse.csr_array(
        (
            sum_by(heard.of_mark, shares, n_listenings),
            (heard.student, np.arange(n_listenings)),
        ),
        (n_students, n_listenings),
    )
    # The level is taken from the marks of the group, so its effects do not count as error.
    of_row = group[marks.student]
    n_groups = int(group.max()) + 1
    level = gather(marks.weight, of_row, n_groups).toarray()
    level /= sum_by(of_row, marks.weight, n_groups)[:, None]
    effects = gather(shares, marks.student, n_students).toarray() - level[group]
    own_variance = np.asarray(own.power(2) @ variance[heard.judge], dtype=np.float64)
    if not equal:
        # Votes are estimates too: Meier 1953, Biometrics 9:59–73.
        votes = own.copy()
        votes.data = votes.data * (1 - votes.data) / noise.weight_freedom[heard.judge]
        own_variance *= 1 + 4 * np.asarray(votes.sum(axis=1)).ravel()
    return _ErrorModel(
        own=own_variance,
        sensitivity=np.asarray(effects @ fitted.final.inverse, dtype=np.float64),
        cross=np.asarray((own @ sigma @ response).toarray(), dtype=np.float64),
        spread=np.asarray((response.T @ sigma @ response).toarray(), dtype=np.float64),
    )


def _severity(fitted: _Fitted, error: _ErrorModel) -> tuple[Floats, Floats]:
    """Severity of each judge against the mean of the judges in the same part, with its error."""
    final, part = fitted.final, fitted.linked.of_judge
    n_judges = len(part)
    listens = fitted.linked.load.astype(np.float64)
    contrast = np.zeros((n_judges, len(final.effects)))
    for p in range(fitted.linked.count):
        inside = np.flatnonzero(part == p)
        share = listens[inside] / listens[inside].sum()
        contrast[np.ix_(inside, inside)] = share[None, :]
        contrast[inside, inside] -= 1
    severity = contrast @ final.effects
    covariance = final.inverse @ error.spread @ final.inverse
    variance = np.einsum("jk,kl,jl->j", contrast, covariance, contrast)
    alone = np.array([np.sum(part == part[j]) == 1 for j in range(n_judges)])
    se = np.where(alone, np.nan, np.sqrt(np.maximum(variance, 0)))
    return severity, se


def _difficulty(marks: Marks, final: AdditiveFit) -> Floats:
    n_criteria = len(marks.criteria)
    if n_criteria == 1:
        return np.zeros(1)
    effect = final.effects[len(marks.judges) :]
    weight = sum_by(marks.criterion, marks.weight, n_criteria)
    return np.asarray(np.average(effect, weights=weight) - effect, dtype=np.float64)


def _notes(fitted: _Fitted, se: Floats) -> tuple[str, ...]:
    marks, group = fitted.marks, fitted.group
    notes = []
    weak = _weak_link(fitted)
    if weak is not None:
        notes.append(weak)
    if len(marks.judges) == 1:
        notes.append(
            f"Only judge {marks.judges[0]} marked, so severity and uncertainty cannot be measured "
            "and the fair score is the mean of the marks; let a second judge hear some takes."
        )
    elif np.isnan(se).any():
        notes.append(
            "No student's marks can be compared across judges more than once, so no uncertainty "
            "can be measured; let more judges hear the same takes."
        )
    if len(marks.mark) > 1 and np.ptp(marks.mark) == 0:
        notes.append(
            f"All marks are {marks.mark[0]:g}: nobody can be ranked by them; ask the judges to "
            "use the whole scale and listen again."
        )
    if group.max() > 0:
        names = {
            int(g): marks.instruments[int(np.flatnonzero(group == g)[0])] for g in np.unique(group)
        }
        notes.append(
            "Scores are comparable inside an instrument, but not between "
            + _listed(list(names.values()))
            + ", which no judge or criterion links."
        )
    return tuple(notes)


def _weak_link(fitted: _Fitted) -> str | None:
    """Say where a ranking hangs on very few students."""
    heard, names = fitted.heard, fitted.marks.judges
    if fitted.linked.count > 1:
        return None
    weak = linking.weakest_link(heard.student, heard.judge, heard.n_students, heard.n_judges)
    if weak is None or len(weak.students) >= linking.CROSS_MARKS_PER_PART:
        return None
    bridge = _listed([fitted.marks.students[s] for s in weak.students])
    judges = _listed([names[j] for j in weak.judges])
    one = "judge" if len(weak.judges) == 1 else "judges"
    return (
        f"The {weak.alone} students heard by {one} {judges} only are linked to the "
        f"{weak.others} others by {bridge} alone, so how the two groups compare is uncertain; let "
        f"another judge hear {linking.CROSS_MARKS_PER_PART} of them."
    )
