"""Scores as a table and as JSON: what a director files and what seating reads."""

from __future__ import annotations

import math
from collections.abc import Iterable
from typing import Any

import numpy as np

from fairhearing.core.judging.agreement import Agreement
from fairhearing.core.judging.breakdown import by_criterion, by_section
from fairhearing.core.judging.diagnostics import JudgeReport
from fairhearing.core.judging.estimate import Estimate
from fairhearing.core.judging.evaluate import Scoring
from fairhearing.core.judging.fair import FairScores
from fairhearing.core.judging.marks import Floats
from fairhearing.core.judging.rescore import PlaceChange
from fairhearing.core.judging.rules import Rules
from fairhearing.core.judging.too_close import LineCall, Pair

CONTRACT = ("student", "fair_score", "raw_mean", "se", "judges")


def score_json(scoring: Scoring) -> dict[str, Any]:
    """Return the result of ``fairhearing score``; the keys are a contract (docs/scores.md)."""
    scores, ranking = scoring.scores, scoring.ranking
    marks = scores.marks
    heard = scores.heard.per_student
    with_instrument = any(marks.instruments)
    students = []
    for unit in in_order(scoring):
        entry: dict[str, Any] = {"student": marks.students[unit]}
        if with_instrument:
            entry["instrument"] = marks.instruments[unit]
        students.append(
            entry
            | {
                "fair_score": number(scores.fair[unit]),
                "raw_mean": number(scores.raw_mean[unit]),
                "se": number(scores.se[unit]),
                "judges": int(heard[unit]),
                "place": int(ranking.place[unit]),
                "ranked_by": number(ranking.value[unit]),
                "decided_by": ranking.decided_by[unit],
            }
        )
    return {
        "version": 1,
        "rules": rules_json(ranking.rules),
        "students": students,
        "judges": [_judge(scores, report) for report in scoring.judges],
        "agreement": agreement_json(scoring.agreement)
        | {
            "reliability": {
                "one_listening": _maybe(scoring.reliability.one_listening),
                "fair_scores": _maybe(scoring.reliability.scores),
            }
        },
        "outlying": [
            {
                "student": marks.students[one.unit],
                "judge": marks.judges[one.judge],
                "criterion": None if one.row < 0 else marks.criteria[marks.criterion[one.row]][1],
                "mark": number(one.mark),
                "expected": number(one.expected),
                "z": number(one.z),
                "says": one.says(scores),
            }
            for one in scoring.outlying
        ],
        "lines": [_line(scores, call) for call in scoring.lines],
        "listen_again": _again(scoring),
        "fairness": [
            {
                "about": question.about,
                "group": question.group,
                "students": question.students,
                "difference": _estimate(question.estimate),
                "verdict": question.verdict,
                "says": question.says,
            }
            for question in scoring.fairness
        ],
        "notes": list(scores.notes),
    }


def score_rows(scoring: Scoring, *, with_places: bool) -> tuple[list[str], list[list[object]]]:
    """Return the columns and rows of ``SCORES.csv``, which ``fairhearing seat`` reads.

    Sections and criteria follow as further columns (fair marks), for tie-breaks and feedback.

    Parameters
    ----------
    with_places : bool
        Whether the place by the rules has a column ``place``.
    """
    scores, ranking = scoring.scores, scoring.ranking
    marks = scores.marks
    heard = scores.heard.per_student
    with_instrument = any(marks.instruments)
    columns = [*CONTRACT, *(["instrument"] if with_instrument else [])]
    columns += ["place"] if with_places else []
    names, parts = _parts(scores, taken={*columns, "instrument", "place"})
    rows: list[list[object]] = []
    for unit in in_order(scoring):
        row: list[object] = [
            marks.students[unit],
            number(scores.fair[unit]),
            number(scores.raw_mean[unit]),
            number(scores.se[unit]),
            int(heard[unit]),
        ]
        row += [marks.instruments[unit]] if with_instrument else []
        row += [int(ranking.place[unit])] if with_places else []
        rows.append(row + [number(value) for value in parts[unit]])
    return columns + names, rows


def in_order(scoring: Scoring) -> list[int]:
    """Return the scored units by instrument and place."""
    return [unit for units in scoring.ranking.order.values() for unit in units]


def agreement_json(agreed: Agreement) -> dict[str, Any]:
    """Return the agreement figures under their usual names; null where there is none."""
    icc, w = agreed.icc, agreed.concordance
    return {
        "icc": None
        if icc is None
        else {
            "ICC(1,1)": number(icc.icc_1_1),
            "ICC(2,1)": number(icc.icc_2_1),
            "ICC(3,1)": number(icc.icc_3_1),
            "ICC(1,k)": number(icc.icc_1_k),
            "ICC(2,k)": number(icc.icc_2_k),
            "ICC(3,k)": number(icc.icc_3_k),
            "takes": icc.takes,
            "judges": icc.judges,
        },
        "krippendorff_alpha": {
            level: None if value is None else number(value) for level, value in agreed.alpha.items()
        },
        "kendall_w": None
        if w is None
        else {
            "w": number(w.w),
            "chi_square": number(w.chi_square),
            "p": number(w.p),
            "takes": w.takes,
            "judges": w.judges,
        },
        "reasons": agreed.reasons,
    }


