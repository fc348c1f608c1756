import numpy as np
import pytest

from fairhearing.core.errors import JudgingError
from fairhearing.core.judging.fair import fair_scores
from fairhearing.core.judging.fairness import fairness_report
from fairhearing.core.judging.marks import Mark, from_rows


def season(seed, n=160, judges=6, effect=lambda s, j, late: 0.0, ability=lambda s: 0.0):
    rng = np.random.default_rng(seed)
    heard = [rng.permutation(judges)[:3] for _ in range(n)]
    place = {j: {} for j in range(judges)}
    for j in range(judges):
        for s in rng.permutation(n):
            if j in heard[s]:
                place[j][int(s)] = len(place[j]) + 1
    rows = []
    for s in range(n):
        own = rng.normal(6, 1) + ability(s)
        for j in heard[s]:
            late = (place[j][s] - 1) / (len(place[j]) - 1)
            mark = own + rng.normal(0, 0.5) + effect(s, j, late)
            rows.append(Mark(f"{s:03}", f"J{j}", "t", mark, order=place[j][s]))
    return fair_scores(from_rows(rows))


def answers(report, about):
    return [question for question in report if question.about == about]


def test_nothing_is_found_where_nothing_is():
    signs = 0
    for seed in range(12):
        rng = np.random.default_rng(900 + seed)
        facts = {
            "noise_db": list(rng.normal(-60, 8, 160)),
            "school": [str(name) for name in rng.choice(["Elm", "Oak", "Fir"], 160)],
        }
        report = fairness_report(season(seed), facts)
        signs += sum(question.verdict == "a sign" for question in report)
    # Four families of questions at 5 % each over 12 seasons: about 2.4 by chance.
    assert signs <= 6


def test_slope_agrees_with_statsmodels():
    sm = pytest.importorskip("statsmodels.api")
    scores = season(3)
    rng = np.random.default_rng(1)
    x = rng.normal(-60, 8, 160)
    (question,) = answers(fairness_report(scores, {"noise_db": list(x)}), "noise_db")
    model = sm.OLS(scores.fair, sm.add_constant(x)).fit(cov_type="HC3", use_t=True)
    reach = np.subtract(*np.quantile(x, [0.9, 0.1]))
    assert question.estimate.value == pytest.approx(model.params[1] * reach, abs=1e-9)
    # HC3 of the centred regression leaves out the constant's share of the leverage, 1/n.
    assert question.estimate.low == pytest.approx(model.conf_int()[1][0] * reach, abs=0.01)


def test_recording_quality_that_costs_points_is_a_sign():
    rng = np.random.default_rng(5)
    noise = rng.normal(-60, 8, 160)
    scores = season(5, ability=lambda s: -0.08 * (noise[s] + 60))
    (question,) = answers(fairness_report(scores, {"noise_db": list(noise)}), "noise_db")
    assert question.verdict == "a sign"
    assert question.estimate.high < 0
    assert "look for the reason" in question.says


def test_marks_that_rise_with_the_listening_order():
    scores = season(6, effect=lambda s, j, late: 1.2 * late)
    (question,) = answers(fairness_report(scores, {}), "order of listening")
    assert question.verdict == "a sign"
    assert question.estimate.low < 1.2 < question.estimate.high


def test_small_groups_are_hidden_and_cannot_be_worked_out():
    school = ["Elm"] * 100 + ["Oak"] * 45 + ["Fir"] * 15
    report = fairness_report(season(7), {"school": school}, smallest=20)
    groups = {question.group for question in answers(report, "school")}
    # Fir is too small; were it hidden alone, its number would follow from the others'.
    assert groups == {"Elm", ""}
    assert "2 small groups are not shown" in answers(report, "school")[-1].says


def test_a_group_that_one_judge_marks_otherwise_is_named():
    school = [("Elm", "Oak")[s % 2] for s in range(160)]
    scores = season(8, effect=lambda s, j, late: 1.0 if j == 2 and s % 2 == 0 else 0.0)
    found = answers(fairness_report(scores, {"school": school}), "judge and school")
    assert found[0].verdict == "a sign"
    assert found[0].group.startswith("J2")
    assert all(question.group.startswith("J2") for question in found)


def test_judges_and_their_own_school():
    school = [("Elm", "Oak")[s % 2] for s in range(160)]
    own = {"J0": "Elm", "J1": "Oak", "J2": "Elm"}
    scores = season(9, effect=lambda s, j, late: 0.8 * (own.get(f"J{j}") == ("Elm", "Oak")[s % 2]))
    (question,) = answers(
        fairness_report(scores, {"school": school}, own_school=own),
        "judges and their own school",
    )
    assert question.verdict == "a sign"
    assert question.estimate.value > 0.4


def test_a_better_school_is_a_connection_and_the_words_say_no_more():
    school = [("Elm", "Oak")[s % 2] for s in range(160)]
    scores = season(10, ability=lambda s: 1.0 * (s % 2 == 0))
    elm = next(q for q in answers(fairness_report(scores, {"school": school}), "school"))
    assert elm.verdict == "a sign"
    assert "before drawing a conclusion" in elm.says
    assert answers(fairness_report(scores, {"school": school}), "judge and school")[0].verdict == (
        "no sign"
    )


def test_too_little_is_said_to_be_too_little():
    scores = season(11, n=12)
    report = fairness_report(scores, {"noise_db": [1.0] * 12, "grade": ["9"] * 12})
    about_students = [question for question in report if question.about != "order of listening"]
    assert all(question.verdict == "too little to say" for question in about_students)
    assert "nothing to compare" in answers(report, "grade")[0].says


def test_wrong_input_is_refused():
    scores = season(12, n=20)
    with pytest.raises(JudgingError, match='"grade" has 3 values for 20'):
        fairness_report(scores, {"grade": [9, 10, 11]})
    with pytest.raises(JudgingError, match="3 or more"):
        fairness_report(scores, {}, smallest=1)
