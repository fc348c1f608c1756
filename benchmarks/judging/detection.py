"""What the diagnostics find, and how often they cry wolf."""

from __future__ import annotations

import dataclasses

import numpy as np

from benchmarks.judging.simulator import Judges, judges, season
from fairhearing.core.judging.diagnostics import judge_reports, outlying_marks
from fairhearing.core.judging.fair import fair_scores
from fairhearing.core.judging.fairness import fairness_report

DRIFT = 1.0


def judges_described(seeds: range, students: int, n_judges: int) -> dict[str, str]:
    """Return hits and false alarms over seasons with drifting judges and five slips of the pen."""
    count = dict.fromkeys(
        ("narrow", "narrow found", "wide", "wide flagged", "drifting", "drift found", "steady",
         "steady flagged", "drift inside interval", "slips", "slips found", "innocent marks"), 0
    )  # fmt: skip
    for seed in seeds:
        rng = np.random.default_rng(seed)
        who = judges(rng, n_judges)
        marks, _ = season(rng, students, n_judges, 3, who=who)
        drifts = rng.random(n_judges) < 0.3
        mark, order = marks.mark.copy(), np.zeros(len(marks.mark))
        for judge in range(n_judges):
            rows = np.flatnonzero(marks.judge == judge)
            units, at = np.unique(marks.student[rows], return_inverse=True)
            order[rows] = rng.permutation(len(units))[at] + 1
            if drifts[judge]:
                mark[rows] += DRIFT * (order[rows] - 1) / (len(units) - 1)
        slips = rng.choice(len(mark), 5, replace=False)
        slipped = mark.copy()
        slipped[slips] = np.where(mark[slips] > 5.5, 1, 10)
        scores = fair_scores(dataclasses.replace(marks, mark=slipped, order=order))
        for report in judge_reports(scores):
            _count_judge(count, report, narrow=who.range_use[report.judge] < 1,
                         drifting=bool(drifts[report.judge]))  # fmt: skip
        large = {int(row) for row in slips if abs(slipped[row] - mark[row]) >= 4}
        found = {one.row for one in outlying_marks(scores) if one.row >= 0}
        count["slips"] += len(large)
        count["slips found"] += len(large & found)
        count["innocent marks"] += len(found - {int(row) for row in slips})
    return {
        "judges with half the range flagged": f"{count['narrow found']} of {count['narrow']}",
        "other judges so flagged": f"{count['wide flagged']} of {count['wide']}",
        "drift of one point flagged": f"{count['drift found']} of {count['drifting']}",
        "steady judges so flagged": f"{count['steady flagged']} of {count['steady']}",
        "true drift inside its 95 % interval":
            f"{count['drift inside interval'] / (count['drifting'] + count['steady']):.1%}",
        "slips of 4 points and more found": f"{count['slips found']} of {count['slips']}",
        "innocent marks listed a season": f"{count['innocent marks'] / len(seeds):.1f}",
    }  # fmt: skip


def _count_judge(count: dict[str, int], report, *, narrow: bool, drifting: bool) -> None:
    flags = " ".join(report.flags)
    count["narrow" if narrow else "wide"] += 1
    count["narrow found" if narrow else "wide flagged"] += "of the range" in flags
    count["drifting" if drifting else "steady"] += 1
    count["drift found" if drifting else "steady flagged"] += "first to last" in flags
    true = DRIFT if drifting else 0.0
    inside = report.drift is not None and report.drift.low <= true <= report.drift.high
    count["drift inside interval"] += inside


def false_signs(seeds: range) -> dict[str, float]:
    """Return the share of fair seasons in which each kind of question finds a sign."""
    kinds: dict[str, list[bool]] = {}
    for seed in seeds:
        rng = np.random.default_rng(seed)
        n_judges = 6
        even = Judges(
            severity=rng.normal(0, 0.6, n_judges),
            tendency=rng.normal(0, 0.2, (n_judges, 6)),
            range_use=np.ones(n_judges),
            noise=np.ones(n_judges),
        )
        marks, _ = season(rng, 120, n_judges, 3, who=even)
        order = np.zeros(len(marks.mark))
        for judge in range(n_judges):
            rows = np.flatnonzero(marks.judge == judge)
            units, at = np.unique(marks.student[rows], return_inverse=True)
            order[rows] = rng.permutation(len(units))[at] + 1
        facts = {
            "recording quality": rng.normal(-60, 8, 120).tolist(),
            "school": rng.choice(["Elm", "Oak", "Fir"], 120).tolist(),
        }
        own = {"J1": "Elm", "J2": "Oak"}
        scores = fair_scores(dataclasses.replace(marks, order=order))
        report = fairness_report(scores, facts, own_school=own)
        for about in {question.about for question in report}:
            kinds.setdefault(about, []).append(
                any(q.verdict == "a sign" for q in report if q.about == about)
            )
    return {about: float(np.mean(found)) for about, found in sorted(kinds.items())}
