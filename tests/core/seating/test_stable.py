"""Sizes changed chair by chair against seating everybody anew."""

from __future__ import annotations

import random
from collections.abc import Callable

import pytest

from fairhearing.core.seating import Problem, deferred_acceptance
from fairhearing.core.seating.costs import chair_costs, cost_of, fills_of
from fairhearing.core.seating.market import build
from fairhearing.core.seating.stable import Stable

Band = Callable[..., Problem]


@pytest.mark.parametrize("seed", range(5))
def test_chains_end_where_seating_anew_does(band: Band, seed: int) -> None:
    """The filling and the charge agree with deferred acceptance after every change, and back."""
    problem = band(seed, 80, second=0.5)
    market = build(problem)
    charges = chair_costs(market, problem.costs)
    chairs = range(len(market.chairs))
    charge = [
        [charges.of_fill(market, at, fill) for fill in range(market.most[at] + 1)] for at in chairs
    ]
    plan = Stable(
        market.wants,
        market.ranks,
        market.order,
        charge=charge,
        unseated=charges.unseated,
        sizes=market.ideal,
    )
    draw = random.Random(seed)
    for step in range(120):
        kept = plan.cost, plan.fills, list(plan.sizes)
        at = draw.choice(chairs)
        if draw.random() < 0.5 and plan.held[at]:
            plan.shrink(at)
        elif plan.sizes[at] < market.most[at]:
            plan.grow(at)
        seated = deferred_acceptance(market.wants, market.ranks, plan.sizes)
        assert fills_of(seated, len(charge)) == plan.fills
        fills = dict(enumerate(plan.fills))
        nowhere = seated.count(-1)
        assert cost_of(market, charges, fills, nowhere) == plan.cost
        if step % 3:
            plan.take_back()
            assert (plan.cost, plan.fills, plan.sizes) == kept
        else:
            plan.keep()
