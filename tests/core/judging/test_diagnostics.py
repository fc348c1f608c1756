import dataclasses

import numpy as np
import pytest

from fairhearing.core.judging.diagnostics import judge_reports, outlying_marks
from fairhearing.core.judging.fair import fair_scores
from fairhearing.core.judging.marks import Mark, from_rows

CRITERIA = ("tone", "rhythm", "notes", "style", "phrasing")


def season(seed, *, n=120, judges=6, severity=None, slope=None, noise=None, drift=None):
    rng = np.random.default_rng(seed)
    severity = np.zeros(judges) if severity is None else np.asarray(severity)
    slope = np.ones(judges) if slope is None else np.asarray(slope)
    noise = np.full(judges, 0.5) if noise is None else np.asarray(noise)
    drift = np.zeros(judges) if drift is None else np.asarray(drift)
    heard = [rng.permutation(judges)[:3] for _ in range(n)]
    place = {j: {} for j in range(judges)}
    for j in range(judges):
        for s in rng.permutation(n):
            if j in heard[s]:
                place[j][int(s)] = len(place[j]) + 1
    rows = []
    for s in range(n):
        ability = rng.normal(0, 1.2)
        for j in heard[s]:
            late = (place[j][s] - 1) / (len(place[j]) - 1)
            base = 6 + slope[j] * ability - severity[j] + drift[j] * late
            base += rng.normal(0, noise[j])
            for criterion in CRITERIA:
                mark = base + rng.normal(0, 0.4)
                rows.append(Mark(str(s), f"J{j}", criterion, mark, order=place[j][s]))
    return rows


def flags(rows):
    return [" ".join(report.flags) for report in judge_reports(fair_scores(from_rows(rows)))]


def test_an_even_panel_has_no_flags():
    assert all(not flag for flag in flags(season(1)))


def test_severity_is_measured_and_flagged():
    rows = season(2, severity=[1.0, -1.0, 0, 0, 0, 0])
    scores = fair_scores(from_rows(rows))
    reports = judge_reports(scores)
    assert scores.severity[:2] == pytest.approx([1.0, -1.0], abs=0.3)
    assert "severe by" in reports[0].flags[0]
    assert "lenient by" in reports[1].flags[0]
    assert reports[0].severity is not None
    assert reports[0].severity.low < scores.severity[0] < reports[0].severity.high


def test_a_narrow_range_is_seen():
    found = flags(season(3, slope=[0.4, 1, 1, 1, 1, 1]))
    assert "of the range" in found[0]
    assert not any("of the range" in flag for flag in found[1:])


def test_drift_over_the_session_is_seen():
    rows = season(4, drift=[1.5, 0, 0, 0, 0, 0])
    reports = judge_reports(fair_scores(from_rows(rows)))
    assert reports[0].drift is not None
    assert reports[0].drift.low < 1.5 < reports[0].drift.high
    assert "from first to last take" in " ".join(reports[0].flags)


def test_without_an_order_there_is_no_drift():
    rows = [dataclasses.replace(row, order=None) for row in season(5)]
    assert all(report.drift is None for report in judge_reports(fair_scores(from_rows(rows))))


def test_an_erratic_judge_has_a_larger_error_and_a_smaller_vote():
    reports = judge_reports(fair_scores(from_rows(season(6, noise=[1.5, 0.5, 0.5, 0.5, 0.5, 0.5]))))
    assert reports[0].error_sd == pytest.approx(1.5, rel=0.25)
    assert reports[0].vote == min(report.vote for report in reports)


def test_a_slip_of_the_pen_is_found():
    rows = season(7)
    at = next(i for i, row in enumerate(rows) if row.criterion == "notes")
    slipped = dataclasses.replace(rows[at], mark=rows[at].mark - 5)
    rows[at] = slipped
    scores = fair_scores(from_rows(rows))
    found = outlying_marks(scores)
    first = found[0]
    marks = scores.marks
    assert (marks.students[first.unit], marks.judges[first.judge]) == (
        slipped.student,
        slipped.judge,
    )
    assert marks.criteria[marks.criterion[first.row]][1] == "notes"
    assert first.expected == pytest.approx(slipped.mark + 5, abs=1.5)
    assert "for notes" in first.says(scores)


def test_a_whole_listening_out_of_line_is_found():
    rows = season(8)
    key = (rows[0].student, rows[0].judge)
    rows = [
        dataclasses.replace(row, mark=row.mark - 4) if (row.student, row.judge) == key else row
        for row in rows
    ]
    scores = fair_scores(from_rows(rows))
    whole = [one for one in outlying_marks(scores) if one.row < 0]
    assert (scores.marks.students[whole[0].unit], scores.marks.judges[whole[0].judge]) == key
    assert "on average" in whole[0].says(scores)


def test_clean_marks_raise_few_alarms():
    count = [len(outlying_marks(fair_scores(from_rows(season(seed))))) for seed in range(20, 30)]
    assert np.mean(count) < 2


def test_one_judge_alone_is_described_without_inventing_anything():
    rows = [Mark(str(s), "A", "t", float(s)) for s in range(12)]
    (report,) = judge_reports(fair_scores(from_rows(rows)))
    assert report.severity is None
    assert report.range_use is None
    assert report.error_sd is None
    assert not outlying_marks(fair_scores(from_rows(rows)))
