import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fairhearing.core.errors import JudgingError, TableError
from fairhearing.core.judging.fair import fair_scores
from fairhearing.core.judging.marks import Mark, Marks, from_rows, natural_key

# Montgomery 2001, Design and Analysis of Experiments, ch. 4: a balanced incomplete block design
# (time of reaction, four catalysts in four batches of raw material).
CATALYST = [
    [73, 74, None, 71],
    [None, 75, 67, 72],
    [73, 75, 68, None],
    [75, None, 72, 75],
]


def table(rows, criterion="total"):
    return [
        Mark(str(s + 1), f"J{j + 1}", criterion, float(value))
        for s, row in enumerate(rows)
        for j, value in enumerate(row)
        if value is not None
    ]


def simulated(seed, n_students=40, n_judges=6, per_take=3, n_criteria=3):
    rng = np.random.default_rng(seed)
    severity = rng.normal(0, 1, n_judges)
    rows = []
    for s in range(n_students):
        ability = rng.normal(6, 1.5)
        for j in rng.permutation(n_judges)[:per_take]:
            halo = rng.normal(0, 0.5)
            for c in range(n_criteria):
                mark = round(ability - severity[j] + halo + rng.normal(0, 0.7) + 0.3 * c, 1)
                rows.append(Mark(str(s), f"J{j}", f"c{c}", mark))
    return rows


def test_catalyst_example_to_three_decimals():
    # Montgomery 2001, table 4.22 and p. 157: adjusted effects -9/8, -7/8, -4/8, 20/8 about the
    # grand mean 72.5; error mean square .65.
    scores = fair_scores(from_rows(table(CATALYST)))
    assert scores.fair == pytest.approx([71.375, 71.625, 72.0, 75.0], abs=5e-4)
    assert scores.raw_mean == pytest.approx([72.667, 71.333, 72.0, 74.0], abs=5e-4)
    assert scores.noise.pooled == pytest.approx(0.65, abs=5e-4)
    assert scores.precision == pytest.approx(np.ones(4))


def test_catalyst_errors_agree_with_ordinary_least_squares():
    pd = pytest.importorskip("pandas")
    smf = pytest.importorskip("statsmodels.formula.api")
    rows = table(CATALYST)
    frame = pd.DataFrame([(r.student, r.judge, r.mark) for r in rows], columns=["s", "j", "m"])
    model = smf.ols("m ~ 0 + C(s) + C(j, Sum)", frame).fit()
    scores = fair_scores(from_rows(rows))
    assert scores.fair == pytest.approx(model.params.to_numpy()[:4], abs=1e-9)
    assert scores.se == pytest.approx(model.bse.to_numpy()[:4], abs=1e-9)
    cov = scores.covariance([0, 1])
    pair = math.sqrt(cov[0, 0] + cov[1, 1] - 2 * cov[0, 1])
    assert pair == pytest.approx(float(model.t_test("C(s)[1]-C(s)[2]").sd[0, 0]), abs=1e-9)


@pytest.mark.parametrize("seed", range(3))
def test_unbalanced_marks_agree_with_weighted_least_squares(seed):
    pd = pytest.importorskip("pandas")
    smf = pytest.importorskip("statsmodels.formula.api")
    rows = simulated(seed)
    marks = from_rows(rows)
    scores = fair_scores(marks)
    frame = pd.DataFrame(
        [(r.student, r.judge, r.criterion, r.mark) for r in rows], columns=["s", "j", "c", "m"]
    )
    vote = dict(zip(marks.judges, scores.precision, strict=True))
    model = smf.wls(
        "m ~ 0 + C(s) + C(j, Sum) + C(c, Sum)", frame, weights=frame["j"].map(vote)
    ).fit()
    expected = np.array([model.params[f"C(s)[{name}]"] for name in marks.students])
    assert scores.fair - scores.fair.mean() == pytest.approx(expected - expected.mean(), abs=1e-8)


