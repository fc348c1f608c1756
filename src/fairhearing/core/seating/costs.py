"""What a plan is charged for, in whole numbers, so that two plans compare exactly.

``FINE`` units make one unit of :class:`~fairhearing.core.seating.problem.Costs`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from fairhearing.core.seating.market import Market
from fairhearing.core.seating.problem import Costs
from fairhearing.core.seating.proposals import NOWHERE

FINE = 1000
_LEVELS_TOLD_APART = 10


@dataclass(frozen=True, slots=True)
class ChairCosts:
    """Charges per chairs of a market, in fine units.

    Attributes
    ----------
    short, off : list of int
        For one chair below `least`; for one chair away from `ideal`.
    unseated : int
        For a student who may sit somewhere and sits nowhere.
    """

    short: list[int]
    off: list[int]
    unseated: int

    def of_fill(self, market: Market, at: int, fill: int) -> int:
        """Return the charge for `fill` students on chairs number `at`."""
        below = max(0, market.least[at] - fill)
        return self.short[at] * below + self.off[at] * abs(fill - market.ideal[at])


def chair_costs(market: Market, costs: Costs) -> ChairCosts:
    """Return the charges; one chair off the plan counts a little more in a higher ensemble."""
    off = [
        costs.off * (FINE + max(0, _LEVELS_TOLD_APART - chairs.level)) for chairs in market.chairs
    ]
    return ChairCosts([costs.short * FINE] * len(off), off, costs.unseated * FINE)


def fills_of(seated: Sequence[int], count: int) -> list[int]:
    """Return how many sit on each of `count` chairs."""
    fills = [0] * count
    for at in seated:
        if at != NOWHERE:
            fills[at] += 1
    return fills


def cost_of(market: Market, charges: ChairCosts, fills: Mapping[int, int], nowhere: int) -> int:
    """Return the charge for some chairs and for `nowhere` students without a seat."""
    return charges.unseated * nowhere + sum(
        charges.of_fill(market, at, fill) for at, fill in fills.items()
    )
