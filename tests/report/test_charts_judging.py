import xml.etree.ElementTree as ET

import numpy as np
import pytest

from fairhearing.core.judging.evaluate import evaluate
from fairhearing.core.judging.marks import Mark, from_rows
from fairhearing.report.charts_judging import (
    agreement_chart,
    distribution_chart,
    severity_chart,
    too_close_chart,
)


@pytest.fixture(scope="module")
def scoring():
    rng = np.random.default_rng(3)
    rows = []
    for s in range(60):
        ability = rng.normal(6, 1.2)
        for j in rng.permutation(6)[:3]:
            mark = ability + 0.5 * (j % 3) + rng.normal(0, 0.6)
            rows.append(Mark(f"{s}", f"<J&{j}>", "t", mark, "", ("flute", "tuba")[s % 2]))
    return evaluate(from_rows(rows), lines={"flute": (1, 10), "tuba": (8,)})


def words(svg):
    root = ET.fromstring(svg)
    return ["".join(node.itertext()) for node in root.iter() if node.tag.endswith("}text")]


def test_severity_names_every_judge_and_its_vote(scoring):
    found = words(severity_chart(scoring))
    for j in range(6):
        assert f"<J&{j}>" in found
    assert sum("vote" in text for text in found) == 6
    assert "average of the panel" in found


def test_agreement_has_a_picture_for_each_judge(scoring):
    svg = agreement_chart(scoring)
    assert svg.count("<rect") == 6
    assert {f"<J&{j}>" for j in range(6)} <= set(words(svg))


def test_distribution_has_every_student_and_every_line(scoring):
    svg = distribution_chart(scoring)
    assert svg.count("<circle") == 60
    found = words(svg)
    assert {"1 above", "10 above", "8 above", "flute", "tuba", "30 students"} <= set(found)


def test_both_sides_of_a_line_have_a_marker_of_their_own(scoring):
    for call in scoring.lines:
        svg = too_close_chart(scoring, call)
        found = words(svg)
        assert any(text.startswith(f"{call.instrument}: line after {call.seats}") for text in found)
        assert "<circle" in svg
        assert '<rect x="' in svg
        assert scoring.scores.marks.students[call.pair.lower] in found


def test_every_chart_has_a_label_for_those_who_cannot_see_it(scoring):
    charts = [severity_chart(scoring), agreement_chart(scoring), distribution_chart(scoring)]
    charts += [too_close_chart(scoring, call) for call in scoring.lines]
    for svg in charts:
        root = ET.fromstring(svg)
        assert root.attrib["role"] == "img"
        assert root.attrib["aria-label"]
        width, height = (float(v) for v in root.attrib["viewBox"].split()[2:])
        for node in root.iter():
            if node.tag.endswith("}text"):
                assert 0 <= float(node.attrib["x"]) <= width
                assert 0 <= float(node.attrib["y"]) <= height


def test_what_cannot_be_drawn_is_said():
    alone = evaluate(
        from_rows([Mark(str(s), "A", "t", float(s)) for s in range(5)]), lines={"": (2,)}
    )
    assert "cannot be measured" in words(severity_chart(alone))[0]
    assert "cannot be drawn" in words(agreement_chart(alone))[0]
    assert "cannot be measured" in words(too_close_chart(alone, alone.lines[0]))[0]
    assert distribution_chart(alone).count("<circle") == 5