def test_pair_errors_agree_with_least_squares_on_listening_means():
    # With complete listenings the listening means are sufficient, and their ordinary least
    # squares gives the error of every pair.
    pd = pytest.importorskip("pandas")
    smf = pytest.importorskip("statsmodels.formula.api")
    rows = simulated(11, n_students=25)
    marks = from_rows(rows)
    scores = fair_scores(marks, precision_weights=False)
    frame = (
        pd.DataFrame([(r.student, r.judge, r.mark) for r in rows], columns=["s", "j", "m"])
        .groupby(["s", "j"], as_index=False)["m"]
        .mean()
    )
    model = smf.ols("m ~ 0 + C(s) + C(j)", frame).fit()
    for a, b in [(0, 1), (3, 17), (24, 5)]:
        cov = scores.covariance([a, b])
        expected = model.t_test(f"C(s)[{marks.students[a]}] - C(s)[{marks.students[b]}]").sd[0, 0]
        assert math.sqrt(cov[0, 0] + cov[1, 1] - 2 * cov[0, 1]) == pytest.approx(
            float(expected), abs=1e-8
        )


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 10_000), st.randoms(use_true_random=False))
def test_shuffled_rows_change_nothing(seed, random):
    rows = simulated(seed, n_students=12)
    shuffled = list(rows)
    random.shuffle(shuffled)
    one, two = fair_scores(from_rows(rows)), fair_scores(from_rows(shuffled))
    assert one.marks.students == two.marks.students
    assert np.array_equal(one.fair, two.fair)
    assert np.array_equal(one.se, two.se)


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 10_000), st.permutations(list(range(6))))
def test_renamed_judges_change_nothing(seed, names):
    rows = simulated(seed, n_students=12)
    renamed = [Mark(r.student, f"R{names[int(r.judge[1:])]}", r.criterion, r.mark) for r in rows]
    one, two = fair_scores(from_rows(rows)), fair_scores(from_rows(renamed))
    assert one.fair == pytest.approx(two.fair, abs=1e-9)
    assert one.se == pytest.approx(two.se, abs=1e-9)


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 10_000), st.integers(0, 5), st.floats(-50, 50))
def test_a_constant_added_to_one_judge_moves_every_score_alike(seed, judge, constant):
    rows = simulated(seed, n_students=12)
    moved = [
        Mark(r.student, r.judge, r.criterion, r.mark + constant * (r.judge == f"J{judge}"))
        for r in rows
    ]
    one, two = fair_scores(from_rows(rows)), fair_scores(from_rows(moved))
    assert one.fair - one.fair[0] == pytest.approx(two.fair - two.fair[0], abs=1e-6)
    assert one.se == pytest.approx(two.se, abs=1e-6)


@settings(max_examples=20, deadline=None)
@given(st.integers(0, 10_000), st.floats(0.1, 10), st.floats(-20, 20))
def test_another_scale_of_points_only_rescales(seed, factor, shift):
    rows = simulated(seed, n_students=12)
    scaled = [Mark(r.student, r.judge, r.criterion, r.mark * factor + shift) for r in rows]
    one, two = fair_scores(from_rows(rows)), fair_scores(from_rows(scaled))
    assert one.fair * factor + shift == pytest.approx(two.fair, abs=1e-6)
    assert one.se * factor == pytest.approx(two.se, abs=1e-6)


def test_level_is_that_of_the_marks_given():
    marks = from_rows(simulated(5))
    scores = fair_scores(marks)
    assert scores.adjusted.mean() == pytest.approx(marks.mark.mean())


def test_honors_not_attempted_is_not_zero_and_trying_it_costs_nothing():
    # Ability 8 for all; everyone loses 3 points on the harder honors excerpt.
    rows = [
        Mark(str(s), judge, "tone", 8.0 - severe, section=section, weight=1.0)
        for s in range(6)
        for judge, severe in (("A", 0.0), ("B", 1.0))
        for section in ("etude", "honors")
        if section == "etude" or s < 3
    ]
    rows = [
        Mark(r.student, r.judge, r.criterion, r.mark - 3 * (r.section == "honors"), r.section)
        for r in rows
    ]
    scores = fair_scores(from_rows(rows))
    assert scores.fair == pytest.approx(np.full(6, scores.fair[0]))
    assert scores.raw_mean[0] < scores.raw_mean[5] - 1


def test_announced_weights_hold_however_many_judges_heard_a_section():
    rows = [Mark("1", j, "scales", 4.0, section="scales") for j in "ABC"]
    rows += [Mark("1", "A", "etude", 8.0, section="etude")]
    rows += [Mark("2", j, c, 6.0, section=c) for j in "ABC" for c in ("scales", "etude")]
    scores = fair_scores(from_rows(rows), precision_weights=False)
    assert scores.raw_mean == pytest.approx([6.0, 6.0])


def test_unlinked_panels_are_refused_and_the_cure_works():
    rows = [Mark(str(s), j, "total", 5.0 + s % 3) for s in range(8) for j in "AB"]
    rows += [Mark(str(s), j, "total", 5.0 + s % 4) for s in range(8, 14) for j in "CD"]
    with pytest.raises(JudgingError) as refused:
        fair_scores(from_rows(rows))
    message = str(refused.value)
    assert "A and B" in message
    assert "C and D" in message
    assert "judge A hears 8, 9, 11 and 13" in message
    rows += [Mark(s, "A", "total", 6.0) for s in ("8", "9", "11", "13")]
    assert len(fair_scores(from_rows(rows)).fair) == 14


