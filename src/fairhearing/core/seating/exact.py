"""The best fair plan of connected chairs, proven: a mixed-integer programme for HiGHS.

Every fair plan is made by one line per chairs: who stands above the line may sit there. So the
unknowns are the lines. For student j and chairs s,

    a[s, j] = 1   j stands above the line of s          (falls along the order of s)
    x[s, j] = 1   j sits on s
    x[s, j] <= a[s, j];   sum of x[t, j] over t liked at least as much as s >= a[s, j]

and the charges of the filling are linear in it. After Baïou & Balinski 2000 (Discrete Appl. Math.
101:1–12) and Kwanashie & Manlove 2014 (integer programmes for hospitals/residents), with the
sizes left open.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import pairwise

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import coo_array

from fairhearing.core.seating.costs import ChairCosts
from fairhearing.core.seating.market import Market


class _Rows:
    """Rows of a sparse constraint matrix, low <= row · variables <= high."""

    def __init__(self) -> None:
        self.at: list[int] = []
        self.variable: list[int] = []
        self.value: list[float] = []
        self.low: list[float] = []
        self.high: list[float] = []

    def add(
        self, terms: Sequence[tuple[int, float]], low: float = -np.inf, high: float = np.inf
    ) -> None:
        row = len(self.low)
        for variable, value in terms:
            self.at.append(row)
            self.variable.append(variable)
            self.value.append(value)
        self.low.append(low)
        self.high.append(high)

    def constraint(self, variables: int) -> LinearConstraint:
        shape = (len(self.low), variables)
        matrix = coo_array((self.value, (self.at, self.variable)), shape=shape).tocsr()
        return LinearConstraint(matrix, self.low, self.high)


def best_fills(
    market: Market,
    charges: ChairCosts,
    wants: Mapping[int, Sequence[int]],
    ranges: Mapping[int, tuple[int, int]],
    seated: frozenset[int] = frozenset(),
    *,
    nodes: int = 20_000,
    seconds: float = 120.0,
) -> tuple[dict[int, int] | None, bool]:
    """Return the filling of the cheapest fair plan.

    Parameters
    ----------
    market, charges
        The whole market and its charges, in fine units.
    wants : mapping of int to sequence of int
        Per student the chairs that are possible, the dearest first.
    ranges : mapping of int to (int, int)
        The chairs looked at, with their fewest and most players.
    seated : frozenset of int
        Students who have one of these chairs in every plan that is looked for.
    nodes, seconds : int, float
        Where to give up. The nodes come first, so that the same input ends the same way.

    Returns
    -------
    fills : dict of int to int, or None
        None where there is no such plan, or none was found before giving up.
    proven : bool
        Whether that is proven.
    """
    chairs = list(ranges)
    pair = {(j, at): i for i, (j, at) in enumerate((j, at) for j in wants for at in wants[j])}
    m, n = len(pair), len(chairs)
    rows = _Rows()
    for j, wanted in wants.items():
        so_far: list[tuple[int, float]] = []
        for at in wanted:
            x, a = pair[j, at], m + pair[j, at]
            rows.add([(x, 1.0), (a, -1.0)], high=0.0)
            so_far = [*so_far, (x, 1.0)]
            rows.add([*so_far, (a, -1.0)], low=0.0)
        rows.add(so_far, low=1.0 if j in seated else 0.0, high=1.0)
    cost = np.zeros(2 * m + 3 * n)
    cost[:m] = -charges.unseated
    for i, at in enumerate(chairs):
        line = [j for j in market.order[at] if (j, at) in pair]
        for upper, lower in pairwise(line):
            rows.add([(m + pair[upper, at], 1.0), (m + pair[lower, at], -1.0)], low=0.0)
        filling = [(pair[j, at], 1.0) for j in line]
        under, over, short = (2 * m + i + step * n for step in range(3))
        rows.add([*filling, (under, 1.0)], low=market.ideal[at])
        rows.add([*filling, (over, -1.0)], high=market.ideal[at])
        rows.add([*filling, (short, 1.0)], low=market.least[at])
        rows.add(filling, *ranges[at])
        cost[under] = cost[over] = charges.off[at]
        cost[short] = charges.short[at]
    whole = np.zeros(len(cost), dtype=np.int64)
    whole[m : 2 * m] = 1
    top = np.concatenate([np.ones(2 * m), np.full(3 * n, np.inf)])
    done = milp(
        cost,
        constraints=rows.constraint(len(cost)),
        integrality=whole,
        bounds=Bounds(0, top),
        options={"mip_rel_gap": 0.0, "node_limit": nodes, "time_limit": seconds},
    )
    if done.x is None:
        return None, done.status == 2  # 2: infeasible
    fills = {
        at: round(sum(done.x[pair[j, at]] for j in market.order[at] if (j, at) in pair))
        for at in chairs
    }
    return fills, done.status == 0
