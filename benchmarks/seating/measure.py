"""What is measured about a plan, straight from definitions."""

from __future__ import annotations

import random
import statistics
import time
from collections import Counter
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import TypeVar

from fairhearing.core.seating import (
    Problem,
    SeatPlan,
    explain_all,
    justified_envy,
    redraw,
    revise,
    seat,
    with_wishes,
    withdrawn,
)

T = TypeVar("T")


def timed(work: Callable[[], T]) -> tuple[T, float, float]:
    """Return the result, wall-clock seconds and processor seconds."""
    wall, cpu = time.perf_counter(), time.process_time()
    done = work()
    return done, time.perf_counter() - wall, time.process_time() - cpu


@dataclass(frozen=True, slots=True)
class Measured:
    charge: float
    short: int
    off: int
    unseated: int
    envious: int


def measured(problem: Problem, seated: Mapping[str, str | None]) -> Measured:
    fill = Counter(chairs for chairs in seated.values() if chairs)
    short = sum(max(0, one.least - fill[one.id]) for one in problem.chairs)
    off = sum(abs(one.ideal - fill[one.id]) for one in problem.chairs)
    unseated = sum(
        seated[one.student] is None and any(wish.possible for wish in one.wishes)
        for one in problem.candidates
    )
    costs = problem.costs
    envious = {one.student for one in justified_envy(problem, seated)}
    charge = costs.short * short + costs.off * off + costs.unseated * unseated
    return Measured(charge, short, off, unseated, len(envious))


def shuffled(problem: Problem, seed: int) -> Problem:
    draw = random.Random(seed)
    chairs, candidates = list(problem.chairs), list(problem.candidates)
    draw.shuffle(chairs)
    draw.shuffle(candidates)
    return replace(problem, chairs=tuple(chairs), candidates=tuple(candidates))


def moves_after_withdrawal(plan: SeatPlan, tried: int, seed: int) -> tuple[float, int, int]:
    """Return mean and most moves of others, and how many withdrawals left envy."""
    draw = random.Random(seed)
    students = draw.sample(sorted(plan.seats), min(tried, len(plan.seats)))
    counts, envy = [], 0
    for student in students:
        after = revise(plan, withdrawn(plan.problem, student), released=False)
        counts.append(sum(move.student != student for move in after.moves))
        envy += bool(after.envy)
    return statistics.mean(counts), max(counts), envy


def truth(plan: SeatPlan, tried: int, seed: int) -> tuple[int, int, int, int]:
    """Return (changes tried, true with the same chairs, tried anew, true with chairs sought anew).

    The second pair seats everybody from nothing, sizes included: there the explanation promises
    nothing, and the figure tells how far it holds all the same. More chairs are left out there.
    """
    problem = plan.problem
    wished = {one.student: [wish.chairs for wish in one.wishes] for one in problem.candidates}
    changes = [
        (student, change)
        for student, explanation in sorted(explain_all(plan).items())
        for change in explanation.changes
    ]
    draw = random.Random(seed)
    changes = draw.sample(changes, min(tried, len(changes)))
    kept = anew = anew_tried = 0
    for student, change in changes:
        changed = with_wishes(problem, student, change.apply)
        sizes = dict(plan.sizes)
        if change.more:
            sizes[change.chairs] += change.more
            changed = replace(
                changed,
                chairs=tuple(
                    replace(one, most=max(one.most, sizes[one.id])) for one in changed.chairs
                ),
            )

        def reached(
            where: str | None, own: list[str] = wished[student], goal: str = change.chairs
        ) -> bool:
            return where is not None and own.index(where) <= own.index(goal)

        kept += reached(seat(changed, sizes=sizes).where(student))
        if not change.more and anew_tried < 40:
            anew_tried += 1
            anew += reached(seat(changed).where(student))
    return len(changes), kept, anew_tried, anew


def sureness(plan: SeatPlan, draws: int = 200) -> tuple[dict[str, float], float]:
    """Return the share of students by word, and the processor seconds."""
    standings, _, cpu = timed(lambda: redraw(plan, draws))
    words = Counter(one.word or "unknown" for one in standings.values())
    return {word: count / len(standings) for word, count in words.items()}, cpu