def rules_json(rules: Rules) -> dict[str, Any]:
    """Return the rules with their fingerprint."""
    return {
        "fingerprint": rules.fingerprint,
        "method": rules.method,
        "drop_high_low": rules.drop_high_low,
        "equal_votes": rules.equal_votes,
        "decimals": rules.decimals,
        "tie_break": list(rules.tie_break),
        "judge_breaks_own_ties": rules.judge_breaks_own_ties,
        "last_tie": rules.last_tie,
        "lot": rules.lot,
    }


def number(value: float | np.floating[Any]) -> float | None:
    """Return a number for JSON and CSV: rounded far below what matters, None for "unknown"."""
    return None if math.isnan(value) else round(float(value), 6) + 0.0


def changes_json(changes: Iterable[PlaceChange]) -> list[dict[str, Any]]:
    """Return what changed when marks were left out."""
    return [
        {
            "student": change.student,
            "instrument": change.instrument,
            "place_before": change.place_before,
            "place_after": change.place_after,
            "fair_score_before": _maybe(change.score_before),
            "fair_score_after": _maybe(change.score_after),
            "says": change.says,
        }
        for change in changes
    ]


def _maybe(value: float | None) -> float | None:
    return None if value is None else number(value)


def _judge(scores: FairScores, report: JudgeReport) -> dict[str, Any]:
    return {
        "judge": scores.marks.judges[report.judge],
        "severity": number(scores.severity[report.judge]),
        "severity_se": number(scores.severity_se[report.judge]),
        "precision": number(report.vote),
        "takes": report.takes,
        "error_sd": _maybe(report.error_sd),
        "range_use": _estimate(report.range_use),
        "drift": _estimate(report.drift),
        "flags": list(report.flags),
    }


def _estimate(estimate: Estimate | None) -> dict[str, float | None] | None:
    if estimate is None:
        return None
    return {
        "value": number(estimate.value),
        "low": number(estimate.low),
        "high": number(estimate.high),
    }


def _pair(scores: FairScores, pair: Pair) -> dict[str, Any]:
    return {
        "higher": scores.marks.students[pair.higher],
        "lower": scores.marks.students[pair.lower],
        "difference": number(pair.difference),
        "se": number(pair.se),
        "p_better": number(pair.p_better),
        "p_reversed": number(pair.p_reversed),
        "call": pair.call,
        "says": pair.says(scores),
    }


def _line(scores: FairScores, call: LineCall) -> dict[str, Any]:
    names = scores.marks.students
    return {
        "instrument": call.instrument,
        "after": call.seats,
        "pair": _pair(scores, call.pair),
        "too_close_above": [names[unit] for unit in call.above],
        "too_close_below": [names[unit] for unit in call.below],
    }


def _again(scoring: Scoring) -> dict[str, Any] | None:
    if scoring.again is None:
        return None
    marks = scoring.scores.marks
    return {
        "says": scoring.again.says,
        "wrong_now": number(scoring.again.wrong_now),
        "wrong_after": number(scoring.again.wrong_after),
        "takes": [
            {
                "student": marks.students[take.unit],
                "instrument": marks.instruments[take.unit],
                "p_wrong_now": number(take.p_wrong_now),
                "p_wrong_after": number(take.p_wrong_after),
            }
            for take in scoring.again.takes
        ],
    }


def _parts(scores: FairScores, taken: set[str]) -> tuple[list[str], Floats]:
    """Return columns of section and criterion scores, each with a name of its own."""
    marks = scores.marks
    sections, section_scores = by_section(scores)
    single = [criterion for _, criterion in marks.criteria]
    found: list[tuple[str, Floats]] = []
    if len(sections) > 1:
        found += zip(sections, section_scores.T, strict=True)
    if len(marks.criteria) > 1:
        for (section, criterion), values in zip(
            marks.criteria, by_criterion(scores).T, strict=True
        ):
            plain = criterion if single.count(criterion) == 1 else f"{section} {criterion}".strip()
            found.append((plain, values))
    kept: dict[str, Floats] = {}
    for name, values in found:
        if name and name not in taken and name not in kept:
            kept[name] = values
    if not kept:
        return [], np.zeros((len(marks.students), 0))
    return list(kept), np.column_stack(list(kept.values()))
