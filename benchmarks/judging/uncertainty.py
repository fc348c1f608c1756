"""Are the stated probabilities true, and does a second listening pay where the program says?"""

from __future__ import annotations

import numpy as np

from benchmarks.judging.accuracy import JUDGES, PER_TAKE, STUDENTS
from benchmarks.judging.references import right_third
from benchmarks.judging.simulator import CRITERIA, judges, season
from fairhearing.core.judging.fair import FairScores, fair_scores
from fairhearing.core.judging.listen_again import listen_again
from fairhearing.core.judging.marks import Marks
from fairhearing.core.judging.too_close import probabilities, true_spread

EDGES = np.array([0.5, 0.55, 0.6, 0.65, 0.7, 0.75, 0.8, 0.85, 0.9, 0.95, 1.0001])
LINES = {"": (134, 267)}


def calibration(seeds: range, mode: str) -> dict[str, np.ndarray]:
    """Return for each statement the columns stated, true, pairs over bins of the statement.

    "better": the higher score is the better player. "reversed": another panel, drawn from the
    same pool of judges, has the other order (stated as 1 - p).
    """
    sums = {name: np.zeros((len(EDGES) - 1, 3)) for name in ("better", "reversed")}
    n = 200
    for seed in seeds:
        rng = np.random.default_rng(seed)
        ability = rng.normal(0, 1, n)
        profile = rng.normal(0, 0.4, (n, len(CRITERIA)))
        same = {"mode": mode, "ability": ability, "profile": profile}
        marks, true = season(rng, n, JUDGES, PER_TAKE, **same)
        other, _ = season(rng, n, JUDGES, PER_TAKE, **same)
        scores, again = fair_scores(marks), fair_scores(other)
        a, b = rng.integers(0, n, (2, 3000))
        a, b = a[a != b], b[a != b]
        stated = _stated(scores, a, b)
        order = np.sign(scores.fair[a] - scores.fair[b])
        outcomes = {
            "better": order * (true[a] - true[b]) > 0,
            "reversed": order * (again.fair[a] - again.fair[b]) > 0,
        }
        for name, p in stated.items():
            bins = np.digitize(p, EDGES) - 1
            for column, values in enumerate((p, outcomes[name], np.ones(len(p)))):
                sums[name][:, column] += np.bincount(bins, values, len(EDGES) - 1)
    return {name: _means(total) for name, total in sums.items()}


def _stated(scores: FairScores, a: np.ndarray, b: np.ndarray) -> dict[str, np.ndarray]:
    covariance = scores.covariance(np.arange(len(scores.fair)))
    variance = covariance[a, a] + covariance[b, b] - 2 * covariance[a, b]
    difference = np.abs(scores.fair[a] - scores.fair[b])
    better, again = probabilities(difference, variance, true_spread(scores))
    return {"better": better, "reversed": 1 - again}


def _means(sums: np.ndarray) -> np.ndarray:
    found = sums.copy()
    found[:, :2] /= np.maximum(sums[:, 2:], 1)
    return found


def independent_criteria(seeds: range) -> tuple[float, float]:
    """Return stated and true probability near .85 if criteria are wrongly taken as independent."""
    stated, true = [], []
    for seed in seeds:
        rng = np.random.default_rng(seed)
        marks, ability = season(rng, 200, JUDGES, PER_TAKE)
        split = Marks(
            **{field: getattr(marks, field) for field in marks.__dataclass_fields__}
            | {
                "judges": tuple(
                    f"{judge} {criterion}" for judge in marks.judges for criterion in CRITERIA
                ),
                "judge": marks.judge * len(CRITERIA) + marks.criterion,
            }
        )
        scores = fair_scores(split)
        a, b = rng.integers(0, 200, (2, 3000))
        a, b = a[a != b], b[a != b]
        p = _stated(scores, a, b)["better"]
        near = (p > 0.8) & (p < 0.9)
        right = (scores.fair[a] - scores.fair[b]) * (ability[a] - ability[b]) > 0
        stated += p[near].tolist()
        true += right[near].tolist()
    return float(np.mean(stated)), float(np.mean(true))


def second_listening(seeds: range) -> dict[str, float]:
    """Return the share in the right third under several ways to spend more listenings."""
    found: dict[str, list[float]] = {}
    for seed in seeds:
        rng = np.random.default_rng(seed)
        who = judges(rng, JUDGES)
        heard = np.argsort(rng.random((STUDENTS, JUDGES)), axis=1)[:, : PER_TAKE + 1]
        marks, true = season(rng, STUDENTS, JUDGES, PER_TAKE + 1, who=who, heard=heard)
        slot = np.tile(np.repeat(np.arange(PER_TAKE + 1), len(CRITERIA)), STUDENTS)
        three = marks.subset(slot < PER_TAKE)
        scores = fair_scores(three)
        order = {"": np.argsort(-scores.fair, kind="stable").tolist()}
        again = listen_again(scores, order, LINES, share=0.2)
        count = len(again.takes)
        choices = {
            "a fourth judge for the 20 % on the list": [take.unit for take in again.takes],
            "for a random 20 %": rng.permutation(STUDENTS)[:count],
            "for the 20 % judges disagree on most": np.argsort(-_disagreement(scores))[:count],
            "for everyone": np.arange(STUDENTS),
        }
        found.setdefault("three judges", []).append(right_third(scores.fair, true))
        for name, chosen in choices.items():
            listed = np.zeros(STUDENTS, dtype=bool)
            listed[chosen] = True
            more = fair_scores(marks.subset((slot < PER_TAKE) | listed[marks.student]))
            found.setdefault(name, []).append(right_third(more.fair, true))
        found.setdefault("stated before", []).append(1 - again.wrong_now / STUDENTS)
        found.setdefault("stated after", []).append(1 - again.wrong_after / STUDENTS)
    return {name: float(np.mean(values)) for name, values in found.items()}


def _disagreement(scores: FairScores) -> np.ndarray:
    value = scores.heard.mean(scores.marks, scores.adjusted)
    mean = np.bincount(scores.heard.student, value) / scores.heard.per_student
    return np.bincount(scores.heard.student, (value - mean[scores.heard.student]) ** 2)
