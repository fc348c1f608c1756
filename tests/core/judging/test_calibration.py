"""Are the stated probabilities true? Long: many simulated seasons with a known truth."""

import numpy as np
import pytest

from fairhearing.core.judging.fair import fair_scores
from fairhearing.core.judging.marks import Mark, from_rows
from fairhearing.core.judging.too_close import probabilities, true_spread

EDGES = np.array([0.5, 0.6, 0.7, 0.8, 0.9, 0.95, 1.0001])


def calibration(seeds, n=60, judges=6, criteria=4):
    stated, true = [], []
    for seed in seeds:
        rng = np.random.default_rng(seed)
        ability = rng.normal(0, 1, n)
        severity = rng.normal(0, 0.6, judges)
        rows = []
        for s in range(n):
            for j in rng.permutation(judges)[:3]:
                # One halo moves all criteria of a listening together.
                halo = rng.normal(0, 0.5)
                for c in range(criteria):
                    mark = ability[s] - severity[j] + halo + rng.normal(0, 0.5)
                    rows.append(Mark(f"{s}", f"J{j}", f"c{c}", mark))
        scores = fair_scores(from_rows(rows))
        order = np.array([int(name) for name in scores.marks.students])
        a, b = rng.integers(0, n, (2, 1500))
        a, b = a[a != b], b[a != b]
        covariance = scores.covariance(np.arange(n))
        variance = covariance[a, a] + covariance[b, b] - 2 * covariance[a, b]
        difference = scores.fair[a] - scores.fair[b]
        better, _ = probabilities(np.abs(difference), variance, true_spread(scores))
        stated.append(better)
        true.append((ability[order[a]] > ability[order[b]]) == (difference > 0))
    return np.concatenate(stated), np.concatenate(true)


def worst(stated, true):
    bins = np.digitize(stated, EDGES) - 1
    return max(
        abs(true[bins == k].mean() - stated[bins == k].mean()) for k in range(len(EDGES) - 1)
    )


def test_probabilities_are_roughly_true_even_in_few_seasons():
    stated, true = calibration(range(12))
    assert worst(stated, true) < 0.06


@pytest.mark.long
def test_probabilities_are_true_within_two_hundredths():
    stated, true = calibration(range(1000, 1150))
    assert worst(stated, true) < 0.02
