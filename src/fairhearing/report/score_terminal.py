"""Scores, judges and lines for a person at the terminal."""

from __future__ import annotations

import math

from rich.console import Console
from rich.table import Table

from fairhearing.core.judging.evaluate import Scoring
from fairhearing.report.score_table import in_order

_SHOWN = 60


def print_scoring(scoring: Scoring, console: Console) -> None:
    """Print what the marks say, the most needed first."""
    console.print(_students(scoring))
    left = len(scoring.scores.fair) - _SHOWN
    if left > 0:
        _say(console, f"… and {left} more; -o SCORES.csv writes them all.")
    _say(console, "± holds the fair score of 19 in 20 equally exact panels.\n")
    console.print(_judges(scoring))
    _say(console, "Severity: points below the panel's average. Vote: 1 is the typical judge.\n")
    _say(console, _agreement(scoring))
    marks = scoring.scores.marks
    for report in scoring.judges:
        for flag in report.flags:
            _say(console, f"· Judge {marks.judges[report.judge]}: {flag}.")
    if scoring.outlying:
        _say(console, "\nMarks worth a second look at the sheet:")
        for one in scoring.outlying[:10]:
            _say(console, f"· {one.says(scoring.scores)}")
        if len(scoring.outlying) > 10:
            _say(console, f"· and {len(scoring.outlying) - 10} more in the JSON")
    _print_lines(scoring, console)
    if scoring.fairness:
        _say(console, "\nDo marks follow what they should not follow?")
        for question in scoring.fairness:
            _say(console, f"· {question.says}")
    for note in scoring.scores.notes:
        _say(console, f"· {note}")


def _print_lines(scoring: Scoring, console: Console) -> None:
    marks = scoring.scores.marks
    if scoring.lines:
        _say(console, "\nAt the lines:")
        for call in scoring.lines:
            of = f"{call.instrument}, " if call.instrument else ""
            _say(console, f"· {of}after {call.seats}: {call.pair.says(scoring.scores)}")
    if scoring.again is None:
        return
    _say(console, scoring.again.says)
    if scoring.again.takes:
        listed = ", ".join(marks.name(take.unit) for take in scoring.again.takes[:12])
        more = len(scoring.again.takes) - 12
        _say(console, f"Hear again: {listed}{f' and {more} more' if more > 0 else ''}.")


def _say(console: Console, sentence: str) -> None:
    console.print(sentence, markup=False, highlight=False, soft_wrap=True)


def _students(scoring: Scoring) -> Table:
    scores, ranking = scoring.scores, scoring.ranking
    marks = scores.marks
    with_instrument = any(marks.instruments)
    table = _table(
        *(["instrument"] if with_instrument else []), "place", "student", "fair score", "±",
        "raw mean", "judges", numbers=4,
    )  # fmt: skip
    for unit in in_order(scoring)[:_SHOWN]:
        error = scores.se[unit]
        cells = [marks.instruments[unit]] if with_instrument else []
        cells += [
            str(ranking.place[unit]),
            marks.students[unit],
            f"{scores.fair[unit]:.3f}",
            "–" if math.isnan(error) else f"{1.96 * error:.3f}",
            f"{scores.raw_mean[unit]:.3f}",
            str(scores.heard.per_student[unit]),
        ]
        table.add_row(*cells)
    return table


def _judges(scoring: Scoring) -> Table:
    table = _table("judge", "takes", "severity", "±", "vote", "range", numbers=5)
    for report in scoring.judges:
        severity, use = report.severity, report.range_use
        table.add_row(
            scoring.scores.marks.judges[report.judge],
            str(report.takes),
            f"{scoring.scores.severity[report.judge]:+.3f}",
            "–" if severity is None else f"{severity.high - severity.value:.3f}",
            f"{report.vote:.2f}",
            "–" if use is None else f"{use.value:.0%}",
        )
    return table


def _table(*names: str, numbers: int) -> Table:
    table = Table(box=None, header_style="italic", pad_edge=False)
    for at, name in enumerate(names):
        table.add_column(name, justify="right" if at >= len(names) - numbers else "left")
    return table


def _agreement(scoring: Scoring) -> str:
    agreed, reliability = scoring.agreement, scoring.reliability
    parts = []
    alpha = agreed.alpha["interval"]
    if alpha is not None:
        parts.append(f"Krippendorff's alpha (interval) {alpha:.3f}")
    if agreed.icc is not None:
        parts.append(f"ICC(2,1) {agreed.icc.icc_2_1:.3f}, ICC(2,k) {agreed.icc.icc_2_k:.3f}")
    if agreed.concordance is not None:
        parts.append(f"Kendall's W {agreed.concordance.w:.3f}")
    if not parts:
        return f"Agreement of the judges: {agreed.reasons['alpha_interval']}."
    sentence = "Agreement of the judges: " + "; ".join(parts) + "."
    if reliability.scores is None or reliability.one_listening is None:
        return sentence
    return (
        f"{sentence} Reliability of one listening {reliability.one_listening:.3f}, "
        f"of the fair scores {reliability.scores:.3f}."
    )
