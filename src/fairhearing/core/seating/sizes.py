"""How many chairs to set out: the sizes that make the best fair plan, component by component.

Given the sizes, deferred acceptance seats everybody; so only the sizes are sought. The steps:

1. Chairs that a student could not reach even if every section were at its most are struck off his
   or her list (more chairs never hurt a student, so that plan is the best anyone can hope for).
2. The bound without order (:mod:`fairhearing.core.seating.bound`) and sizes bettered one chair at a
   time (:mod:`fairhearing.core.seating.stable`). Where they meet, the plan is proven.
3. Else the bound tells between which numbers each section must stay for a *better* plan to exist;
   seating everybody with the least and with the most of these strikes off more chairs; again
   until nothing changes, or no better plan can exist.
4. What is left goes to HiGHS (:mod:`fairhearing.core.seating.exact`), which finds the better plan
   or proves that there is none.
5. Of plans with the same charge, one that nobody could better for a student by adding a chair.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from fairhearing.core.errors import SeatingError
from fairhearing.core.seating.bound import Bound, Flow
from fairhearing.core.seating.costs import ChairCosts, fills_of
from fairhearing.core.seating.exact import best_fills
from fairhearing.core.seating.market import Market
from fairhearing.core.seating.proposals import NOWHERE, deferred_acceptance
from fairhearing.core.seating.stable import Stable, bettered, gladdened

_ROUNDS = 8


@dataclass(frozen=True, slots=True)
class Sized:
    """The sizes of connected chairs.

    Attributes
    ----------
    sizes : dict of int to int
    cost, bound : int
        The charge of the plan and the least charge that any fair plan can have, fine units;
        equal where proven.
    """

    sizes: dict[int, int]
    cost: int
    bound: int


class _Part:
    """One component with chairs and students numbered from 0, as far as they can matter."""

    def __init__(
        self, market: Market, charges: ChairCosts, chairs: Sequence[int], students: Sequence[int]
    ) -> None:
        self.market, self.charges = market, charges
        self.chairs, self.students = chairs, students
        number = {at: i for i, at in enumerate(chairs)}
        local = {j: i for i, j in enumerate(students)}
        self.wants = [[number[at] for at in market.wants[j]] for j in students]
        self.ranks = [market.ranks[j] for j in students]
        self.order = [[local[j] for j in market.order[at]] for at in chairs]
        self.low = [0] * len(chairs)
        self.high = [market.most[at] for at in chairs]
        self.charge = [
            [charges.of_fill(market, at, fill) for fill in range(market.most[at] + 1)]
            for at in chairs
        ]
        # the part of each list that is still possible: wishes first..last, and whether "no seat" is
        self.first = [0] * len(students)
        self.last = [len(wanted) for wanted in self.wants]
        self.narrow()

    def narrow(self) -> bool:
        """Strike off what nobody reaches between `low` and `high`; tell whether that was news."""
        before = sum(self.last) - sum(self.first)
        for sizes, best in ((self.high, True), (self.low, False)):
            for i, at in enumerate(deferred_acceptance(self.wants, self.ranks, sizes)):
                place = len(self.wants[i]) if at == NOWHERE else self.wants[i].index(at)
                if best:
                    self.first[i] = max(self.first[i], place)
                else:
                    self.last[i] = min(self.last[i], place)
        return sum(self.last) - sum(self.first) < before

    def possible(self) -> dict[int, list[int]]:
        """Return, per student who may get a seat, the chairs still possible (market numbers)."""
        return {
            j: [self.chairs[at] for at in self.wants[i][self.first[i] : self.last[i] + 1]]
            for i, j in enumerate(self.students)
            if self.first[i] < len(self.wants[i])
        }

    def surely(self) -> frozenset[int]:
        """Return the students who have a seat in every plan that is left."""
        return frozenset(
            j for i, j in enumerate(self.students) if self.last[i] < len(self.wants[i])
        )

    def flow(self) -> Flow:
        """Return the programme without order for what is still possible."""
        return Flow(
            self.market,
            self.charges,
            self.chairs,
            self.possible(),
            low=dict(zip(self.chairs, self.low, strict=True)),
            high=dict(zip(self.chairs, self.high, strict=True)),
            seated=self.surely(),
        )

    @property
    def hopeless(self) -> int:
        """The charge for those who get no seat in any plan that is left."""
        nowhere = sum(f == len(wanted) for f, wanted in zip(self.first, self.wants, strict=True))
        return self.charges.unseated * nowhere

    def confine(self, flow: Flow, found: Bound, budget: int) -> bool:
        """Narrow sizes and lists to plans within a charge; False when there is no such plan."""
        for _ in range(_ROUNDS):
            ranges = flow.ranges(found, budget - self.hopeless)
            if ranges is None:
                return False
            for i, at in enumerate(self.chairs):
                self.low[i], self.high[i] = ranges[at]
            if not self.narrow():
                return True
            flow = self.flow()
            again = flow.cheapest()
            if again is None or again.cost + self.hopeless > budget:
                return False
            found = again
        return True

    def seat(self, sizes: Sequence[int]) -> Stable:
        """Return the plan for these sizes."""
        return Stable(
            self.wants,
            self.ranks,
            self.order,
            charge=self.charge,
            unseated=self.charges.unseated,
            sizes=sizes,
        )

    def search(self, fills: Bound, at_least: int) -> tuple[int, list[int]]:
        """Return the best charge and sizes that changing chair by chair finds."""
        market, chairs = self.market, self.chairs
        starts = [
            [fills.fills[at] for at in chairs],
            [market.ideal[at] for at in chairs],
            [market.least[at] for at in chairs],
            [market.most[at] for at in chairs],
        ]
        best: tuple[int, list[int]] | None = None
        for sizes in starts:
            plan = self.seat(sizes)
            bettered(plan, starts[-1], at_least)
            if best is None or plan.cost < best[0]:
                best = plan.cost, plan.fills
            if best[0] <= at_least:
                break
        assert best is not None
        return best


def size_component(
    market: Market,
    charges: ChairCosts,
    chairs: Sequence[int],
    students: Sequence[int],
    *,
    exact: bool = True,
    nodes: int = 20_000,
    seconds: float = 120.0,
) -> Sized:
    """Return the sizes for one component.

    Parameters
    ----------
    exact : bool
        Prove the result; else stop at the sizes bettered chair by chair.
    nodes, seconds
        Where HiGHS gives up; then the best sizes so far stand, with their bound.
    """
    part = _Part(market, charges, chairs, students)
    flow = part.flow()
    found = flow.cheapest()
    if found is None:
        raise SeatingError("the chairs could not be counted out")  # nobody need sit anywhere
    least = found.cost + part.hopeless
    cost, sizes = part.search(found, least)
    if exact and cost > least and not part.confine(flow, found, cost - 1):
        least = cost
    if exact and cost > least:
        fills, proven = best_fills(
            market,
            charges,
            part.possible(),
            {at: (part.low[i], part.high[i]) for i, at in enumerate(chairs)},
            part.surely(),
            nodes=nodes,
            seconds=seconds,
        )
        if fills is not None:
            plan = part.seat([fills[at] for at in chairs])
            if plan.cost < cost:
                cost, sizes = plan.cost, plan.fills
        if proven:
            least = cost
    plan = part.seat(sizes)
    gladdened(plan, [market.most[at] for at in chairs])
    return Sized(dict(zip(chairs, plan.fills, strict=True)), plan.cost, min(least, plan.cost))


def opened(market: Market, sizes: list[int], seated: Sequence[int]) -> list[int]:
    """Return the sizes with chairs added up to `ideal` wherever nobody would take them.

    The plan stays as it is; a chair that is only empty for want of players is then a chair that
    a late entrant finds open.
    """
    claimed = [False] * len(sizes)
    for student, wanted in enumerate(market.wants):
        for at in wanted:
            if at == seated[student]:
                break
            claimed[at] = True
    fills = fills_of(seated, len(sizes))
    return [
        size if claimed[at] else max(fills[at], market.ideal[at]) for at, size in enumerate(sizes)
    ]