def test_unlinked_instruments_are_scored_apart_with_a_note():
    rows = [Mark(str(s), j, "total", 5.0 + s, instrument="flute") for s in range(4) for j in "AB"]
    rows += [Mark(str(s), j, "total", 9.0 - s, instrument="tuba") for s in range(4) for j in "CD"]
    scores = fair_scores(from_rows(rows))
    assert len(set(scores.group.tolist())) == 2
    assert "not between flute and tuba" in " ".join(scores.notes)
    assert scores.marks.students == ("0", "1", "2", "3") * 2


def test_different_criteria_without_a_student_in_common_are_refused():
    rows = [Mark("1", j, "tone", 5.0) for j in "AB"] + [Mark("2", j, "rhythm", 7.0) for j in "AB"]
    with pytest.raises(JudgingError, match="no student has in common"):
        fair_scores(from_rows(rows))


def test_one_judge_gives_raw_means_without_an_error():
    scores = fair_scores(from_rows([Mark(str(s), "A", "total", float(s)) for s in range(5)]))
    assert scores.fair == pytest.approx(scores.raw_mean)
    assert np.isnan(scores.se).all()
    assert "Only judge A marked" in scores.notes[0]


def test_all_marks_equal_is_said():
    scores = fair_scores(from_rows([Mark(str(s), j, "t", 7.0) for s in range(5) for j in "AB"]))
    assert scores.fair == pytest.approx(np.full(5, 7.0))
    assert "All marks are 7" in scores.notes[0]


def test_one_student_alone():
    scores = fair_scores(from_rows([Mark("1", j, "t", m) for j, m in (("A", 7.0), ("B", 9.0))]))
    assert scores.fair == pytest.approx([8.0])
    assert np.isnan(scores.se).all()


def test_an_erratic_judge_loses_votes_and_a_fair_panel_keeps_them_equal():
    rng = np.random.default_rng(3)
    noise = [0.3, 0.3, 0.3, 0.3, 2.0]

    def rows(noise):
        return [
            Mark(str(s), f"J{j}", "t", 5 + (s % 7) / 2 + rng.normal(0, sd))
            for s in range(150)
            for j, sd in enumerate(noise)
        ]

    votes = fair_scores(from_rows(rows(noise))).precision
    assert votes[4] == votes.min()
    assert votes[:4].min() > 4 * votes[4]
    even = fair_scores(from_rows(rows([0.5] * 5))).precision
    assert even.max() / even.min() < 1.25
    off = fair_scores(from_rows(rows(noise)), precision_weights=False)
    assert off.precision == pytest.approx(np.ones(5))


def test_small_panels_keep_equal_votes_so_complete_tables_keep_their_means():
    # Shrout & Fleiss 1979, table 2: with nothing missing a fair score is the mean of the row.
    rows = [[9, 2, 5, 8], [6, 1, 3, 2], [8, 4, 6, 8], [7, 1, 2, 6], [10, 5, 6, 9], [6, 2, 4, 7]]
    scores = fair_scores(from_rows(table(rows)))
    assert scores.precision == pytest.approx(np.ones(4))
    assert scores.fair == pytest.approx(np.mean(rows, axis=1))
    assert scores.noise.pooled == pytest.approx(1.019, abs=5e-4)  # their error mean square


def test_a_judge_removed_is_rescored_without_them():
    marks = from_rows(simulated(8))
    left = marks.without_judges(["J2"])
    assert "J2" not in left.judges
    assert isinstance(left, Marks)
    assert len(fair_scores(left).severity) == 5
    with pytest.raises(TableError, match='no marks by a judge "Nobody"'):
        marks.without_judges(["Nobody"])


@pytest.mark.parametrize(
    ("row", "says"),
    [
        (Mark("1", "A", "t", math.nan, line=7), "line 7: the mark of student 1"),
        (Mark("", "A", "t", 1.0, line=2), "line 2: the student is empty"),
        (Mark("1", "A", "t", 1.0, weight=-1, line=3), "line 3: the weight"),
    ],
)
def test_bad_rows_are_named(row, says):
    with pytest.raises(TableError, match=says):
        from_rows([row])


def test_a_mark_given_twice_names_both_lines():
    with pytest.raises(TableError, match=r"line 9: judge A marks student 1 a second.*line 4"):
        from_rows([Mark("1", "A", "t", 5, line=4), Mark("1", "A", "t", 6, line=9)])


def test_no_marks():
    with pytest.raises(TableError, match="there is no mark"):
        from_rows([])


def test_natural_order_of_names():
    assert sorted(["J10", "J2", "12", "7", "b", "a1"], key=natural_key) == [
        "7", "12", "J2", "J10", "a1", "b",
    ]  # fmt: skip
