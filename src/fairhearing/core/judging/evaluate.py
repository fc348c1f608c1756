"""Everything about a season's marks in one call: scores, places, judges, lines, fairness."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from fairhearing.core.judging.agreement import Agreement, agreement
from fairhearing.core.judging.diagnostics import (
    JudgeReport,
    OutlyingMark,
    judge_reports,
    outlying_marks,
)
from fairhearing.core.judging.fair import FairScores, fair_scores
from fairhearing.core.judging.fairness import Question, fairness_report
from fairhearing.core.judging.listen_again import ListenAgain, listen_again
from fairhearing.core.judging.marks import Marks
from fairhearing.core.judging.ranking import Ranking, rank
from fairhearing.core.judging.reliability import Reliability, reliability
from fairhearing.core.judging.rules import Rules
from fairhearing.core.judging.too_close import LineCall, at_lines

Facts = Mapping[str, Sequence[str | float | None]]


@dataclass(frozen=True, slots=True)
class Scoring:
    """What the marks say.

    Attributes
    ----------
    scores : FairScores
    ranking : Ranking
    agreement : Agreement
    reliability : Reliability
    judges : tuple of JudgeReport
        In the order of ``scores.marks.judges``.
    outlying : tuple of OutlyingMark
    lines : tuple of LineCall
        Empty without lines.
    again : ListenAgain or None
        None without lines, or where no uncertainty can be measured.
    fairness : tuple of Question
        Empty unless something is known about the takes or the order of listening.
    """

    scores: FairScores
    ranking: Ranking
    agreement: Agreement
    reliability: Reliability
    judges: tuple[JudgeReport, ...]
    outlying: tuple[OutlyingMark, ...]
    lines: tuple[LineCall, ...]
    again: ListenAgain | None
    fairness: tuple[Question, ...]


def evaluate(
    marks: Marks,
    *,
    rules: Rules | None = None,
    lines: Mapping[str, Sequence[int]] | None = None,
    facts: Facts | None = None,
    own_school: Mapping[str, str] | None = None,
) -> Scoring:
    """Score, rank and describe a season's marks.

    Parameters
    ----------
    rules : Rules, optional
        The announced rules; fair scores without tie-break if absent.
    lines : mapping of str to sequence of int, optional
        For each instrument the numbers of students above a line.
    facts : mapping of str to sequence, optional
        What is known about the takes, a value a scored unit (:func:`.fairness.fairness_report`).
    own_school : mapping of str to str, optional
        Each judge's own school.

    Raises
    ------
    JudgingError
        If the panels are unlinked or the rules cannot be followed with these marks.
    """
    rules = Rules() if rules is None else rules
    scores = fair_scores(marks, precision_weights=not rules.equal_votes)
    ranking = rank(scores, rules)
    measurable = not np.isnan(scores.noise.pooled)
    asked = facts or not np.isnan(marks.order).all()
    return Scoring(
        scores=scores,
        ranking=ranking,
        agreement=agreement(marks),
        reliability=reliability(scores),
        judges=judge_reports(scores),
        outlying=outlying_marks(scores),
        lines=tuple(at_lines(scores, ranking.order, lines)) if lines else (),
        again=listen_again(scores, ranking.order, lines) if lines and measurable else None,
        fairness=fairness_report(scores, facts or {}, own_school=own_school) if asked else (),
    )
