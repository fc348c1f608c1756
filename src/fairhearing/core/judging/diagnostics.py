"""What the marks show about each judge: severity, consistency, use of the range, drift, slips.

Nothing here is a reproach: a severe judge is corrected for, an erratic one counts less, and a mark
that stands apart from all others is shown to a person who can look at the sheet again. Every
judge is compared with the *other* judges of the same takes, never with the own marks.

Flags are set only where chance is an unlikely explanation even with many judges (or marks) looked
at: the limits are Bonferroni-corrected, 5 % for the whole table.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import stats

from fairhearing.core.judging.estimate import Estimate, estimate
from fairhearing.core.judging.fair import FairScores
from fairhearing.core.judging.marks import Floats, Indices, sum_by
from fairhearing.core.judging.too_close import true_spread

LEAST_TAKES = 10
"""Fewer takes than this say too little about a judge's range, drift or consistency."""
_FAMILY = 0.05
_NARROW = 0.8


@dataclass(frozen=True, slots=True)
class JudgeReport:
    """One judge's part in the marks.

    Attributes
    ----------
    judge : int
    takes : int
        Number of takes heard.
    severity : Estimate or None
        Points below the panel's average.
    error_sd : float or None
        Standard deviation of one listening's error, points (shrunk).
    vote : float
        Weight in the fair scores; 1 is the typical judge.
    range_use : Estimate or None
        Points by which the marks rise per point of the other judges' score; 1 uses the scale
        like the others, below 1 squeezes good and weak together.
    drift : Estimate or None
        Points by which the marks rose from the first to the last take heard; None without a
        listening order.
    flags : tuple of str
        Plain sentences, empty if nothing stands out.
    """

    judge: int
    takes: int
    severity: Estimate | None
    error_sd: float | None
    vote: float
    range_use: Estimate | None
    drift: Estimate | None
    flags: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class OutlyingMark:
    """A mark far from what all others lead one to expect.

    Attributes
    ----------
    row : int
        Index of the mark in :class:`.marks.Marks`, or -1 if the whole listening stands apart.
    unit, judge : int
    mark, expected : float
        Points; for a whole listening its weighted mean.
    z : float
        Distance in standard deviations.
    """

    row: int
    unit: int
    judge: int
    mark: float
    expected: float
    z: float

    def says(self, scores: FairScores) -> str:
        """Return the mark as one plain sentence."""
        marks = scores.marks
        who = f"Judge {marks.judges[self.judge]} gave {marks.name(self.unit)}"
        if self.row < 0:
            what = f"{self.mark:.1f} on average"
        else:
            section, criterion = marks.criteria[marks.criterion[self.row]]
            what = f"{self.mark:g} for {f'{section} ' if section else ''}{criterion}"
        return f"{who} {what}; all other marks lead one to expect about {self.expected:.1f}."


def judge_reports(scores: FairScores) -> tuple[JudgeReport, ...]:
    """Describe every judge, in the order of ``scores.marks.judges``."""
    others, others_variance = others_of(scores)
    n_judges = scores.heard.n_judges
    limit = _FAMILY / n_judges
    value = scores.heard.mean(scores.marks, scores.marks.mark)
    adjusted = scores.heard.mean(scores.marks, scores.adjusted)
    order = scores.heard.mean(scores.marks, scores.marks.order)
    spread = true_spread(scores)
    reports = []
    for judge in range(n_judges):
        rows = np.flatnonzero(scores.heard.judge == judge)
        usable = rows[~np.isnan(others[rows])]
        severity = _severity(scores, judge)
        range_use = _range_use(value[usable], others[usable], others_variance[usable], spread)
        drift = _drift(adjusted[usable] - others[usable], order[usable])
        noise = scores.noise.variance[judge]
        flags = _flags(severity, range_use, drift, limit)
        reports.append(
            JudgeReport(
                judge=judge,
                takes=len(rows),
                severity=severity,
                error_sd=None if np.isnan(noise) else float(np.sqrt(noise)),
                vote=float(scores.precision[judge]),
                range_use=range_use,
                drift=drift,
                flags=flags,
            )
        )
    return tuple(reports)


