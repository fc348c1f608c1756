"""Published examples: stable matchings and the assignment of least cost.

Gale & Shapley 1962, "College admissions and the stability of marriage", Amer. Math. Monthly
69:9–15, examples 1 and 3. The assignment example stands in the documentation of OR-Tools
("Solving an assignment problem"): 265, which scipy.optimize.linear_sum_assignment confirms.
"""

from __future__ import annotations

from itertools import permutations

import numpy as np
from scipy.optimize import linear_sum_assignment

from fairhearing.core.seating import (
    Candidate,
    Chairs,
    Problem,
    Wish,
    faults,
    justified_envy,
    propose,
    seat,
)
from fairhearing.core.seating.bound import Flow
from fairhearing.core.seating.costs import ChairCosts
from fairhearing.core.seating.market import build

# Example 1: each row a man with his order of the women; in brackets the women's order of the men.
CYCLE = [[(1, 3), (2, 2), (3, 1)], [(3, 1), (1, 3), (2, 2)], [(2, 2), (3, 1), (1, 3)]]
# Example 3: rows alpha to delta, columns A to D; the only stable set is named in the paper.
FOUR = [
    [(1, 3), (2, 3), (3, 2), (4, 3)],
    [(1, 4), (4, 1), (3, 3), (2, 2)],
    [(2, 2), (1, 4), (3, 4), (4, 1)],
    [(4, 1), (2, 2), (3, 1), (1, 4)],
]


def _problem(table: list[list[tuple[int, int]]]) -> Problem:
    size = len(table)
    chairs = [Chairs(str(w), f"{w}", "chair", 1, 1, 1, 1) for w in range(size)]
    candidates = [
        Candidate(
            str(m),
            tuple(
                Wish(str(w), float(-table[m][w][1]))
                for w in sorted(range(size), key=lambda w: table[m][w][0])
            ),
        )
        for m in range(size)
    ]
    return Problem(tuple(chairs), tuple(candidates))


def _stable(table: list[list[tuple[int, int]]]) -> set[tuple[int, ...]]:
    """Return every stable matching, found by trying all and asking the independent check."""
    problem = _problem(table)
    return {
        matching
        for matching in permutations(range(len(table)))
        if not justified_envy(problem, {str(m): str(w) for m, w in enumerate(matching)})
    }


def _by_proposing(table: list[list[tuple[int, int]]]) -> tuple[tuple[int, ...], tuple[int, ...]]:
    """Return the matching when the rows propose, and when the columns do."""
    size = range(len(table))
    rows = {m: sorted(size, key=lambda w: table[m][w][0]) for m in size}
    columns = {w: sorted(size, key=lambda m: table[m][w][1]) for w in size}
    mine = propose(rows, columns)
    theirs = {m: w for w, m in propose(columns, rows).items()}
    return tuple(mine[m] for m in size), tuple(theirs[m] for m in size)  # type: ignore[misc]


def test_three_by_three_has_exactly_three_stable_matchings() -> None:
    assert _stable(CYCLE) == {(0, 1, 2), (1, 2, 0), (2, 0, 1)}
    assert _by_proposing(CYCLE) == ((0, 1, 2), (2, 0, 1))  # best for the rows, for the columns


def test_three_by_three_seats_every_student_at_the_first_wish() -> None:
    plan = seat(_problem(CYCLE))
    assert plan.seated == {"0": "0", "1": "1", "2": "2"}
    assert plan.proven


def test_four_by_four_is_unique() -> None:
    assert _stable(FOUR) == {(2, 3, 0, 1)}  # alpha–C, beta–D, gamma–A, delta–B
    assert _by_proposing(FOUR) == ((2, 3, 0, 1), (2, 3, 0, 1))
    plan = seat(_problem(FOUR))
    assert plan.seated == {"0": "2", "1": "3", "2": "0", "3": "1"}
    assert not faults(plan.problem, plan.seated, plan.sizes)


def test_every_filling_without_order_is_as_cheap_as_the_published_assignment() -> None:
    costs = np.array([[90, 76, 75, 70], [35, 85, 55, 65], [125, 95, 90, 105], [45, 110, 95, 115]])
    chairs = tuple(Chairs(str(t), str(t), "task", 1, 1, 1, 1) for t in range(4))
    wishes = tuple(Wish(str(t), 0.0) for t in range(4))
    market = build(Problem(chairs, tuple(Candidate(str(w), wishes) for w in range(4))))
    extra = {(w, t): int(costs[w, t]) for w in range(4) for t in range(4)}
    charges = ChairCosts([10_000] * 4, [10_000] * 4, 10_000)
    bound = Flow(market, charges, range(4), dict(enumerate(market.wants)), extra=extra).cheapest()
    assert bound is not None
    assert bound.cost == 265
    assert bound.fills == {0: 1, 1: 1, 2: 1, 3: 1}
    assert costs[linear_sum_assignment(costs)].sum() == 265
