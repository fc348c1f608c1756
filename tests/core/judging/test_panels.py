import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import linprog

from fairhearing.core.errors import JudgingError
from fairhearing.core.judging.dropout import after_dropout, extra_listeners
from fairhearing.core.judging.feasibility import shortage
from fairhearing.core.judging.linking import parts
from fairhearing.core.judging.panel_plan import Judge, Take
from fairhearing.core.judging.panels import assign

INSTRUMENTS = ("flute", "clarinet", "trumpet", "tuba", "snare-drum")


def band(n=60, schools=4):
    return [Take(str(s + 1), INSTRUMENTS[s % 5], f"S{s * 7 % schools}") for s in range(n)]


def jury(n=8):
    return [
        Judge(
            f"J{j + 1}",
            frozenset(INSTRUMENTS[:4]) if j % 4 == 3 else frozenset(),
            frozenset({f"S{j}"}) if j < 3 else frozenset(),
            frozenset({str(j + 1), str(2 * j + 5)}),
        )
        for j in range(n)
    ]


def linked(plan):
    take, judge = np.nonzero(plan.hears)
    return parts(take, judge, len(plan.takes), len(plan.judges)).count == 1


def test_every_take_gets_its_judges_without_conflicts_and_with_equal_loads():
    plan = assign(band(), jury(), per_take=3, calibration=2, seed="a")
    heard = plan.hears.sum(axis=1)
    rest = [t for t in range(60) if t not in plan.calibration]
    assert (heard[rest] == 3).all()
    assert plan.loads.max() - plan.loads.min() <= 1
    for j, judge in enumerate(plan.judges):
        assert all(judge.may_hear(plan.takes[t]) for t in plan.order[j])
        assert sorted(plan.order[j]) == np.flatnonzero(plan.hears[:, j]).tolist()
    assert linked(plan)


def test_calibration_takes_come_first_for_everyone_who_may_hear_them():
    plan = assign(band(), jury(), calibration=3, seed="a")
    assert len(plan.calibration) == 3
    for j, judge in enumerate(plan.judges):
        own = [t for t in plan.calibration if judge.may_hear(plan.takes[t])]
        assert list(plan.order[j][: len(own)]) == own
    instruments = {plan.takes[t].instrument for t in plan.calibration}
    assert len(instruments) == 3


def test_each_judge_has_an_order_of_the_own():
    plan = assign(band(), [Judge("A"), Judge("B"), Judge("C")], per_take=3, calibration=0)
    assert len({plan.order[0], plan.order[1], plan.order[2]}) == 3
    correlation = np.corrcoef(np.argsort(plan.order[0]), np.argsort(plan.order[1]))[0, 1]
    assert abs(correlation) < 0.4


@settings(max_examples=15, deadline=None)
@given(st.randoms(use_true_random=False))
def test_the_order_of_the_input_changes_nothing(random):
    takes, judges = band(30), jury(6)
    one = assign(takes, judges, seed="x")
    random.shuffle(takes)
    random.shuffle(judges)
    two = assign(takes, judges, seed="x")
    assert one.takes == two.takes
    assert (one.hears == two.hears).all()
    assert one.order == two.order


def test_another_text_gives_other_panels():
    assert assign(band(), jury(), seed="x").order != assign(band(), jury(), seed="y").order


