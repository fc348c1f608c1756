import numpy as np
import pytest

from fairhearing.core.errors import JudgingError, TableError
from fairhearing.core.judging.fair import fair_scores
from fairhearing.core.judging.marks import Mark, from_rows
from fairhearing.core.judging.ranking import rank
from fairhearing.core.judging.rules import (
    Rules,
    changes,
    from_entries,
    read_rules,
    require_announced,
)


def scored(table, criteria=("tone", "rhythm")):
    """``table[student][judge]`` is a tuple of marks, one a criterion."""
    rows = [
        Mark(student, judge, criterion, float(mark))
        for student, by_judge in table.items()
        for judge, marks in by_judge.items()
        for criterion, mark in zip(criteria, marks, strict=True)
    ]
    return fair_scores(from_rows(rows))


TIED = {
    "1": {"A": (8, 6), "B": (7, 7)},
    "2": {"A": (6, 8), "B": (7, 7)},
    "3": {"A": (9, 9), "B": (9, 9)},
    "4": {"A": (7, 7), "B": (7, 7)},
}


def test_ties_share_the_place_unless_a_rule_breaks_them():
    scores = scored(TIED)
    shared = rank(scores)
    assert shared.place.tolist() == [2, 2, 1, 2]
    assert shared.decided_by == ("shared", "shared", "score", "shared")
    by_tone = rank(scores, Rules(tie_break=("tone",)))
    assert by_tone.place.tolist() == [2, 4, 1, 3]
    assert by_tone.decided_by[0] == "tone"
    by_rhythm = rank(scores, Rules(tie_break=("rhythm",)))
    assert by_rhythm.place.tolist() == [4, 2, 1, 3]


def test_announced_decimals_make_ties():
    table = {"1": {"A": (8.04, 8), "B": (8, 8)}, "2": {"A": (8, 8), "B": (8, 8)}}
    assert rank(scored(table)).place.tolist() == [1, 2]
    assert rank(scored(table), Rules(decimals=1)).place.tolist() == [1, 1]


def test_a_lot_can_be_drawn_again_by_anyone():
    scores = scored(TIED)
    rules = Rules(last_tie="drawn", lot="spring 2027")
    one, two = rank(scores, rules), rank(scores, rules)
    assert one.place.tolist() == two.place.tolist()
    assert sorted(one.place.tolist()) == [1, 2, 3, 4]
    assert "lot" in one.decided_by
    others = {
        tuple(rank(scores, Rules(last_tie="drawn", lot=f"text {k}")).place) for k in range(20)
    }
    assert len(others) > 1


def test_raw_means_rank_otherwise_than_fair_scores():
    # Montgomery 2001, Design and Analysis of Experiments, ch. 4, catalyst example.
    marks = [[73, 74, None, 71], [None, 75, 67, 72], [73, 75, 68, None], [75, None, 72, 75]]
    rows = [
        Mark(str(s), f"J{j}", "t", float(v))
        for s, row in enumerate(marks)
        for j, v in enumerate(row)
        if v is not None
    ]
    scores = fair_scores(from_rows(rows))
    assert rank(scores).place.tolist() == [4, 3, 2, 1]
    assert rank(scores, Rules(method="raw mean")).place.tolist() == [2, 4, 3, 1]


def test_highest_and_lowest_are_dropped():
    rows = [
        Mark(s, j, "t", m)
        for s, marks in (("1", (2, 7, 8, 7)), ("2", (7, 6, 7, 10)))
        for j, m in zip("ABCD", map(float, marks), strict=True)
    ]
    found = rank(fair_scores(from_rows(rows)), Rules(method="raw mean", drop_high_low=True))
    assert found.value.tolist() == [7.0, 7.0]
    assert found.place.tolist() == [1, 1]


def test_dropping_needs_three_judges():
    with pytest.raises(JudgingError, match="needs three judges, but 1, 2, 3, 4 had fewer"):
        rank(scored(TIED), Rules(drop_high_low=True))


def test_sum_of_ranks():
    # Kendall & Smith's own layout: each judge orders all; the sums decide.
    table = {
        "1": {"A": (9, 9), "B": (8, 8), "C": (5, 5)},
        "2": {"A": (8, 8), "B": (9, 9), "C": (9, 9)},
        "3": {"A": (7, 7), "B": (7, 7), "C": (8, 8)},
    }
    found = rank(scored(table), Rules(method="sum of ranks"))
    assert found.value == pytest.approx([(1 + 2 + 3) / 3, (2 + 1 + 1) / 3, (3 + 3 + 2) / 3])
    assert found.place.tolist() == [2, 1, 3]


