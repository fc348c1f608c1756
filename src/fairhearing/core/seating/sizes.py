"""How many chairs to set out: the sizes that make the best fair plan, component by component.

Given the sizes, deferred acceptance seats everybody; so only the sizes are sought. Steps, each
exact: chairs nobody could reach even if every section were at its most are struck off (more
chairs never hurt a student, so that plan is the best anyone can hope for); the bound without
order gives sizes to try; if they do not reach the bound, the sizes are bettered one by one and
HiGHS proves or betters the result.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from fairhearing.core.seating.bound import lower_bound
from fairhearing.core.seating.costs import ChairCosts, cost_of, fills_of
from fairhearing.core.seating.exact import best_fills
from fairhearing.core.seating.market import Market
from fairhearing.core.seating.proposals import NOWHERE, deferred_acceptance

_TRIALS = 400  # deferred acceptances spent on bettering sizes one by one
_WORK = 400_000  # students times trials


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
    """One component: trial sizes in, charge out."""

    def __init__(
        self, market: Market, charges: ChairCosts, chairs: Sequence[int], students: Sequence[int]
    ) -> None:
        self.market, self.charges = market, charges
        self.chairs, self.students = chairs, students
        number = {at: i for i, at in enumerate(chairs)}
        self._wants = [[number[at] for at in market.wants[j]] for j in students]
        self._ranks = [market.ranks[j] for j in students]

    def seat(self, sizes: dict[int, int]) -> list[int]:
        """Return where each student of the component sits, in the order of `students`."""
        seated = deferred_acceptance(self._wants, self._ranks, [sizes[at] for at in self.chairs])
        return [at if at == NOWHERE else self.chairs[at] for at in seated]

    def outcome(self, sizes: dict[int, int]) -> tuple[int, dict[int, int]]:
        """Return the charge and the filling under these sizes."""
        seated = self.seat(sizes)
        fills = dict.fromkeys(self.chairs, 0)
        for at in seated:
            if at != NOWHERE:
                fills[at] += 1
        return cost_of(self.market, self.charges, fills, seated.count(NOWHERE)), fills


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
        Prove the result with HiGHS; else stop at the sizes bettered one by one.
    nodes, seconds
        Where HiGHS gives up; then the best sizes so far stand, with their bound.
    """
    part = _Part(market, charges, chairs, students)
    reach = part.seat({at: market.most[at] for at in chairs})
    hopeless = sum(at == NOWHERE for at in reach)
    wants = {
        j: market.wants[j][market.wants[j].index(at) :]
        for j, at in zip(students, reach, strict=True)
        if at != NOWHERE
    }
    bound = lower_bound(market, charges, chairs, wants)
    least_cost = bound.cost + charges.unseated * hopeless
    cost, sizes = min(
        (part.outcome(trial) for trial in _starts(market, chairs, bound.fills)),
        key=lambda tried: tried[0],
    )
    if cost > least_cost:
        cost, sizes = _bettered(part, cost, sizes, least_cost)
    if cost > least_cost and exact:
        fills, proven = best_fills(
            market,
            charges,
            chairs,
            wants,
            cost - charges.unseated * hopeless,
            nodes=nodes,
            seconds=seconds,
        )
        if fills is not None:
            cost, sizes = part.outcome(fills)
        if proven:
            least_cost = cost
    return Sized(sizes, cost, least_cost)


def _starts(market: Market, chairs: Sequence[int], fills: dict[int, int]) -> list[dict[int, int]]:
    return [
        fills,
        {at: market.ideal[at] for at in chairs},
        {at: market.most[at] for at in chairs},
    ]


def _bettered(
    part: _Part, cost: int, sizes: dict[int, int], least_cost: int
) -> tuple[int, dict[int, int]]:
    """Change one size by one chair as long as that lowers the charge."""
    trials = min(_TRIALS, max(20, _WORK // max(1, len(part.students))))
    going = True
    while going and cost > least_cost:
        going = False
        for at in part.chairs:
            for step in (1, -1):
                size = sizes[at] + step
                if trials == 0 or not 0 <= size <= part.market.most[at]:
                    continue
                trials -= 1
                tried, fills = part.outcome({**sizes, at: size})
                if tried < cost:
                    cost, sizes, going = tried, fills, True
    return cost, sizes


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
