import numpy as np
import pytest

from fairhearing.core.judging.evaluate import evaluate
from fairhearing.core.judging.fair import fair_scores
from fairhearing.core.judging.marks import Mark, from_rows
from fairhearing.core.judging.reliability import reliability
from fairhearing.core.judging.rescore import place_changes

# Shrout & Fleiss 1979, Psychological Bulletin 86:420–428, table 2: six targets, four judges.
SHROUT_FLEISS = [
    [9, 2, 5, 8],
    [6, 1, 3, 2],
    [8, 4, 6, 8],
    [7, 1, 2, 6],
    [10, 5, 6, 9],
    [6, 2, 4, 7],
]


def marks(table):
    return from_rows(
        Mark(str(s), f"J{j}", "t", float(value))
        for s, row in enumerate(table)
        for j, value in enumerate(row)
    )


def test_on_a_complete_table_it_is_the_intraclass_correlation():
    found = reliability(fair_scores(marks(SHROUT_FLEISS)))
    assert found.one_listening == pytest.approx(0.715, abs=5e-4)  # ICC(3,1)
    assert found.scores == pytest.approx(0.909, abs=5e-4)  # ICC(3,4)


def test_incomplete_panels_find_it_again():
    rng = np.random.default_rng(1)
    rows = []
    for s in range(400):
        ability = rng.normal(0, 2)
        for j in rng.permutation(8)[:3]:
            rows.append(Mark(str(s), f"J{j}", "t", ability + 0.7 * j + rng.normal(0, 1)))
    found = reliability(fair_scores(from_rows(rows)))
    assert found.one_listening == pytest.approx(4 / 5, abs=0.04)
    assert found.scores == pytest.approx(4 / (4 + 1 / 3), abs=0.03)


def test_where_nothing_can_be_measured_it_is_none():
    alone = reliability(
        fair_scores(from_rows([Mark(str(s), "A", "t", float(s)) for s in range(4)]))
    )
    assert alone.one_listening is None
    equal = reliability(
        fair_scores(from_rows([Mark(str(s), j, "t", 7.0) for s in range(5) for j in "AB"]))
    )
    assert equal.scores is None


def test_a_judge_removed_shows_whose_place_changes():
    before = evaluate(marks(SHROUT_FLEISS))
    after = evaluate(before.scores.marks.without_judges(["J1"]))
    changes = place_changes(before, after)
    old = dict(zip(before.scores.marks.students, before.ranking.place.tolist(), strict=True))
    new = dict(zip(after.scores.marks.students, after.ranking.place.tolist(), strict=True))
    assert {change.student for change in changes} == {s for s in old if old[s] != new[s]}
    assert changes
    assert all(
        (change.place_before, change.place_after) == (old[change.student], new[change.student])
        for change in changes
    )
    assert "moves" in changes[0].says
    assert place_changes(before, before) == ()


def test_a_student_whose_only_judge_is_removed_has_no_place():
    rows = [Mark(str(s), j, "t", 5.0 + s) for s in range(4) for j in "AB"]
    rows += [Mark("9", "C", "t", 8.0), Mark("0", "C", "t", 5.0)]
    before = evaluate(from_rows(rows))
    after = evaluate(before.scores.marks.without_judges(["C"]))
    (lost,) = [change for change in place_changes(before, after) if change.student == "9"]
    assert lost.place_after is None
    assert "no marks left" in lost.says