def test_a_judge_may_break_the_own_ties():
    table = {"1": {"A": (8, 6), "B": (8, 6)}, "2": {"A": (6, 8), "B": (6, 8)}}
    shared = rank(scored(table), Rules(method="sum of ranks"))
    assert shared.value.tolist() == [1.5, 1.5]
    rules = Rules(method="sum of ranks", judge_breaks_own_ties=True, tie_break=("rhythm",))
    assert rank(scored(table), rules).value.tolist() == [2.0, 1.0]


def test_sum_of_ranks_needs_complete_panels():
    table = {**TIED, "5": {"A": (5, 5)}}
    with pytest.raises(JudgingError, match="judge B heard 4 of 5"):
        rank(scored(table), Rules(method="sum of ranks"))


def test_an_unknown_tie_break_names_what_there_is():
    with pytest.raises(
        JudgingError, match=r"no section or criterion of these marks .*rhythm, tone"
    ):
        rank(scored(TIED), Rules(tie_break=("colour",)))


def test_honors_not_tried_stands_behind_in_its_tie_break_only():
    rows = [
        Mark(str(s), j, "tone", 7.0, section=section)
        for s in range(3)
        for j in "AB"
        for section in ("etude", "honors")
        if section == "etude" or s != 1
    ]
    found = rank(fair_scores(from_rows(rows)), Rules(tie_break=("honors",)))
    assert found.place.tolist() == [1, 3, 1]


def test_instruments_are_ranked_apart():
    rows = [
        Mark(str(s), j, "t", float(s), instrument=name)
        for s, name in enumerate(["flute", "tuba", "flute", "tuba"])
        for j in "AB"
    ]
    scores = fair_scores(from_rows(rows))
    found = rank(scores)
    at = dict(zip(scores.marks.students, found.place.tolist(), strict=True))
    assert at == {"0": 2, "2": 1, "1": 2, "3": 1}


def test_fingerprint_changes_with_any_rule_and_with_nothing_else():
    assert Rules().fingerprint == Rules().fingerprint
    others = [
        Rules(method="raw mean"), Rules(drop_high_low=True), Rules(equal_votes=True),
        Rules(decimals=2), Rules(tie_break=("tone",)), Rules(judge_breaks_own_ties=True),
        Rules(last_tie="drawn", lot="x"), Rules(lot="y"),
    ]  # fmt: skip
    prints = {rules.fingerprint for rules in [Rules(), *others]}
    assert len(prints) == len(others) + 1


def test_changed_rules_are_refused_and_told():
    announced, now = Rules(tie_break=("etude",)), Rules(tie_break=("tone", "etude"), decimals=2)
    require_announced(announced, announced.fingerprint)
    with pytest.raises(JudgingError, match="was announced"):
        require_announced(now, announced.fingerprint)
    told = changes(announced, now)
    assert 'the order of tie-breaks, from "etude" to "tone", "etude"' in " ".join(told)
    assert "the decimals of a score, from none to 2" in " ".join(told)
    assert changes(now, now) == ()


def test_rules_from_a_file(tmp_path):
    path = tmp_path / "rules.toml"
    path.write_text('method = "raw mean"\ntie_break = ["honors", "etude"]\ndecimals = 2\n')
    assert read_rules(path) == Rules(method="raw mean", tie_break=("honors", "etude"), decimals=2)


@pytest.mark.parametrize(
    ("entries", "says"),
    [
        ({"tiebreak": []}, 'did you mean "tie_break"'),
        ({"method": "median"}, '"method" is one of "fair score"'),
        ({"decimals": 2.5}, "whole number from 0 to 6"),
        ({"drop_high_low": "yes"}, "true or false"),
        ({"tie_break": "etude"}, "a list of names"),
        ({"tie_break": ["a", "a"]}, "names something twice"),
        ({"last_tie": "drawn"}, '"lot" must hold'),
        ({"method": "sum of ranks", "drop_high_low": True}, "choose one"),
    ],
)
def test_impossible_rules_are_refused(entries, says):
    with pytest.raises(TableError, match=says):
        from_entries(entries)


@pytest.mark.parametrize("content", [b"method = ", b"\xff\xfe\x00", b"method = 3\n"])
def test_a_broken_rules_file_is_one_sentence(tmp_path, content):
    path = tmp_path / "rules.toml"
    path.write_bytes(content)
    with pytest.raises(TableError, match=r"^rules.toml: "):
        read_rules(path)


def test_order_of_rows_does_not_matter_for_places():
    rng = np.random.default_rng(4)
    rows = [Mark(str(s), j, "t", float(rng.integers(4, 8))) for s in range(30) for j in "ABC"]
    one = rank(fair_scores(from_rows(rows)))
    two = rank(fair_scores(from_rows(rows[::-1])))
    assert one.place.tolist() == two.place.tolist()
