"""The drawings of a take are well formed, at the right places, and say what they show."""

from __future__ import annotations

from defusedxml import ElementTree

from fairhearing.report.pitch_tape import SPACE, pitch_tape_svg
from fairhearing.report.tape import LEFT, RIGHT, WIDTH, tape_svg


def report(**changes):
    base = {
        "file": {"duration_s": 100.0},
        "tape": {"peaks": [0.1, 0.9, 0.3, 0.0]},
        "sections": [
            {"kind": "scales", "start_s": 20.0, "end_s": 90.0, "announced": True, "confidence": 0.9}
        ],
        "scales": {"window_start_s": 20.0, "window_end_s": 80.0, "played": []},
        "continuity": {
            "findings": [
                {
                    "start_s": 49.9,
                    "end_s": 50.1,
                    "strength": 0.8,
                    "says": "A <b>knock</b> & a light.",
                },
                {"start_s": 30.0, "end_s": 30.1, "strength": 0.3, "says": "Next to nothing."},
                {"start_s": 0.0, "end_s": 100.0, "strength": 0.9, "says": "About the whole file."},
            ]
        },
    }
    return {**base, **changes}


def x_at(seconds: float) -> float:
    return LEFT + (WIDTH - LEFT - RIGHT) * seconds / 100


def paths(svg: str, kind: str) -> list[str]:
    root = ElementTree.fromstring(svg)
    return [e.get("d") for e in root.iter() if e.get("class") == kind]


def test_the_scale_minute_stands_where_it_was_measured():
    (minute,) = paths(tape_svg(report()), "minute")
    assert minute.startswith(f"M{x_at(20):.1f} ")
    assert f"H{x_at(80):.1f}" in minute


def test_a_finding_has_a_tab_and_a_faint_one_or_one_about_the_whole_file_has_none():
    svg = tape_svg(report())
    (tab,) = paths(svg, "tab")
    assert tab.startswith(f"M{x_at(50) - 8:.1f} ")
    assert "&lt;b&gt;knock" in svg


def test_nothing_found_is_drawn_as_nothing():
    svg = tape_svg(report(sections=[], scales={}, tape={"peaks": []}))
    assert paths(svg, "minute") == []
    assert "no sections found" in svg


def heads(svg: str) -> list[tuple[float, float]]:
    root = ElementTree.fromstring(svg)
    return [
        (float(e.get("cx")), float(e.get("cy"))) for e in root.iter() if e.get("class") == "head"
    ]


def note(onset, midi, confidence=1.0):
    return {"onset_s": onset, "offset_s": onset + 0.4, "midi": midi, "confidence": confidence}


def test_notes_stand_on_their_lines():
    # E4 is the bottom line and F5 the top line of the treble staff; B♭ clarinet reads a tone up.
    svg = pitch_tape_svg([note(0, 62), note(1, 75)], start_s=0, end_s=10, written_minus_sounding=2)
    (_, bottom), (_, top) = heads(svg)
    assert bottom - top == 4 * SPACE
    assert svg.count("<title>E4") == 1
    assert svg.count("<title>F5") == 1


def test_time_runs_from_left_to_right_and_rows_wrap():
    svg = pitch_tape_svg([note(t, 60) for t in (0, 7.5, 15, 22.5)], start_s=0, end_s=30)
    places = heads(svg)
    assert places[0][0] == places[2][0] < places[1][0] == places[3][0]
    assert places[0][1] < places[2][1]


def test_an_unsure_note_looks_unsure():
    svg = pitch_tape_svg([note(0, 60, 0.2), note(1, 62, 0.9)], start_s=0, end_s=5)
    assert svg.count("unsure") == 1
    ElementTree.fromstring(svg)
