"""How sure a seat is: the plan drawn again many times with scores as uncertain as they are.

Every audition's score is drawn anew from a normal distribution around it with its standard error;
everybody is seated with the same chairs; counted is how often a student sits in the same ensemble.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from typing import Literal

import numpy as np

from fairhearing.core.seating.market import Market, build
from fairhearing.core.seating.plan import SeatPlan
from fairhearing.core.seating.problem import SCORE_DECIMALS, Wish, lot
from fairhearing.core.seating.proposals import NOWHERE, deferred_acceptance

Sureness = Literal["sure", "probable", "borderline"]
SURE, PROBABLE = 0.95, 0.80


@dataclass(frozen=True, slots=True)
class Standing:
    """How sure one student's ensemble is.

    Attributes
    ----------
    student : str
    share : float or None
        Share of the redraws in which the student sits in the same ensemble (or has no seat, like
        now); None where a score has no standard error.
    word : {"sure", "probable", "borderline"} or None
    ensembles : dict of str to float
        Share of the redraws by ensemble; "" is no seat.
    """

    student: str
    share: float | None
    word: Sureness | None
    ensembles: dict[str, float]


def sureness(share: float) -> Sureness:
    """Return the word for a share of redraws."""
    if share >= SURE:
        return "sure"
    return "probable" if share >= PROBABLE else "borderline"


def redraw(plan: SeatPlan, draws: int = 200) -> dict[str, Standing]:
    """Return how sure every student's ensemble is, by audition number.

    The draws follow from the announced lot word: the same plan gives the same answer.

    Parameters
    ----------
    plan : SeatPlan
    draws : int
        With 200 a share is good to .035 (one standard error) at worst.
    """
    arena = _Arena(plan)
    counts = np.zeros((len(arena.market.students), len(arena.ensembles) + 1), dtype=np.int64)
    everyone = np.arange(len(counts))
    seed = hashlib.sha256(f"redraw\n{plan.problem.lot}".encode()).digest()
    random = np.random.default_rng(list(seed))
    for _ in range(draws):
        counts[everyone, arena.seat(random)] += 1
    now = arena.now(plan)
    standings = {pin.student: Standing(pin.student, 1.0, "sure", {}) for pin in plan.problem.pins}
    for index, student in enumerate(arena.market.students):
        shares = {
            name: float(count) / draws
            for name, count in zip([*arena.ensembles, ""], counts[index], strict=True)
            if count
        }
        share = float(counts[index, now[index]]) / draws
        if arena.unknown[index]:
            standings[student] = Standing(student, None, None, {})
        else:
            standings[student] = Standing(student, share, sureness(share), shares)
    return standings


class _Arena:
    """All scored wishes in flat arrays, so that a redraw is one sort and one seating."""

    def __init__(self, plan: SeatPlan) -> None:
        problem = plan.problem
        self.market: Market = build(problem)
        self.ensembles = list(dict.fromkeys(one.ensemble for one in self.market.chairs))
        number = {one.id: at for at, one in enumerate(self.market.chairs)}
        # the last entry is where NOWHERE (-1) points
        self.ensemble_of = np.array(
            [self.ensembles.index(one.ensemble) for one in self.market.chairs]
            + [len(self.ensembles)]
        )
        index = {student: at for at, student in enumerate(self.market.students)}
        wishes: list[tuple[int, Wish]] = []
        for one in problem.candidates:
            if one.student in index:
                wishes += [
                    (index[one.student], wish)
                    for wish in one.wishes
                    if not wish.barred and wish.score is not None
                ]
        wishes.sort(key=lambda pair: pair[0])  # stable: keeps each student's own order
        auditions = {
            key: at for at, key in enumerate(dict.fromkeys((j, w.audition) for j, w in wishes))
        }
        self.student = np.array([j for j, _ in wishes], dtype=np.int64)
        self.chairs = np.array([number[w.chairs] for _, w in wishes], dtype=np.int64)
        self.group = np.array([w.group for _, w in wishes], dtype=np.int64)
        self.audition = np.array([auditions[j, w.audition] for j, w in wishes], dtype=np.int64)
        self.score = np.array([w.score for _, w in wishes], dtype=np.float64)
        self.counted = np.array([w.order_score for _, w in wishes], dtype=np.float64)
        self.error = np.array([w.se or 0.0 for _, w in wishes], dtype=np.float64)
        self.minimum = np.array(
            [-np.inf if w.minimum is None else w.minimum for _, w in wishes], dtype=np.float64
        )
        ties = sorted(
            range(len(wishes)),
            key=lambda at: (
                wishes[at][1].place or 0,
                tuple(-value for value in wishes[at][1].tie),
                lot(problem.lot, self.market.students[wishes[at][0]]),
            ),
        )
        self.tie = np.empty(len(wishes), dtype=np.int64)
        self.tie[ties] = np.arange(len(wishes))
        self.unknown = np.zeros(len(self.market.students), dtype=bool)
        self.unknown[[j for j, w in wishes if w.se is None]] = True
        self.auditions = len(auditions)
        self.starts = np.searchsorted(self.student, np.arange(len(self.market.students) + 1))
        pinned = {pin.student for pin in problem.pins}
        self.sizes = [plan.sizes[one.id] for one in self.market.chairs]
        for student in pinned:
            if (where := plan.where(student)) is not None:
                self.sizes[number[where]] -= 1

    def seat(self, random: np.random.Generator) -> np.ndarray:
        """Return the number of the ensemble of every student after one redraw."""
        noise = random.standard_normal(self.auditions)
        drawn = self.error * noise[self.audition]
        score = np.round(self.score + drawn, SCORE_DECIMALS)
        counted = np.round(self.counted + drawn, SCORE_DECIMALS)
        order = np.lexsort((self.tie, -counted, self.group, self.chairs))
        rank = np.empty(len(order), dtype=np.int64)
        rank[order] = np.arange(len(order))  # only the order within chairs matters
        may = score >= self.minimum
        ranks, chairs = rank.tolist(), self.chairs.tolist()
        spans = list(zip(self.starts[:-1].tolist(), self.starts[1:].tolist(), strict=True))
        if may.all():
            wants = [chairs[a:b] for a, b in spans]
            placed = [ranks[a:b] for a, b in spans]
        else:
            allowed = may.tolist()
            wants = [[chairs[i] for i in range(a, b) if allowed[i]] for a, b in spans]
            placed = [[ranks[i] for i in range(a, b) if allowed[i]] for a, b in spans]
        seated = deferred_acceptance(wants, placed, self.sizes)
        found: np.ndarray = self.ensemble_of[np.array(seated, dtype=np.int64)]
        return found

    def now(self, plan: SeatPlan) -> np.ndarray:
        """Return the number of the ensemble of every student in the plan."""
        number = {one.id: at for at, one in enumerate(self.market.chairs)}
        where = [plan.where(student) for student in self.market.students]
        at = np.array([NOWHERE if one is None else number[one] for one in where], dtype=np.int64)
        found: np.ndarray = self.ensemble_of[at]
        return found
