"""The part with pencil marks: one shape for each meaning, at the right note, safe to show."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from xml.etree import ElementTree

import pytest

from fairhearing.core.playing.alignment import align
from fairhearing.report.pencil import match_printed, pencil_from_file
from fairhearing.report.pencil_marks import MEANINGS
from fairhearing.written_music import plain_score

music21 = pytest.importorskip("music21", reason="music21 writes the score files of this test")

SVG = "{http://www.w3.org/2000/svg}"
TUNE = (
    "tinyNotation: 4/4 c'4 d' e' f' g' f' e' d' c' e' g' c'' b' a' g' f' "
    "e' g' d' f' c' b c' e' g' g' a' b' c'' g' e' c'"
)


@dataclass(frozen=True, slots=True)
class Heard:
    onset_s: float
    offset_s: float
    midi: int | None
    cents: float | None = 0.0
    confidence: float = 0.95


@pytest.fixture(scope="module")
def file(tmp_path_factory):
    path = tmp_path_factory.mktemp("score") / "tune.musicxml"
    music21.converter.parse(TUNE).write("musicxml", path)
    return path


@pytest.fixture(scope="module")
def score(file):
    return plain_score(file)


@pytest.fixture
def exact(score):
    beat = 60 / 96
    return [
        Heard(float(n.onset) * beat, float(n.onset + n.duration) * beat - 0.05, n.midi)
        for n in score.notes
    ]


def draw(file, score, heard):
    svg = pencil_from_file(file, score, align(score, heard), name="etude")
    return svg, ElementTree.fromstring(svg)


def shapes(svg):
    """The shapes named in the key: those that occur."""
    return {shape for shape in MEANINGS if f"{shape}: {MEANINGS[shape]}" in svg}


def test_exact_take_has_no_marks(file, score, exact):
    svg, root = draw(file, score, exact)
    assert shapes(svg) == set()
    assert not root.findall(f".//{SVG}path[@class='pencil']")
    assert "32 notes as written" in root.find(f"{SVG}title").text


def test_every_note_carries_its_second(file, score, exact):
    _, root = draw(file, score, exact)
    seconds = sorted(float(g.get("data-t")) for g in root.iter(f"{SVG}g") if g.get("data-t"))
    assert seconds == pytest.approx([n.onset_s for n in exact], abs=0.001)


def test_each_mistake_has_its_own_shape(file, score, exact):
    heard = list(exact)
    heard[3] = replace(heard[3], midi=66)
    heard[5] = replace(heard[5], cents=40.0)
    heard[12] = replace(heard[12], midi=70, confidence=0.3)
    stop = heard[17]
    heard[17] = replace(stop, offset_s=stop.onset_s + 0.28)
    heard.insert(18, replace(stop, onset_s=stop.onset_s + 0.32, midi=69))
    del heard[10]
    svg, root = draw(file, score, heard)
    assert shapes(svg) == {"ring", "arrow", "question", "plus", "caret"}
    says = [title.text for title in root.iter(f"{SVG}title")]
    assert any("Heard: F♯" in text for text in says)
    assert any("40 cents sharp" in text for text in says)


def test_ring_is_round_the_note_that_was_wrong(file, score, exact):
    heard = list(exact)
    heard[3] = replace(heard[3], midi=66)
    svg, root = draw(file, score, heard)
    ring = next(p for p in root.iter(f"{SVG}path") if p.get("class") == "pencil")
    left, y = (float(v) for v in re.match(r"M(-?\d+) (-?\d+)", ring.get("d")).groups())
    group = next(
        g
        for g in root.iter(f"{SVG}g")
        if g.get("data-t") == f"{heard[3].onset_s:.3f}" and g.find(f"{SVG}title") is None
    )
    use = next(group.iter(f"{SVG}use"))
    note_x, note_y = (float(v) for v in re.findall(r"-?[\d.]+", use.get("transform"))[:2])
    assert left < note_x < left + 410
    assert abs(note_y - y) < 60
    assert svg.count("M") > 100


def test_restart_and_bars_left_out(file, score, exact):
    shift = exact[21].offset_s - exact[16].onset_s + 0.9
    again = [replace(n, onset_s=n.onset_s + shift, offset_s=n.offset_s + shift) for n in exact[16:]]
    svg, _ = draw(file, score, exact[:22] + again)
    assert {"strokes", "hook"} <= shapes(svg)
    earlier = exact[12].onset_s - exact[20].onset_s
    ahead = [
        replace(n, onset_s=n.onset_s + earlier, offset_s=n.offset_s + earlier) for n in exact[20:]
    ]
    svg, _ = draw(file, score, exact[:12] + ahead)
    assert "bracket" in shapes(svg)
    assert "caret" not in shapes(svg)


def test_tempo_that_moves_gets_a_wave(file, score, exact):
    late = exact[15].onset_s
    heard = [
        n
        if n.onset_s <= late
        else replace(
            n,
            onset_s=late + (n.onset_s - late) * 1.35,
            offset_s=late + (n.offset_s - late) * 1.35,
        )
        for n in exact
    ]
    svg, _ = draw(file, score, heard)
    assert "wave" in shapes(svg)
    assert "holds back" in svg


def test_take_of_another_piece_gets_no_marks(file, score, exact):
    heard = [replace(n, midi=61 + (7 * k * k) % 11) for k, n in enumerate(exact)]
    svg, root = draw(file, score, heard)
    assert shapes(svg) == set()
    assert "does not follow this score" in root.find(f"{SVG}title").text


def test_two_parts_may_stand_in_one_page(file, score, exact):
    alignment = align(score, exact)
    names = [
        set(re.findall(r'id="([^"]+)"', pencil_from_file(file, score, alignment, name=name)))
        for name in ("etude", "honors")
    ]
    assert names[0]
    assert not names[0] & names[1]


def test_svg_is_self_contained_and_has_no_colour_of_its_own(file, score, exact):
    svg, _ = draw(file, score, exact)
    assert "http" not in svg.replace("http://www.w3.org/2000/svg", "")
    assert "<script" not in svg
    assert not re.search(r'(?:fill|stroke|color)="(?!none|currentColor)', svg)


def test_transposing_part_shows_written_names(tmp_path, exact):
    stream = music21.converter.parse(TUNE)
    stream.insert(0, music21.instrument.Trumpet())  # B-flat: sounds a tone lower
    path = tmp_path / "trumpet.musicxml"
    stream.write("musicxml", path)
    score = plain_score(path)
    assert [n.midi for n in score.notes][:2] == [70, 72]
    heard = [replace(n, midi=n.midi - 2) for n in exact]
    heard[3] = replace(heard[3], midi=76)
    svg = pencil_from_file(path, score, align(score, heard))
    assert "Heard: F♯" in svg


def test_notes_are_matched_by_pitch_and_place(score):
    @dataclass(frozen=True)
    class Printed:
        id: str
        onset: object
        sounding: int | None
        grace: bool = False

    printed = [Printed(f"n{k}", n.onset, n.midi) for k, n in enumerate(score.notes)]
    assert match_printed(score, printed[::-1]) == [p.id for p in printed]
    assert match_printed(score, printed[1:])[0] is None
