"""Do marks follow things they should not follow? Recording quality, order, school, grade, judge.

Every question is answered by a difference in points with its 95 % interval and one plain
sentence. A connection is not yet unfairness: older students may simply play better, and a student
with a better room may own a better instrument. What the marks alone can show without doubt is
whether *one judge* treats a group otherwise than the other judges of the same takes do; those
questions come last and are the sharpest.

Students are compared inside their instrument. Groups smaller than `smallest` are not shown: their
numbers say little, and they could be read as one child's marks. If only one group would be hidden,
the next smallest is hidden too, so that nobody can work out the missing one.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from fairhearing.core.errors import JudgingError
from fairhearing.core.judging.diagnostics import others_of
from fairhearing.core.judging.estimate import Estimate, estimate
from fairhearing.core.judging.fair import FairScores
from fairhearing.core.judging.marks import Floats, Indices

SMALLEST_GROUP = 10
LEAST_STUDENTS = 20
_FAMILY = 0.05

Verdict = Literal["no sign", "a sign", "too little to say"]


@dataclass(frozen=True, slots=True)
class Question:
    """One question to the marks and its answer.

    Attributes
    ----------
    about : str
        What was looked at: "background_dbfs", "school", "order of listening", "judge and school".
    group : str
        The group, or the judge and group, that the number is about; empty for a number column.
    students : int
        How many students the answer rests on.
    estimate : Estimate or None
        Difference in points; None if it was hidden or cannot be measured.
    verdict : str
        "a sign" where the interval excludes zero even with all questions of this kind counted.
    says : str
        The answer in plain words.
    """

    about: str
    group: str
    students: int
    estimate: Estimate | None
    verdict: Verdict
    says: str


def fairness_report(
    scores: FairScores,
    facts: Mapping[str, Sequence[str | float | None]],
    *,
    own_school: Mapping[str, str] | None = None,
    school: str = "school",
    smallest: int = SMALLEST_GROUP,
) -> tuple[Question, ...]:
    """Ask whether the marks follow what is known about the takes.

    Parameters
    ----------
    facts : mapping of str to sequence
        For each column one value a scored unit: numbers (recording quality) are read along their
        range, texts (school, grade) as groups; None where unknown.
    own_school : mapping of str to str, optional
        Each judge's own school; asks whether judges favour it.
    school : str, default "school"
        The column of `facts` that `own_school` refers to.
    smallest : int, default 10
        Groups with fewer students are not shown.

    Raises
    ------
    JudgingError
        If a column has not one value for every scored unit, or `smallest` is below 3.
    """
    if smallest < 3:
        raise JudgingError(
            f"the smallest group shown is {smallest}; 3 or more keeps children apart"
        )
    for name, column in facts.items():
        if len(column) != len(scores.fair):
            raise JudgingError(
                f'"{name}" has {len(column)} values for {len(scores.fair)} scored students'
            )
    questions = [_order(scores)]
    for name, column in facts.items():
        if all(value is None or isinstance(value, int | float) for value in column):
            questions.append(_number(scores, name, column))
        else:
            questions += _groups(scores, name, [_text(value) for value in column], smallest)
    for name, column in facts.items():
        if any(isinstance(value, str) for value in column):
            texts = [_text(value) for value in column]
            if len(_shown_groups(texts, smallest)[0]) > 1:
                questions += _judge_and_group(scores, name, texts, smallest)
            if own_school and name == school:
                questions.append(_own_school(scores, texts, own_school, smallest))
    return tuple(questions)


def _text(value: str | float | None) -> str:
    if value is None:
        return ""
    return value if isinstance(value, str) else f"{value:g}"


def _order(scores: FairScores) -> Question:
    """Same take heard early by one judge and late by another: does late cost points?"""
    about = "order of listening"
    order = scores.heard.mean(scores.marks, scores.marks.order)
    known = ~np.isnan(order)
    if known.sum() < LEAST_STUDENTS:
        return Question(
            about, "", 0, None, "too little to say",
            "Whether marks follow the order of listening cannot be said: the marks have no "
            '"order" column or too few entries in it.',
        )  # fmt: skip
    position = np.full(len(order), np.nan)
    for judge in np.unique(scores.heard.judge[known]):
        rows = np.flatnonzero(known & (scores.heard.judge == judge))
        reach = float(np.ptp(order[rows]))
        position[rows] = (order[rows] - order[rows].min()) / reach if reach > 0 else 0.5
    value = scores.heard.mean(scores.marks, scores.adjusted)
    rows = np.flatnonzero(known)
    found = _within(scores, value, position, rows)
    students = len(np.unique(scores.heard.student[rows]))
    if found is None:
        return Question(
            about, "", students, None, "too little to say",
            "Whether marks follow the order of listening cannot be said: too few takes were "
            "heard at different places by different judges.",
        )  # fmt: skip
    verdict = _verdict(found, 1)
    way = "rise" if found.value > 0 else "fall"
    says = (
        f"Marks {way} by {abs(found.value):.2f} points from a judge's first to last take "
        f"({_interval(found)}): {_plain(verdict)}."
    )
    return Question(about, "", students, found, verdict, says)


def _within(scores: FairScores, value: Floats, position: Floats, rows: Indices) -> Estimate | None:
    """Slope inside students and judges at once, with errors clustered by judge.

    Cluster-robust variance as in Liang & Zeger 1986, Biometrika 73:13–22, with the usual factor
    for few clusters.
    """
    student, judge = scores.heard.student[rows], scores.heard.judge[rows]
    x = _without_two_ways(position[rows], student, judge)
    y = _without_two_ways(value[rows], student, judge)
    sxx = float(x @ x)
    clusters = len(np.unique(judge))
    if sxx < 1e-9 or clusters < 2 or len(rows) < LEAST_STUDENTS:
        return None
    slope = float(x @ y) / sxx
    rest = y - slope * x
    by_judge = np.bincount(judge, x * rest)
    freedom = len(rows) - len(np.unique(student)) - clusters
    if freedom < 2:
        return None
    plain = float(rest @ rest) / freedom / sxx
    clustered = float(by_judge @ by_judge) / sxx**2 * clusters / (clusters - 1)
    # With few judges the clustered variance is itself erratic; the larger one is the safe one.
    se = float(np.sqrt(max(plain, clustered)))
    return estimate(slope, se, min(freedom, max(clusters - 1, 2)) if clusters < 30 else freedom)


def _without_two_ways(values: Floats, first: Indices, second: Indices) -> Floats:
    """Return values with two sets of group means swept out (alternating projections)."""
    rest = values.astype(np.float64)
    counts = [np.maximum(np.bincount(g), 1) for g in (first, second)]
    for _ in range(200):
        before = rest
        for group, count in zip((first, second), counts, strict=True):
            rest = rest - (np.bincount(group, rest) / count)[group]
        if np.max(np.abs(rest - before), initial=0) < 1e-10:
            break
    return rest


def _number(scores: FairScores, name: str, column: Sequence[str | float | None]) -> Question:
    """Points from the low to the high end (10th to 90th percentile) of a number."""
    x = np.array([np.nan if v is None else float(v) for v in column])
    known = np.flatnonzero(~np.isnan(x))
    cell = _instruments(scores)[known]
    x_in, y_in = _centred(x[known], cell), _centred(scores.fair[known], cell)
    freedom = len(known) - len(np.unique(cell)) - 1
    spread = float(np.subtract(*np.quantile(x[known], [0.9, 0.1]))) if len(known) else 0.0
    sxx = float(x_in @ x_in)
    if len(known) < LEAST_STUDENTS or freedom < 2 or spread <= 0 or sxx < 1e-12:
        return Question(
            name, "", len(known), None, "too little to say",
            f"Whether scores follow {name} cannot be said: fewer than {LEAST_STUDENTS} students "
            "with different values.",
        )  # fmt: skip
    slope = float(x_in @ y_in) / sxx
    rest = y_in - slope * x_in
    # Heteroscedasticity-consistent (HC3; MacKinnon & White 1985, J. Econometrics 29:305–325).
    leverage = np.clip(x_in**2 / sxx, 0, 0.99)
    variance = float(np.sum((x_in * rest / (1 - leverage)) ** 2)) / sxx**2
    found = estimate(slope * spread, float(np.sqrt(variance)) * spread, freedom)
    verdict = _verdict(found, 1)
    low, high = np.quantile(x[known], [0.1, 0.9])
    says = (
        f"From {name} {low:.4g} to {high:.4g} the scores differ by {found.value:+.2f} points "
        f"({_interval(found)}): {_plain(verdict)}."
    )
    return Question(name, "", len(known), found, verdict, says)


def _groups(scores: FairScores, name: str, texts: list[str], smallest: int) -> list[Question]:
    """Each group against all other students, inside instruments."""
    cell = _instruments(scores)
    known = np.array([bool(text) for text in texts])
    shown, hidden = _shown_groups(texts, smallest)
    if len(shown) + len(hidden) < 2:
        says = f"{name}: all students are alike, so there is nothing to compare."
        return [Question(name, "", 0, None, "too little to say", says)]
    if not shown:
        says = f"{name}: no group has {smallest} students or more, so none is shown."
        return [Question(name, "", 0, None, "too little to say", says)]
    found = []
    for group in shown:
        inside = np.array([text == group for text in texts])
        difference = _group_difference(scores.fair, cell, known, inside)
        students = int(inside.sum())
        if difference is None:
            says = f"{name} {group}: cannot be compared; no one else plays the same instruments."
            found.append(Question(name, group, students, None, "too little to say", says))
            continue
        verdict = _verdict(difference, len(shown))
        says = (
            f"{name} {group} ({students} students): {difference.value:+.2f} points against all "
            f"others ({_interval(difference)}): {_plain(verdict)}."
        )
        found.append(Question(name, group, students, difference, verdict, says))
    if hidden:
        says = (
            f"{name}: {len(hidden)} small {'group is' if len(hidden) == 1 else 'groups are'} not "
            f"shown, to keep single children from being recognised."
        )
        found.append(Question(name, "", 0, None, "too little to say", says))
    return found


def _shown_groups(texts: Sequence[str], smallest: int) -> tuple[list[str], list[str]]:
    names = sorted({text for text in texts if text})
    count = {name: texts.count(name) for name in names}
    hidden = [name for name in names if count[name] < smallest]
    if len(hidden) == 1 and len(names) > 1:
        rest = [name for name in names if name not in hidden]
        hidden.append(min(rest, key=lambda name: (count[name], name)))
    return [name for name in names if name not in hidden], hidden


def _group_difference(
    fair: Floats, cell: Indices, known: np.ndarray, inside: np.ndarray
) -> Estimate | None:
    rows = np.flatnonzero(known)
    x = _centred(inside[rows].astype(float), cell[rows])
    y = _centred(fair[rows], cell[rows])
    sxx = float(x @ x)
    freedom = len(rows) - len(np.unique(cell[rows])) - 1
    if sxx < 1e-9 or freedom < 2:
        return None
    slope = float(x @ y) / sxx
    rest = y - slope * x
    leverage = np.clip(x**2 / sxx, 0, 0.99)
    variance = float(np.sum((x * rest / (1 - leverage)) ** 2)) / sxx**2
    return estimate(slope, float(np.sqrt(variance)), freedom)


def _judge_and_group(
    scores: FairScores, name: str, texts: list[str], smallest: int
) -> list[Question]:
    """Does one judge mark a group otherwise than the other judges of the same takes?"""
    shown, _ = _shown_groups(texts, smallest)
    against = _against_others(scores)
    label = np.array(texts)[scores.heard.student]
    tried: list[tuple[int, str, Estimate, int]] = []
    for judge in range(scores.heard.n_judges):
        own = np.flatnonzero((scores.heard.judge == judge) & ~np.isnan(against) & (label != ""))
        for group in shown:
            inside = against[own][label[own] == group]
            outside = against[own][label[own] != group]
            if len(inside) >= smallest and len(outside) >= smallest:
                tried.append((judge, group, _welch(inside, outside), len(inside)))
    about = f"judge and {name}"
    if not tried:
        says = f"No judge heard enough takes of two groups to say whether {name} mattered."
        return [Question(about, "", 0, None, "too little to say", says)]
    signs = [entry for entry in tried if entry[2].p < _FAMILY / len(tried)]
    found = []
    for judge, group, difference, students in sorted(signs, key=lambda entry: entry[2].p):
        who = scores.marks.judges[judge]
        says = (
            f"Judge {who} marked {name} {group} {difference.value:+.2f} points otherwise than the "
            f"other judges of the same takes did ({_interval(difference)}, {students} takes): a "
            "sign worth looking at."
        )
        found.append(Question(about, f"{who}, {group}", students, difference, "a sign", says))
    if not signs:
        says = f"No judge treated a group by {name} otherwise than the other judges did."
        found.append(Question(about, "", 0, None, "no sign", says))
    return found


def _own_school(
    scores: FairScores, schools: list[str], own_school: Mapping[str, str], smallest: int
) -> Question:
    about = "judges and their own school"
    against = _against_others(scores)
    judge_school = np.array([own_school.get(name, "") for name in scores.marks.judges])
    mine = judge_school[scores.heard.judge]
    theirs = np.array(schools)[scores.heard.student]
    usable = ~np.isnan(against) & (mine != "") & (theirs != "")
    own = usable & (mine == theirs)
    students = len(np.unique(scores.heard.student[own]))
    if students < smallest or (usable & ~own).sum() < smallest:
        says = "Judges heard too few students of their own school to say anything about it."
        return Question(about, "", 0, None, "too little to say", says)
    found = _welch(against[own], against[usable & ~own])
    verdict = _verdict(found, 1)
    says = (
        f"Judges marked their own school {found.value:+.2f} points against the other judges of "
        f"the same takes ({_interval(found)}): {_plain(verdict)}."
    )
    return Question(about, "", students, found, verdict, says)


def _against_others(scores: FairScores) -> Floats:
    """Return each listening's mark, freed of severity, minus the other judges' score, (L,)."""
    others, _ = others_of(scores)
    return scores.heard.mean(scores.marks, scores.adjusted) - others


def _welch(inside: Floats, outside: Floats) -> Estimate:
    """Difference of two means with unequal variances (Welch 1947, Biometrika 34:28–35)."""
    a, b = float(inside.var(ddof=1)) / len(inside), float(outside.var(ddof=1)) / len(outside)
    value = float(inside.mean() - outside.mean())
    if a + b <= 0:
        return Estimate(value, value, value, 1.0 if value == 0 else 0.0)
    freedom = (a + b) ** 2 / (a**2 / (len(inside) - 1) + b**2 / (len(outside) - 1))
    return estimate(value, float(np.sqrt(a + b)), freedom)


def _instruments(scores: FairScores) -> Indices:
    names = {name: at for at, name in enumerate(dict.fromkeys(scores.marks.instruments))}
    size = int(scores.group.max()) + 1
    return np.array(
        [
            names[i] * size + int(g)
            for i, g in zip(scores.marks.instruments, scores.group, strict=True)
        ]
    )


def _centred(values: Floats, cell: Indices) -> Floats:
    count = np.maximum(np.bincount(cell), 1)
    return np.asarray(values - (np.bincount(cell, values) / count)[cell], dtype=np.float64)


def _verdict(found: Estimate, questions: int) -> Verdict:
    return "a sign" if found.p < _FAMILY / questions else "no sign"


def _interval(found: Estimate) -> str:
    return f"95 % interval {found.low:+.2f} to {found.high:+.2f}"


def _plain(verdict: Verdict) -> str:
    return {
        "a sign": "more than chance explains; look for the reason before drawing a conclusion",
        "no sign": "no more than chance explains",
        "too little to say": "too little to say",
    }[verdict]