def test_levelling_reaches_the_proven_best_loads():
    # Semi-matching: the smallest possible highest load, by linear programming (the constraint
    # matrix is totally unimodular, so the fractional optimum is attained by whole numbers).
    rng = np.random.default_rng(5)
    for seed in range(6):
        takes = [Take(str(t), INSTRUMENTS[int(rng.integers(5))]) for t in range(40)]
        judges = [
            Judge(f"J{j}", frozenset(rng.choice(INSTRUMENTS, size=2, replace=False).tolist()))
            for j in range(9)
        ] + [Judge("all")]
        may = np.array([[judge.may_hear(take) for judge in judges] for take in takes])
        if (may.sum(axis=1) < 2).any():
            continue
        pairs = np.argwhere(may)
        cost = np.r_[np.zeros(len(pairs)), 1.0]
        equal = np.zeros((40, len(pairs) + 1))
        equal[pairs[:, 0], np.arange(len(pairs))] = 1
        upper = np.zeros((10, len(pairs) + 1))
        upper[pairs[:, 1], np.arange(len(pairs))] = 1
        upper[:, -1] = -1
        best = linprog(
            cost, upper, np.zeros(10), equal, np.full(40, 2.0),
            bounds=[(0, 1)] * len(pairs) + [(0, None)],
        ).fun  # fmt: skip
        plan = assign(takes, judges, per_take=2, calibration=0, seed=str(seed))
        assert plan.loads.sum() - 2 * 40 <= 2  # a link may cost a listening
        assert plan.loads.max() <= np.ceil(best - 1e-6) + (plan.loads.sum() > 80)


def test_limits_are_kept():
    judges = [Judge("A", most=10), Judge("B", most=12), Judge("C"), Judge("D")]
    plan = assign(band(30), judges, per_take=2, calibration=1)
    loads = dict(zip([judge.name for judge in plan.judges], plan.loads.tolist(), strict=True))
    assert loads["A"] <= 10
    assert loads["B"] <= 12


def test_tight_limits_are_met_exactly():
    judges = [Judge(name, most=15) for name in "ABCD"]
    plan = assign(band(30), judges, per_take=2, calibration=0)
    assert plan.loads.tolist() == [15, 15, 15, 15]


def test_takes_with_too_few_judges_are_named():
    takes = [*band(20), Take("99", "oboe"), Take("98", "oboe")]
    judges = [*jury(6)[:3], Judge("winds", frozenset({"oboe", "flute"}))]
    judges = [
        judge if judge.instruments else Judge(judge.name, frozenset(INSTRUMENTS))
        for judge in judges
    ]
    with pytest.raises(JudgingError, match=r"not enough judges may hear 98 and 99.*winds"):
        assign(takes, judges, per_take=2, calibration=0)


def test_full_judges_are_named_with_their_students():
    takes = [Take(str(s), "oboe") for s in range(6)] + band(10)
    judges = [
        Judge("A", frozenset({"oboe"}), most=4),
        Judge("B", frozenset({"oboe"}), most=4),
        Judge("C", frozenset(INSTRUMENTS)),
        Judge("D", frozenset(INSTRUMENTS)),
    ]
    with pytest.raises(JudgingError, match=r"need 12 listenings.*A and B.*room for 8"):
        assign(takes, judges, per_take=2, calibration=0)


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 10_000))
def test_feasibility_agrees_with_linear_programming(seed):
    rng = np.random.default_rng(seed)
    may = rng.random((7, 4)) < 0.6
    room = rng.integers(0, 6, 4)
    pairs = np.argwhere(may)
    equal, upper = np.zeros((7, len(pairs))), np.zeros((4, len(pairs)))
    equal[pairs[:, 0], np.arange(len(pairs))] = 1
    upper[pairs[:, 1], np.arange(len(pairs))] = 1
    solved = linprog(
        np.zeros(len(pairs)), upper, room, equal, np.full(7, 2.0), bounds=(0, 1)
    ) if len(pairs) else None  # fmt: skip
    possible = solved is not None and solved.status == 0
    found = shortage(may, 2, room)
    assert (found is None) == possible
    if found is not None:
        assert found.available < found.needed


def test_schools_that_share_no_judge_cannot_be_linked():
    takes = [Take(str(s), "flute", "East" if s < 6 else "West") for s in range(12)]
    judges = [
        Judge("A", schools=frozenset({"East"})),
        Judge("B", schools=frozenset({"East"})),
        Judge("C", schools=frozenset({"West"})),
        Judge("D", schools=frozenset({"West"})),
    ]
    with pytest.raises(JudgingError, match=r"panels of flute cannot be linked.*A and B"):
        assign(takes, judges, per_take=2, calibration=0)
    guest = [*judges, Judge("guest")]
    assert linked(assign(takes, guest, per_take=2, calibration=1))


