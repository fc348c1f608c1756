"""The drawing of a band: everybody once, nobody on top of anybody, safe against hostile names."""

from __future__ import annotations

import re
from itertools import combinations

import pytest
from defusedxml.ElementTree import fromstring

from fairhearing.core.seating import Candidate, Chairs, Part, Pin, Problem, SeatPlan, Wish, seat
from fairhearing.report.seat_plan import CHAIR_H, CHAIR_W, seat_plan_svg

SVG = "{http://www.w3.org/2000/svg}"
BAND = {
    "flute": 6, "oboe": 2, "bassoon": 2, "clarinet": 9, "bass-clarinet": 2, "alto-saxophone": 3,
    "tenor-saxophone": 1, "baritone-saxophone": 1, "horn": 4, "trumpet": 8, "trombone": 5,
    "euphonium": 2, "tuba": 3, "percussion": 5, "harp": 1,
}  # fmt: skip


def _plan(times: float, missing: int = 0, name: str = "{}") -> SeatPlan:
    chairs, candidates = [], []
    for instrument, count in BAND.items():
        size = max(1, round(count * times))
        parts = (Part("1st"), Part("2nd")) if size > 3 else ()
        chairs.append(
            Chairs(f"top/{instrument}", "Top", instrument, 1, 0, size, size, parts, "leaders")
        )
        for index in range(max(0, size - missing)):
            student = name.format(f"{instrument}{index}")
            candidates.append(Candidate(student, (Wish(f"top/{instrument}", 50.0 + index),)))
    return seat(Problem(tuple(chairs), tuple(candidates)))


@pytest.mark.parametrize("times", [0.2, 0.5, 1, 1.5, 2.5])
def test_every_chair_once_and_none_on_another(times: float) -> None:
    plan = _plan(times, missing=1)
    root = fromstring(seat_plan_svg(plan, "Top"))
    drawn = [
        group for group in root.iter(f"{SVG}g") if "chair" in (group.get("class") or "").split()
    ]
    titles = [group.findtext(f"{SVG}title") or "" for group in drawn]
    players = [title.split(",")[0] for title in titles if not title.startswith("open chair")]
    assert sorted(players) == sorted(plan.seats)
    assert len(titles) == sum(row.chairs.ideal for row in plan.rows)
    boxes = [
        (float(rect.get("x") or 0), float(rect.get("y") or 0))
        for group in drawn
        for rect in group.iter(f"{SVG}rect")
    ]
    _, _, width, height = (float(word) for word in (root.get("viewBox") or "").split())
    for x, y in boxes:
        assert 0 <= x <= width - CHAIR_W
        assert 0 <= y <= height - CHAIR_H
    for (ax, ay), (bx, by) in combinations(boxes, 2):
        assert abs(ax - bx) >= CHAIR_W or abs(ay - by) >= CHAIR_H, (ax, ay, bx, by)


def test_marks_have_their_key() -> None:
    plan = _plan(0.5, missing=1)
    student = next(iter(plan.seats))
    svg = seat_plan_svg(plan, "Top", close=[student])
    assert "at a line too close to call" in svg
    assert "open chair" in svg
    assert "seated by the director" not in svg
    pinned = seat(
        Problem(plan.problem.chairs, plan.problem.candidates, (Pin(student, "top/flute"),))
    )
    svg = seat_plan_svg(pinned, "Top")
    assert "seated by the director" in svg
    assert "too close" not in svg
    assert seat_plan_svg(plan, "No such ensemble") == ""


def test_names_are_written_safely_and_cut() -> None:
    plan = _plan(0.2, name='<script>&"{}')
    svg = seat_plan_svg(plan, "Top", labels=dict.fromkeys(plan.seats, "</text><b>Maximiliana"))
    assert "<script" not in svg
    assert "<b>" not in svg
    assert fromstring(svg) is not None
    assert not re.search(r"Maximiliana", svg)
