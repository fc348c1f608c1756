"""What no plan can better: the cheapest filling of the chairs when the order of scores is ignored.

Students who want the same chairs are one class, so the linear programme is small: a flow from
classes to chairs with convex charges for the filling. Its corner solutions are whole numbers
(total unimodularity; Ahuja, Magnanti, Orlin, *Network Flows*, 1993, ch. 11).
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy.optimize import linprog
from scipy.sparse import coo_array, csr_array, vstack

from fairhearing.core.errors import SeatingError
from fairhearing.core.seating.costs import ChairCosts
from fairhearing.core.seating.market import Market


@dataclass(frozen=True, slots=True)
class Bound:
    """The cheapest filling without order.

    Attributes
    ----------
    cost : int
        Its charge, fine units.
    fills : dict of int to int
        Players on each chairs.
    worth : dict of int to int
        What one more player is worth on each chairs (the dual prices, rounded).
    """

    cost: int
    fills: dict[int, int]
    worth: dict[int, int]


class Flow:
    """The linear programme of one component.

    Parameters
    ----------
    market, charges
        The whole market and its charges.
    chairs : sequence of int
        The chairs looked at.
    wants : mapping of int to sequence of int
        Per student the chairs that are possible.
    low, high : mapping of int to int, optional
        The fewest and most players on each chairs; 0 and `most` if not given.
    seated : set of int, optional
        Students who have a seat in every plan that is looked for.
    extra : mapping of (student, chairs) to int, optional
        A charge for seating this student there, in fine units.
    """

    def __init__(
        self,
        market: Market,
        charges: ChairCosts,
        chairs: Sequence[int],
        wants: Mapping[int, Sequence[int]],
        *,
        low: Mapping[int, int] | None = None,
        high: Mapping[int, int] | None = None,
        seated: frozenset[int] = frozenset(),
        extra: Mapping[tuple[int, int], int] | None = None,
    ) -> None:
        extra = extra or {}
        self.market, self.charges, self.chairs = market, charges, chairs
        self.low = low or dict.fromkeys(chairs, 0)
        self.high = high or {at: market.most[at] for at in chairs}
        self.kinds = sorted(
            Counter(
                (
                    tuple(sorted((at, extra.get((student, at), 0)) for at in possible)),
                    student in seated,
                )
                for student, possible in wants.items()
                if possible
            ).items()
        )

    def cheapest(self) -> Bound | None:
        """Return the cheapest filling, whoever is passed over by it; None if there is none."""
        pairs = [
            (c, at, price) for c, ((kind, _), _) in enumerate(self.kinds) for at, price in kind
        ]
        cost, matrix, upper = self._programme(pairs)
        done = linprog(  # type: ignore[call-overload]  # the stubs know dense matrices only
            cost, A_ub=matrix, b_ub=upper, bounds=(0, None), method="highs"
        )
        if done.status == 2:  # infeasible: more players must sit here than can
            return None
        if done.x is None:
            raise SeatingError(f"the chairs could not be counted out ({done.message})")
        n = len(self.chairs)
        fills = dict.fromkeys(self.chairs, 0.0)
        for (_, at, _), amount in zip(pairs, done.x, strict=False):
            fills[at] += float(amount)
        dual = -np.asarray(done.ineqlin.marginals)[len(upper) - 5 * n :].reshape(5, n)
        worth = dual[0] - dual[1] + dual[2] - dual[3] + dual[4]
        students = sum(size for _, size in self.kinds)
        return Bound(
            round(float(done.fun)) + self.charges.unseated * students,
            {at: round(amount) for at, amount in fills.items()},
            {at: round(float(value)) for at, value in zip(self.chairs, worth, strict=True)},
        )

    def ranges(self, bound: Bound, budget: int) -> dict[int, tuple[int, int]] | None:
        """Return between which numbers of players each chairs must stay within a charge.

        Lagrangian bound: with each player paid for at `worth`, chairs and classes fall apart;
        what one filling costs above the cheapest is added to the sum. Exact for any prices.

        Returns
        -------
        dict of int to (int, int), or None
            None where no filling at all stays within `budget`.
        """
        total = 0
        for (kind, fixed), size in self.kinds:
            best = min(price - bound.worth[at] for at, price in kind)
            total += size * (best if fixed else min(best, self.charges.unseated))
        priced: dict[int, list[int]] = {}
        for at in self.chairs:
            fills = range(self.low[at], self.high[at] + 1)
            priced[at] = [
                self.charges.of_fill(self.market, at, fill) + bound.worth[at] * fill
                for fill in fills
            ]
            total += min(priced[at])
        found = {}
        for at, values in priced.items():
            left = budget - total + min(values)
            good = [self.low[at] + i for i, value in enumerate(values) if value <= left]
            if not good:
                return None
            found[at] = good[0], good[-1]
        return found

    def _programme(
        self, pairs: Sequence[tuple[int, int, int]]
    ) -> tuple[np.ndarray, csr_array[Any], list[float]]:
        """Return cost, matrix and right side; variables: pairs | below | above ideal | short."""
        market, charges, chairs = self.market, self.charges, self.chairs
        m, n, k = len(pairs), len(chairs), len(self.kinds)
        index = {at: i for i, at in enumerate(chairs)}
        off = [charges.off[at] for at in chairs]
        short = [charges.short[at] for at in chairs]
        prices = [price - charges.unseated for _, _, price in pairs]
        cost = np.array([*prices, *off, *off, *short], dtype=np.float64)
        shape = (n, m + 3 * n)
        where = [index[at] for _, at, _ in pairs]
        filling = coo_array((np.ones(m), (where, range(m))), shape=shape).tocsr()
        owner = [c for c, _, _ in pairs]
        groups = coo_array((np.ones(m), (owner, range(m))), shape=(k, m + 3 * n)).tocsr()

        def slack(block: int) -> csr_array[Any]:
            cols = range(m + block * n, m + (block + 1) * n)
            return coo_array((np.ones(n), (range(n), cols)), shape=shape).tocsr()

        fixed = [c for c, ((_, must), _) in enumerate(self.kinds) if must]
        matrix = vstack(
            [
                groups,
                -groups[fixed],
                -filling - slack(0),
                filling - slack(1),
                -filling - slack(2),
                filling,
                -filling,
            ]
        )
        upper = [
            *(size for _, size in self.kinds),
            *(-self.kinds[c][1] for c in fixed),
            *(-market.ideal[at] for at in chairs),
            *(market.ideal[at] for at in chairs),
            *(-market.least[at] for at in chairs),
            *(self.high[at] for at in chairs),
            *(-self.low[at] for at in chairs),
        ]
        return cost, matrix.tocsr(), [float(value) for value in upper]