def test_instruments_without_a_common_judge_are_noted():
    takes = [Take(str(s), "flute" if s < 6 else "snare-drum") for s in range(12)]
    judges = [Judge(name, frozenset({"flute"})) for name in "AB"]
    judges += [Judge(name, frozenset({"snare-drum"})) for name in "CD"]
    plan = assign(takes, judges, per_take=2, calibration=1)
    assert "flute; snare-drum" in plan.notes[0]


def test_a_judge_who_drops_out_keeps_what_is_finished():
    plan = assign(band(), jury(), seed="a")
    at = [judge.name for judge in plan.judges].index("J5")
    heard = plan.order[at][:7]
    finished = [("J5", plan.takes[t].student, plan.takes[t].instrument) for t in heard]
    done_by_j1 = plan.order[0][:5]
    finished += [("J1", plan.takes[t].student, plan.takes[t].instrument) for t in done_by_j1]
    after = after_dropout(plan, "J5", finished)
    assert after.order[at] == heard
    assert after.order[0][:5] == done_by_j1
    moved = after.hears & ~plan.hears
    lost = plan.hears & ~after.hears
    assert set(np.nonzero(lost)[1]) == {at}
    assert moved.sum() <= lost.sum()
    for j, judge in enumerate(after.judges):
        assert all(judge.may_hear(after.takes[t]) for t in after.order[j])
    others = np.delete(after.loads, at)
    assert others.max() - others.min() <= 2
    assert linked(after)
    rest = [t for t in range(60) if t not in plan.calibration]
    assert (after.hears[rest].sum(axis=1) == 3).all()
    with pytest.raises(JudgingError, match='no judge "Nobody"'):
        after_dropout(plan, "Nobody", [])


def test_a_dropout_that_cannot_be_made_up_names_the_students():
    plan = assign(band(10), [Judge("A"), Judge("B"), Judge("C")], per_take=3, calibration=0)
    with pytest.raises(JudgingError, match=r"without B no other judge may hear"):
        after_dropout(plan, "B", [])
    fewer = after_dropout(plan, "B", [], accept_fewer=True)
    assert "With fewer judges" in fewer.notes[-1]
    assert fewer.loads.tolist() == [10, 0, 10]


def test_a_further_listener_is_new_to_the_take():
    plan = assign(band(), jury(), seed="a")
    chosen = extra_listeners(plan, [t for t in range(8) if t not in plan.calibration])
    assert all(not plan.hears[take, judge] for take, judge in chosen)
    assert all(plan.judges[judge].may_hear(plan.takes[take]) for take, judge in chosen)
    everyone = assign(band(5), [Judge("A"), Judge("B")], per_take=2, calibration=0)
    with pytest.raises(JudgingError, match="every judge who may hear"):
        extra_listeners(everyone, [0])


@pytest.mark.parametrize(
    ("takes", "judges", "settings", "says"),
    [
        ([], [Judge("A")], {}, "at least one take and one judge"),
        (band(3), [Judge("A")], {"per_take": 2}, "only 1"),
        (band(3), [Judge("A"), Judge("A")], {"per_take": 1}, "judge A stands twice"),
        ([Take("1"), Take("1")], [Judge("A")], {"per_take": 1}, "student 1 stands twice"),
        (band(3), [Judge("A")], {"per_take": 0}, "at least one judge"),
    ],
)
def test_impossible_wishes_are_refused(takes, judges, settings, says):
    with pytest.raises(JudgingError, match=says):
        assign(takes, judges, **settings)


def test_a_student_with_two_instruments_has_two_takes():
    takes = [Take("7", "flute"), Take("7", "tuba"), Take("8", "flute"), Take("8", "tuba")]
    plan = assign(takes, [Judge("A"), Judge("B"), Judge("C")], per_take=2, calibration=1)
    assert plan.hears.sum() >= 8
