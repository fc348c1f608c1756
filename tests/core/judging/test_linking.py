import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.cluster.hierarchy import DisjointSet

from fairhearing.core.judging.fair import fair_scores
from fairhearing.core.judging.linking import cross_marks, parts, weakest_link
from fairhearing.core.judging.marks import Mark, from_rows


def heard(pairs):
    student, judge = np.array(sorted(pairs)).T
    return student, judge


def test_parts_are_numbered_by_size():
    student, judge = heard({(0, 0), (1, 0), (1, 1), (2, 1), (3, 2), (4, 2)})
    found = parts(student, judge, 5, 3)
    assert found.of_student.tolist() == [0, 0, 0, 1, 1]
    assert found.of_judge.tolist() == [0, 0, 1]
    assert found.count == 2


@settings(max_examples=60, deadline=None)
@given(st.sets(st.tuples(st.integers(0, 7), st.integers(0, 4)), min_size=1))
def test_parts_agree_with_disjoint_sets(pairs):
    names = [("s", s) for s in range(8)] + [("j", j) for j in range(5)]
    sets = DisjointSet(names)
    for s, j in pairs:
        sets.merge(("s", s), ("j", j))
    student, judge = heard(pairs)
    found = parts(student, judge, 8, 5)
    for inside in sets.subsets():
        labels = {
            int((found.of_student if kind == "s" else found.of_judge)[at]) for kind, at in inside
        }
        assert len(labels) == 1
    assert found.count == sets.n_subsets


def test_added_listenings_link_everything_and_nobody_carries_all():
    pairs = {(s, 2 * (s // 6) + k) for s in range(24) for k in (0, 1)}
    student, judge = heard(pairs)
    before = parts(student, judge, 24, 8)
    additions = cross_marks(before, [0, 1, 2, 3], np.ones(24, dtype=bool))
    assert [len(one.students) for one in additions] == [4, 4, 4]
    assert len({one.judge for one in additions}) == 2
    pairs |= {(s, one.judge) for one in additions for s in one.students}
    student, judge = heard(pairs)
    assert parts(student, judge, 24, 8).count == 1


def two_groups(bridges):
    pairs = {(s, j) for s in range(12) for j in (0, 1, 2)}
    pairs |= {(s, j) for s in range(12, 30) for j in (3, 4, 5)}
    return pairs | {(s, 3) for s in range(bridges)}


@pytest.mark.parametrize("bridges", [1, 2, 3, 6])
def test_the_thinnest_bridge_is_found(bridges):
    student, judge = heard(two_groups(bridges))
    weak = weakest_link(student, judge, 30, 6)
    assert weak is not None
    assert weak.judges == (0, 1, 2)
    assert weak.students == tuple(range(bridges))
    assert (weak.alone, weak.others) == (12 - bridges, 18)


def test_complete_panels_have_no_weak_link():
    student, judge = heard(set(itertools.product(range(6), range(4))))
    assert weakest_link(student, judge, 6, 4) is None


def test_a_ranking_that_hangs_on_one_student_says_so():
    def scores(bridges):
        rng = np.random.default_rng(1)
        return fair_scores(
            from_rows(
                Mark(f"{s:02}", f"J{j}", "t", float(rng.integers(4, 10)))
                for s, j in sorted(two_groups(bridges))
            )
        )

    (note,) = scores(1).notes
    assert (
        "11 students heard by judges J0, J1 and J2 only are linked to the 18 others by 00" in note
    )
    assert scores(5).notes == ()
    # The uncertainty of the comparison across the bridge is in the standard errors of pairs.
    across = {}
    for bridges in (1, 5):
        c = scores(bridges).covariance([10, 20])
        across[bridges] = c[0, 0] + c[1, 1] - 2 * c[0, 1]
    assert across[1] > 1.5 * across[5]
