"""Do fair scores find the better player? Against raw means, dropped extremes and z-scores."""

from __future__ import annotations

import numpy as np

from benchmarks.judging.references import drop_high_low, raw_mean, right_third, tau, z_score
from benchmarks.judging.simulator import season
from fairhearing.core.errors import JudgingError
from fairhearing.core.judging.fair import fair_scores
from fairhearing.core.judging.marks import Marks

STUDENTS, JUDGES, PER_TAKE = 400, 12, 3
METHODS = {
    "raw mean": raw_mean,
    "highest and lowest dropped": drop_high_low,
    "z-score per judge": z_score,
    "fair score, equal votes": lambda m: fair_scores(m, precision_weights=False).fair,
    "fair score": lambda m: fair_scores(m).fair,
}


def ranking(seeds: range) -> dict[str, dict[str, tuple[float, float]]]:
    """Return Kendall's tau and the share in the right third, by panel mode and method."""
    found: dict[str, dict[str, tuple[float, float]]] = {}
    for mode in ("random", "ability"):
        sums = {name: np.zeros(2) for name in METHODS}
        for seed in seeds:
            marks, true = season(np.random.default_rng(seed), STUDENTS, JUDGES, PER_TAKE, mode=mode)
            for name, method in METHODS.items():
                scores = method(marks)
                sums[name] += tau(scores, true), right_third(scores, true)
        found[mode] = {name: tuple(total / len(seeds)) for name, total in sums.items()}
    return found


def closed_panels(seeds: range) -> tuple[int, dict[int, float]]:
    """Return how many closed seasons were refused, and tau by cross-marks a panel."""
    refused = 0
    by_added: dict[int, list[float]] = {1: [], 4: [], 8: []}
    for seed in seeds:
        rng = np.random.default_rng(seed)
        marks, _ = season(rng, STUDENTS, JUDGES, PER_TAKE, mode="unlinked")
        try:
            fair_scores(marks)
        except JudgingError:
            refused += 1
        for added, taus in by_added.items():
            linked, true = _with_cross_marks(seed, added)
            taus.append(tau(fair_scores(linked).fair, true))
    return refused, {added: float(np.mean(taus)) for added, taus in by_added.items()}


def _with_cross_marks(seed: int, added: int) -> tuple[Marks, np.ndarray]:
    """Closed panels; then a judge of each panel also hears `added` students of the next one."""
    rng = np.random.default_rng(seed)
    group = rng.integers(0, JUDGES // PER_TAKE, STUDENTS)
    heard = group[:, None] * PER_TAKE + np.arange(PER_TAKE)
    extra = np.full((STUDENTS, 1), -1)
    n_groups = JUDGES // PER_TAKE
    for panel in range(n_groups):
        inside = rng.permutation(np.flatnonzero(group == (panel + 1) % n_groups))[:added]
        extra[inside, 0] = panel * PER_TAKE
    marks, true = season(
        rng, STUDENTS, JUDGES, PER_TAKE + 1, heard=np.column_stack([heard, np.maximum(extra, 0)])
    )
    n_criteria = len(marks.criteria)
    slot = np.tile(np.repeat(np.arange(PER_TAKE + 1), n_criteria), STUDENTS)
    keep = (slot < PER_TAKE) | (extra[marks.student, 0] >= 0)
    return marks.subset(keep), true


def listening_order(seeds: range) -> dict[str, float]:
    """Return tau when judges drift: everyone in roster order, or each in an own shuffle."""
    found: dict[str, list[float]] = {"roster order": [], "own shuffle": [], "no drift": []}
    for seed in seeds:
        rng = np.random.default_rng(seed)
        marks, true = season(rng, STUDENTS, JUDGES, PER_TAKE)
        size = rng.normal(1.5, 0.5, JUDGES)
        shuffled = np.empty(len(marks.mark))
        for judge in range(JUDGES):
            rows = np.flatnonzero(marks.judge == judge)
            units, at = np.unique(marks.student[rows], return_inverse=True)
            shuffled[rows] = rng.permutation(len(units))[at] / len(units)
        late = {
            "roster order": marks.student / STUDENTS,
            "own shuffle": shuffled,
            "no drift": np.zeros(len(marks.mark)),
        }
        for name, place in late.items():
            moved = marks.mark + size[marks.judge] * place
            again = Marks(
                **{field: getattr(marks, field) for field in marks.__dataclass_fields__}
                | {"mark": moved}
            )
            found[name].append(tau(fair_scores(again).fair, true))
    return {name: float(np.mean(taus)) for name, taus in found.items()}