def others_of(scores: FairScores) -> tuple[Floats, Floats]:
    """Return each listening's score by the other judges and its error variance, (L,) and (L,)."""
    heard = scores.heard
    vote = scores.precision[heard.judge] * heard.weight
    total = sum_by(heard.student, vote, heard.n_students)[heard.student]
    mean = heard.mean(scores.marks, scores.adjusted)
    weighted = sum_by(heard.student, vote * mean, heard.n_students)[heard.student]
    noise = scores.noise.variance[heard.judge]
    error = sum_by(heard.student, vote**2 * noise, heard.n_students)[heard.student]
    rest = total - vote
    alone = rest <= 1e-9 * total
    with np.errstate(invalid="ignore", divide="ignore"):
        others = np.where(alone, np.nan, (weighted - vote * mean) / rest)
        variance = np.where(alone, np.nan, (error - vote**2 * noise) / rest**2)
    return others, variance


def _severity(scores: FairScores, judge: int) -> Estimate | None:
    se = float(scores.severity_se[judge])
    if np.isnan(se):
        return None
    return estimate(float(scores.severity[judge]), se)


def _range_use(value: Floats, others: Floats, error: Floats, spread: float) -> Estimate | None:
    """Slope on the others' score, freed of the flattening by that score's own error.

    Errors-in-variables regression with known error variance (Fuller 1987, *Measurement Error
    Models*, sec. 1.2).
    """
    if len(value) < LEAST_TAKES or not spread > 0:
        return None
    centred = others - others.mean()
    signal = float(centred @ centred) / (len(value) - 1) - float(error.mean())
    if signal <= 0.2 * spread:
        return None
    slope = float(centred @ (value - value.mean())) / (len(value) - 1) / signal
    rest = value - value.mean() - slope * centred
    variance = float(rest @ rest) / (len(value) - 2)
    reliability = signal / (signal + float(error.mean()))
    se = np.sqrt(variance / (len(value) - 1) / (signal * reliability))
    return estimate(slope, float(se), len(value) - 2, null=1.0)


def _drift(against_others: Floats, order: Floats) -> Estimate | None:
    known = ~np.isnan(order)
    y, x = against_others[known], order[known]
    if len(y) < LEAST_TAKES or np.ptp(x) == 0:
        return None
    x = (x - x.min()) / np.ptp(x)
    found = stats.linregress(x, y)
    if not np.isfinite(found.stderr):
        return None
    return estimate(float(found.slope), float(found.stderr), len(y) - 2)


def _flags(
    severity: Estimate | None, range_use: Estimate | None, drift: Estimate | None, limit: float
) -> tuple[str, ...]:
    flags = []
    if severity is not None and severity.p < limit:
        kind = "severe" if severity.value > 0 else "lenient"
        flags.append(f"{kind} by {abs(severity.value):.2f} points; the fair scores make up for it")
    if range_use is not None and range_use.p < limit and range_use.value < _NARROW:
        flags.append(
            f"uses {range_use.value:.0%} of the range that the other judges use; fair scores "
            "cannot make up for it, they only count this judge less"
        )
    if drift is not None and drift.p < limit:
        way = "rose" if drift.value > 0 else "fell"
        flags.append(f"marks {way} by {abs(drift.value):.2f} points from first to last take")
    return tuple(flags)


def outlying_marks(scores: FairScores) -> tuple[OutlyingMark, ...]:
    """Return listenings and single marks that stand apart, the farthest first.

    A single mark is judged after its listening's own error is taken out, so that a slip of the
    pen on one criterion shows beside five ordinary marks.
    """
    found = [*_outlying_listenings(scores), *_outlying_single(scores)]
    covered = {(o.unit, o.judge) for o in found if o.row >= 0}
    kept = [o for o in found if o.row >= 0 or (o.unit, o.judge) not in covered]
    return tuple(sorted(kept, key=lambda o: (-abs(o.z), o.unit, o.judge, o.row)))


