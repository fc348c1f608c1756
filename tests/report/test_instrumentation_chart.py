"""Instrumentation against plan, drawn."""

from __future__ import annotations

from defusedxml.ElementTree import fromstring

from fairhearing.core.seating import Candidate, Chairs, Problem, SeatPlan, Wish, seat
from fairhearing.report.instrumentation_chart import instrumentation_charts, instrumentation_svg

SVG = "{http://www.w3.org/2000/svg}"


def _plan() -> SeatPlan:
    chairs = (
        Chairs("a/flute", "A & B", "flute", 1, 1, 2, 4),
        Chairs("a/tuba", "A & B", "tuba", 1, 2, 2, 30),
        Chairs("b/flute", "Low", "flute", 2, 0, 1, 1),
    )
    candidates = tuple(Candidate(f"f{i}", (Wish("a/flute", 50.0 + i),)) for i in range(3))
    return seat(Problem(chairs, candidates))


def test_every_section_has_its_sign_and_its_words() -> None:
    root = fromstring(instrumentation_svg(_plan(), "A & B"))
    words = ["".join(text.itertext()) for text in root.iter(f"{SVG}text")]
    assert {"flute", "tuba", "3; 1 above the ideal", "0; 2 below the least"} <= set(words)
    kinds = [circle.get("class") for circle in root.iter(f"{SVG}circle")]
    assert kinds == ["there", "short"]
    width = float((root.get("viewBox") or "").split()[2])
    for circle in root.iter(f"{SVG}circle"):
        assert 0 < float(circle.get("cx") or 0) < width


def test_one_chart_an_ensemble() -> None:
    plan = _plan()
    assert [name for name, _ in instrumentation_charts(plan)] == ["A & B", "Low"]
    assert instrumentation_svg(plan, "None") == ""
