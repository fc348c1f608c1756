"""A whole audition: spoken introduction, announcements, chromatic, scales, etude, honors."""

from __future__ import annotations

import dataclasses
import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from fairhearing.core.playing import RATE_HZ, Plan, Player, Section, hear_playing, with_sections

TRUMPET = Player(52, 86, -2)
ROOT = Path(__file__).parents[3]


@pytest.fixture(scope="module")
def audition(recorded, spoken):
    """Return the sound and the start of each section."""
    from benchmarks.playing.assemble import chromatic, in_a_row, major, perform

    bank = recorded("trumpet")
    rng = np.random.default_rng(7)
    parts, starts = [], {}

    def add(sound):
        parts.append(np.asarray(sound, dtype=np.float32))

    def pause(seconds):
        add(np.zeros(round(seconds * RATE_HZ)))

    def play(kind, pitches, each_s):
        starts[kind] = sum(map(len, parts)) / RATE_HZ + 0.1
        add(perform(in_a_row(pitches, 0.1, each_s), bank, rng))

    pause(0.8)
    add(spoken("Hello. My audition number is four hundred and twelve, and I play the trumpet."))
    pause(1.0)
    add(spoken("I will begin with the chromatic scale."))
    pause(0.8)
    play("chromatic", chromatic(54, 70), 0.3)
    pause(1.0)
    add(spoken("Now my major scales."))
    pause(0.8)
    play("scales", major(58) + major(63) + major(65), 0.28)
    pause(1.0)
    add(spoken("This is the etude."))
    pause(0.8)
    tune = [58, 62, 65, 63, 62, 60, 65, 70, 69, 65, 67, 62, 63, 60, 58, 65]
    play("etude", tune * 2, 0.4)
    pause(1.0)
    add(spoken("And now the honors excerpt."))
    pause(0.8)
    play("honors", [p + 3 for p in tune[::-1]] * 2, 0.25)
    pause(0.8)
    add(spoken("Thank you for listening."))
    pause(0.5)
    sound = np.concatenate(parts)
    return (sound + rng.normal(0, 3e-4, len(sound))).astype(np.float32), starts


@pytest.fixture(scope="module")
def heard(audition):
    return hear_playing(audition[0], player=TRUMPET, plan=Plan())


def test_sections_in_order_and_where_they_begin(audition, heard):
    starts = audition[1]
    kinds = [s.kind for s in heard.sections]
    assert kinds == ["introduction", "chromatic", "scales", "etude", "honors"]
    for section in heard.sections[1:]:
        assert section.start_s == pytest.approx(starts[section.kind], abs=0.1), section.kind
        assert section.announced
    introduction = heard.sections[0]
    assert introduction.start_s == pytest.approx(0.8, abs=0.3)
    assert introduction.end_s < starts["chromatic"]


def test_speech_is_neither_notes_nor_the_other_way_round(heard):
    spoken = np.array(heard.speech)
    assert len(spoken) == 6
    for note in heard.notes:
        middle = (note.onset_s + note.offset_s) / 2
        assert not np.any((spoken[:, 0] < middle) & (middle < spoken[:, 1]))
    assert len(heard.notes) == pytest.approx(33 + 45 + 32 + 32, abs=4)


def test_scales_and_chromatic_of_the_take(audition, heard):
    assert [s.tonic for s in heard.scales.played] == ["C", "F", "G"]
    assert heard.scales.window_start_s == pytest.approx(audition[1]["scales"], abs=0.1)
    assert (heard.chromatic.lowest_midi, heard.chromatic.highest_midi) == (54, 70)


def test_staff_move_a_boundary(heard):
    sections = list(heard.sections)
    scales = sections[2]
    # Staff decide that the first scale was a try and the time starts with the second.
    second = heard.scales.played[1].start_s
    sections[2] = dataclasses.replace(scales, start_s=second)
    moved = with_sections(heard, sections, player=TRUMPET, plan=Plan())
    assert [s.tonic for s in moved.scales.played] == ["F", "G"]
    assert moved.scales.window_start_s == pytest.approx(second)
    assert moved.notes == heard.notes and moved.chromatic == heard.chromatic


def test_no_section_of_that_kind_no_result(heard):
    only = [Section("etude", 0.0, heard.duration_s, False, 1.0)]
    moved = with_sections(heard, only, player=TRUMPET, plan=Plan())
    assert moved.chromatic is None and moved.chromatic_reason
    assert moved.scales.played == () and moved.scales.window_start_s is None


def test_same_input_same_output_on_one_or_two_threads(audition, tmp_path):
    part = audition[0][: 25 * RATE_HZ]
    here = hear_playing(part, player=TRUMPET, plan=Plan())
    assert here.notes
    np.save(tmp_path / "take.npy", part)
    program = (
        "import sys, numpy as np\n"
        "from fairhearing.core.playing import *\n"
        "p = hear_playing(np.load(sys.argv[1]), player=Player(52, 86, -2), plan=Plan())\n"
        "print(repr(p))\n"
    )
    said = []
    for threads in ("1", "2"):
        environment = {**os.environ, "OMP_NUM_THREADS": threads, "OPENBLAS_NUM_THREADS": threads}
        run = subprocess.run(
            [sys.executable, "-c", program, str(tmp_path / "take.npy")],
            capture_output=True, text=True, check=True, env=environment, cwd=ROOT,
        )  # fmt: skip
        said.append(run.stdout)
    assert said[0] == said[1] == repr(here) + "\n"