def _outlying_listenings(scores: FairScores) -> list[OutlyingMark]:
    heard, marks = scores.heard, scores.marks
    others, variance = others_of(scores)
    adjusted = heard.mean(marks, scores.adjusted)
    shift = heard.mean(marks, marks.mark) - adjusted
    spread = np.sqrt(variance + scores.noise.variance[heard.judge])
    known = ~np.isnan(others) & (spread > 0)
    if not known.any():
        return []
    z = np.zeros(len(others))
    z[known] = (adjusted - others)[known] / spread[known]
    limit = stats.norm.isf(_FAMILY / 2 / known.sum())
    return [
        OutlyingMark(
            row=-1,
            unit=int(heard.student[at]),
            judge=int(heard.judge[at]),
            mark=float(adjusted[at] + shift[at]),
            expected=float(others[at] + shift[at]),
            z=float(z[at]),
        )
        for at in np.flatnonzero(np.abs(z) > limit)
    ]


def _outlying_single(scores: FairScores) -> list[OutlyingMark]:
    marks = scores.marks
    if len(marks.criteria) < 3:
        return []
    rest = _unlike_others(scores)
    known = ~np.isnan(rest)
    if known.sum() < LEAST_TAKES * len(marks.criteria):
        return []
    scale = np.full(len(rest), _robust_sd(rest[known]))
    for judge in range(len(marks.judges)):
        own = known & (marks.judge == judge)
        if own.sum() >= LEAST_TAKES * len(marks.criteria):
            scale[own] = _robust_sd(rest[own])
    z = np.zeros(len(rest))
    usable = known & (scale > 0)
    z[usable] = rest[usable] / scale[usable]
    # Set low enough to find slips of the pen, at the price of an innocent mark or two a table.
    limit = stats.norm.isf(0.5 / 2 / known.sum())
    apart = np.abs(z) > limit
    # A slip also makes its neighbours look odd; of three or more only the farthest is named.
    key = marks.student * len(marks.criteria) + marks.criterion
    farthest = np.zeros(int(key.max()) + 1)
    np.maximum.at(farthest, key, np.abs(z))
    apart &= (np.abs(z) >= farthest[key]) | (np.bincount(key)[key] == 2)
    return [
        OutlyingMark(
            row=int(row),
            unit=int(marks.student[row]),
            judge=int(marks.judge[row]),
            mark=float(marks.mark[row]),
            expected=float(marks.mark[row] - rest[row]),
            z=float(z[row]),
        )
        for row in np.flatnonzero(apart)
    ]


def _unlike_others(scores: FairScores) -> Floats:
    """Return how far each mark is from what everything else predicts, points, shape (n,).

    Freed of the rest of its listening (halo), of the judge's habit on the criterion, and of what
    the other judges heard in this student on this criterion. NaN if no one else marked it.
    """
    marks, of = scores.marks, scores.heard.of_mark
    n_criteria = len(marks.criteria)
    inside = np.bincount(of)[of]
    total = sum_by(of, scores.residual, len(scores.heard.weight))[of]
    with np.errstate(invalid="ignore", divide="ignore"):
        rest = scores.residual - np.where(inside > 1, (total - scores.residual) / (inside - 1), 0)
        rest = rest - _median_by(marks.judge * n_criteria + marks.criterion, rest)
        key = marks.student * n_criteria + marks.criterion
        count = np.bincount(key)[key]
        others = (np.bincount(key, rest)[key] - rest) / (count - 1)
    return np.where(count > 1, rest - others, np.nan)


def _robust_sd(values: Floats) -> float:
    """Return the standard deviation as the middle half shows it; slips cannot widen it."""
    low, high = np.quantile(values, [0.25, 0.75])
    return float(high - low) / 1.349


def _median_by(index: Indices, values: Floats) -> Floats:
    """Return for each entry the median of all entries with the same index."""
    order = np.lexsort((values, index))
    sorted_index, sorted_values = index[order], values[order]
    starts = np.flatnonzero(np.diff(sorted_index, prepend=-1))
    sizes = np.diff(np.append(starts, len(values)))
    middle = (sorted_values[starts + (sizes - 1) // 2] + sorted_values[starts + sizes // 2]) / 2
    found = np.empty(len(values))
    found[order] = np.repeat(middle, sizes)
    return found
