"""The scores on one self-contained page, with the judges' charts."""

from __future__ import annotations

import math
from dataclasses import dataclass

from markupsafe import Markup

from fairhearing.core.judging.evaluate import Scoring
from fairhearing.report.charts_judging import (
    agreement_chart,
    distribution_chart,
    severity_chart,
    too_close_chart,
)
from fairhearing.report.page import render
from fairhearing.report.score_table import in_order


@dataclass(frozen=True, slots=True)
class ScoredStudent:
    """A line of the table, as it is shown."""

    instrument: str
    place: int
    student: str
    score: str
    reach: str
    raw: str
    judges: int


def score_page(scoring: Scoring, *, heading: str, remark: str = "") -> str:
    """Return the page.

    Parameters
    ----------
    heading : str
        What was scored, such as the season's name.
    remark : str
        A line over the heading ("invented data").
    """
    scores = scoring.scores
    marks = scores.marks
    students = [
        ScoredStudent(
            instrument=marks.instruments[unit],
            place=int(scoring.ranking.place[unit]),
            student=marks.students[unit],
            score=f"{scores.fair[unit]:.2f}",
            reach="–" if math.isnan(scores.se[unit]) else f"{1.96 * scores.se[unit]:.2f}",
            raw=f"{scores.raw_mean[unit]:.2f}",
            judges=int(scores.heard.per_student[unit]),
        )
        for unit in in_order(scoring)
    ]
    flags = [
        f"Judge {marks.judges[report.judge]}: {flag}."
        for report in scoring.judges
        for flag in report.flags
    ]
    return render(
        "scores.html",
        heading=heading,
        remark=remark,
        students=students,
        with_instrument=any(marks.instruments),
        severity=Markup(severity_chart(scoring)),
        agreement=Markup(agreement_chart(scoring)),
        distribution=Markup(distribution_chart(scoring)),
        close=[
            (
                call.pair.says(scores),
                "" if call.pair.call == "clear" else Markup(too_close_chart(scoring, call)),
            )
            for call in scoring.lines
        ],
        again=scoring.again.says if scoring.again else "",
        again_names=[marks.name(take.unit) for take in scoring.again.takes]
        if scoring.again
        else [],
        flags=flags,
        outlying=[one.says(scores) for one in scoring.outlying[:20]],
        fairness=[question.says for question in scoring.fairness],
        notes=list(scores.notes),
        rules=scoring.ranking.rules,
    )
