import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fairhearing.core.errors import JudgingError
from fairhearing.core.judging.fair import fair_scores
from fairhearing.core.judging.listen_again import listen_again
from fairhearing.core.judging.marks import Mark, from_rows
from fairhearing.core.judging.ranking import rank
from fairhearing.core.judging.too_close import (
    at_lines,
    call_of,
    compare,
    probabilities,
    true_spread,
)


def season(seed, *, n=80, judges=6, per_take=3, noise=0.8, instrument=""):
    rng = np.random.default_rng(seed)
    ability = rng.normal(6, 1.2, n)
    rows = [
        Mark(
            str(s), f"J{j}", "t", ability[s] + 0.4 * (j % 3) + rng.normal(0, noise), "", instrument
        )
        for s in range(n)
        for j in rng.permutation(judges)[:per_take]
    ]
    return fair_scores(from_rows(rows)), ability


def test_probability_is_the_normal_law_when_players_differ_widely():
    # Abramowitz & Stegun 1964, table 26.1: P(1) = .8413447461, P(1.96) = .9750021049.
    better, again = probabilities(np.array([1.0, 1.96]), np.ones(2), 1e12)
    assert better == pytest.approx([0.8413447461, 0.9750021049], abs=1e-6)
    # A new panel has the same error: the difference of two differences has variance 2.
    assert again[0] == pytest.approx(0.2397500610, abs=1e-6)  # P(-1/sqrt 2)


@settings(max_examples=50, deadline=None)
@given(st.floats(0, 10), st.floats(0.01, 10), st.floats(0, 10))
def test_probabilities_stay_between_a_toss_and_certainty(difference, variance, spread):
    better, again = probabilities(np.array([difference]), np.array([variance]), spread)
    assert 0.5 <= better[0] <= 1
    assert 0 <= again[0] <= 0.5
    wider, _ = probabilities(np.array([difference + 1]), np.array([variance]), spread)
    assert wider[0] >= better[0]


def test_ties_are_a_toss_and_exact_marks_are_certain():
    better, again = probabilities(np.array([0.0, 1.0]), np.array([1.0, 0.0]), 1.0)
    assert better.tolist() == [0.5, 1.0]
    assert again.tolist() == [0.5, 0.0]


@pytest.mark.parametrize(
    ("p", "call"),
    [(0.5, "too close to call"), (0.79, "too close to call"), (0.8, "probably"),
     (0.94, "probably"), (0.95, "clear"), (math.nan, "not known")],
)  # fmt: skip
def test_words(p, call):
    assert call_of(p) == call


def test_spread_of_ability_is_found_again():
    found = [true_spread(season(seed, n=150)[0]) for seed in range(6)]
    assert np.mean(found) == pytest.approx(1.44, rel=0.2)


def test_pairs_at_a_line_and_their_sentence():
    scores, _ = season(2)
    order = rank(scores).order
    calls = at_lines(scores, order, {"": (1, 20, 80, 500)})
    assert [call.seats for call in calls] == [1, 20]
    line = calls[1]
    assert line.pair.higher == order[""][19]
    assert line.pair.lower == order[""][20]
    if line.pair.call == "too close to call":
        assert line.above[-1] == line.pair.higher
        assert line.below[0] == line.pair.lower
        assert "about 1 time in" in line.pair.says(scores)
        assert line.pair.one_in is not None
        assert line.pair.one_in >= 2


def test_a_pair_is_the_same_from_both_sides():
    scores, _ = season(3)
    one, two = compare(scores, 4, 9), compare(scores, 9, 4)
    assert (one.higher, one.lower) == (two.higher, two.lower)
    assert one.p_better == pytest.approx(two.p_better)


def test_without_a_second_judge_nothing_is_claimed():
    rows = [Mark(str(s), "A", "t", float(s)) for s in range(6)]
    scores = fair_scores(from_rows(rows))
    pair = compare(scores, 0, 1)
    assert pair.call == "not known"
    assert "cannot be measured" in pair.says(scores)
    with pytest.raises(JudgingError, match="exactness could not be measured"):
        listen_again(scores, rank(scores).order, {"": (3,)})


def test_unlinked_students_are_not_compared():
    rows = [Mark(str(s), j, "t", 5.0 + s, "", "flute") for s in range(4) for j in "AB"]
    rows += [Mark(str(s), j, "t", 9.0 - s, "", "tuba") for s in range(4) for j in "CD"]
    scores = fair_scores(from_rows(rows))
    with pytest.raises(JudgingError, match="unlinked panels"):
        compare(scores, 0, 5)


def test_takes_to_hear_again_stand_near_the_line():
    scores, _ = season(4, n=100)
    order = rank(scores).order
    again = listen_again(scores, order, {"": (50,)}, share=0.2)
    assert 0 < len(again.takes) <= 20
    places = [order[""].index(take.unit) for take in again.takes]
    assert max(abs(place - 49.5) for place in places) < 25
    assert all(take.p_wrong_after < take.p_wrong_now for take in again.takes)
    assert again.wrong_after < again.wrong_now
    assert f"one more listening to {len(again.takes)} takes" in again.says


def test_what_another_listening_settles_is_what_happens():
    # Expected and actual number of students on the right side of the line, over seasons.
    expected, actual = [], []
    for seed in range(30):
        scores, ability = season(100 + seed, n=100)
        order = rank(scores).order
        again = listen_again(scores, order, {"": (50,)}, share=1.0)
        upper = set(order[""][:50])
        best = np.argsort(-ability[[int(name) for name in scores.marks.students]])[:50]
        expected.append(again.wrong_now)
        actual.append(100 - 2 * len(upper & set(best.tolist())))
        # a student wrongly above is matched by one wrongly below
    assert np.mean(expected) == pytest.approx(np.mean(actual), rel=0.2)


def test_no_line_no_list():
    scores, _ = season(5)
    assert listen_again(scores, rank(scores).order, {"": (80,)}).takes == ()
    with pytest.raises(JudgingError, match="choose 0 to 1"):
        listen_again(scores, rank(scores).order, {"": (8,)}, share=2)
