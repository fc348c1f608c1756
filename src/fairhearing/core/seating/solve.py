"""From a problem to a seat plan."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping

from fairhearing.core.errors import SeatingError
from fairhearing.core.seating.costs import FINE, chair_costs, cost_of, fills_of
from fairhearing.core.seating.market import Market, build, components
from fairhearing.core.seating.plan import SeatPlan, make_plan
from fairhearing.core.seating.problem import Problem, validate
from fairhearing.core.seating.proposals import NOWHERE, deferred_acceptance
from fairhearing.core.seating.sizes import opened, size_component


def seat(
    problem: Problem,
    *,
    sizes: Mapping[str, int] | None = None,
    exact: bool = True,
    nodes: int = 20_000,
    seconds: float = 120.0,
) -> SeatPlan:
    """Return the fair seat plan that fits the instrumentation best.

    Fair means: nobody is passed over in a section for somebody who comes after them there
    (no justified envy), except for what a pin does. Among the fair plans the one with the least
    charge (:class:`~fairhearing.core.seating.problem.Costs`) is taken, and in it everybody sits
    as well as these sizes allow (student-proposing deferred acceptance).

    Parameters
    ----------
    problem : Problem
    sizes : mapping of str to int, optional
        Chairs set out, by id, pinned students included. Not given, the best sizes are sought.
    exact : bool
        Prove that the plan is best (HiGHS); False takes the heuristic's sizes.
    nodes, seconds : int, float
        Where the proof of one component is given up; the plan then tells the gap
        (``cost`` and ``bound``) and stays fair.

    Raises
    ------
    SeatingError
        If the problem contradicts itself.
    """
    validate(problem)
    market = build(problem)
    charges = chair_costs(market, problem.costs)
    pinned = Counter(pin.chairs for pin in problem.pins if pin.chairs is not None)
    if sizes is None:
        chosen, bound = _choose(market, problem, exact, nodes, seconds)
    else:
        chosen, bound = _given(market, sizes, pinned), float("-inf")
    seated = deferred_acceptance(market.wants, market.ranks, chosen)
    if sizes is None:
        chosen = opened(market, chosen, seated)
    nowhere = sum(
        bool(wanted) and at == NOWHERE for wanted, at in zip(market.wants, seated, strict=True)
    )
    fills = dict(enumerate(fills_of(seated, len(chosen))))
    cost = cost_of(market, charges, fills, nowhere)
    where: dict[str, str | None] = {
        student: None if at == NOWHERE else market.chairs[at].id
        for student, at in zip(market.students, seated, strict=True)
    }
    where |= {pin.student: pin.chairs for pin in problem.pins}
    return make_plan(
        problem,
        where,
        {one.id: size + pinned[one.id] for one, size in zip(market.chairs, chosen, strict=True)},
        cost / FINE,
        bound / FINE,
    )


def _choose(
    market: Market, problem: Problem, exact: bool, nodes: int, seconds: float
) -> tuple[list[int], float]:
    charges = chair_costs(market, problem.costs)
    sizes = [0] * len(market.chairs)
    bound = 0
    for chairs, students in components(market):
        if not students:
            bound += sum(charges.of_fill(market, at, 0) for at in chairs)
            continue
        part = size_component(
            market, charges, chairs, students, exact=exact, nodes=nodes, seconds=seconds
        )
        bound += part.bound
        for at, size in part.sizes.items():
            sizes[at] = size
    return sizes, bound


def _given(market: Market, sizes: Mapping[str, int], pinned: Mapping[str, int]) -> list[int]:
    for one in market.chairs:
        size = sizes.get(one.id)
        if size is None or not pinned.get(one.id, 0) <= size <= one.most:
            raise SeatingError(
                f"{size} chairs for {one.instrument} in {one.ensemble} do not fit the plan "
                f"(at most {one.most}, {pinned.get(one.id, 0)} of them pinned)"
            )
    return [sizes[one.id] - pinned.get(one.id, 0) for one in market.chairs]
