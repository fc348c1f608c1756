"""What an explanation promises is applied and run again, for every student."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from dataclasses import replace

import pytest

from fairhearing.core.seating import (
    Change,
    Pin,
    Problem,
    SeatPlan,
    close_pairs,
    explain,
    explain_all,
    redraw,
    seat,
    with_wishes,
)
from fairhearing.core.seating.explain import above

Band = Callable[..., Problem]


def kept(plan: SeatPlan, student: str, change: Change) -> bool:
    """Return whether the change, applied and run again with the same chairs, does what it says."""
    problem = with_wishes(plan.problem, student, change.apply)
    sizes = dict(plan.sizes)
    if change.more:
        sizes[change.chairs] += change.more
        problem = replace(
            problem,
            chairs=tuple(replace(one, most=max(one.most, sizes[one.id])) for one in problem.chairs),
        )
    where = seat(problem, sizes=sizes).where(student)
    order = [
        wish.chairs for one in problem.candidates if one.student == student for wish in one.wishes
    ]
    return where is not None and order.index(where) <= order.index(change.chairs)


@pytest.mark.parametrize("seed", range(3))
def test_every_change_is_true_when_run_again(band: Band, seed: int) -> None:
    plan = seat(band(seed, 75, second=0.4, whole=seed == 0))
    kinds: Counter[str] = Counter()
    for student, explanation in explain_all(plan).items():
        assert explanation == explain(plan, student)
        for change in explanation.changes:
            kinds[change.kind] += 1
            assert kept(plan, student, change), (student, change)
    assert {"score", "chairs", "audition"} <= set(kinds)


@pytest.mark.parametrize("seed", range(3))
def test_a_little_less_would_not_have_been_enough(band: Band, seed: int) -> None:
    """Below the score named (to the hundredth) the student does not get there: no false modesty."""
    plan = seat(band(seed, 60, second=0.0))
    tried = 0
    for student, explanation in explain_all(plan).items():
        for change in explanation.changes:
            wish = plan.wish(student, change.chairs)
            if change.kind == "score" and wish and change.score != wish.minimum:
                tried += 1
                less = replace(change, score=(change.score or 0) - 0.0101)
                assert not kept(plan, student, less)
    assert tried > 10


def test_who_has_the_first_wish_needs_no_change(band: Band) -> None:
    plan = seat(band(1, 60))
    for student, explanation in explain_all(plan).items():
        first = next(one for one in plan.problem.candidates if one.student == student).wishes[0]
        assert (not explanation.changes and "first wish" in explanation.why) == (
            plan.where(student) == first.chairs
        )
        assert explanation.why.endswith(".")


def test_a_pinned_student_is_told_so(band: Band) -> None:
    problem = replace(
        band(1, 60), pins=(Pin("0001", "e1/tuba", "leads the section"), Pin("0002", None))
    )
    plan = seat(problem)
    assert explain(plan, "0001").says == "Seated by the director: leads the section."
    assert explain(plan, "0002").says == "Kept out by the director: no reason was written down."
    explain_all(plan)


@pytest.mark.parametrize(
    ("score", "step"),
    [(81.04, 81.05), (81.0412, 81.05), (81.0, 81.01), (0.1 + 0.2, 0.31), (-1.0, -0.99)],
)
def test_the_next_score_in_hundredths(score: float, step: float) -> None:
    assert above(score) == step


def test_close_pairs_only_where_something_is_decided(band: Band) -> None:
    plan = seat(band(2, 90, second=0.0))
    pairs = close_pairs(plan)
    assert pairs
    for pair in pairs:
        row = plan.row(pair.chairs)
        if pair.where == "line":
            assert (pair.upper, pair.lower) == (row.players[-1], row.alternates[0])
        else:
            assert (pair.upper, pair.lower) == row.players[:2]
        assert 0.5 <= pair.probability <= 1
    # scipy as the oracle of the normal distribution
    from scipy.stats import norm

    pair = pairs[0]
    a, b = plan.wish(pair.upper, pair.chairs), plan.wish(pair.lower, pair.chairs)
    assert a is not None
    assert b is not None
    expected = norm.cdf(((a.score or 0) - (b.score or 0)) / 8**0.5)
    assert pair.probability == pytest.approx(expected)
    assert close_pairs(plan, lambda *_: 1e-9)[0].verdict == "clear"


def test_redraws_tell_sure_from_borderline(band: Band) -> None:
    plan = seat(band(5, 90))
    standings = redraw(plan, 100)
    assert standings == redraw(plan, 100)
    words = Counter(one.word for one in standings.values())
    assert set(words) == {"sure", "probable", "borderline"}
    for one in standings.values():
        assert sum(one.ensembles.values()) == pytest.approx(1)

    def without_error(problem: Problem, se: float | None) -> SeatPlan:
        return seat(
            replace(
                problem,
                candidates=tuple(
                    replace(one, wishes=tuple(replace(wish, se=se) for wish in one.wishes))
                    for one in problem.candidates
                ),
            )
        )

    assert {one.share for one in redraw(without_error(plan.problem, 0.0), 20).values()} == {1.0}
    unknown = redraw(without_error(plan.problem, None), 5)
    assert {(one.share, one.word) for one in unknown.values()} == {(None, None)}


def test_what_a_family_reads_names_no_other_student(band: Band) -> None:
    plan = seat(band(3, 90, second=0.4))
    numbers = {one.student for one in plan.problem.candidates}
    for student, explanation in explain_all(plan).items():
        words = set(explanation.family.replace("(", " ").replace(")", " ").split())
        assert not words & (numbers - {student})
        assert explanation.family.endswith(".")


@pytest.mark.parametrize("seed", range(3))
def test_promises_hold_beside_pins(band: Band, seed: int) -> None:
    problem = band(seed, 80, second=0.3)
    weakest = min(problem.candidates, key=lambda one: one.wishes[0].score or 0)
    pins = (
        Pin(weakest.student, weakest.wishes[0].chairs, "leads the section"),
        Pin(problem.candidates[1].student, None),
    )
    plan = seat(replace(problem, pins=pins))
    assert plan.proven
    for student, explanation in explain_all(plan).items():
        for change in explanation.changes:
            assert kept(plan, student, change), (student, change)
    assert redraw(plan, 10)[weakest.student].word == "sure"
