"""Real recorded notes in a row: a chromatic scale and four major scales, heard with mir_eval.

The notes come from the npm packages tonejs-instrument-* (samples CC-BY 3.0), so neither the sound
nor the scorer (mir_eval, Raffel et al., ISMIR 2014) is ours.
"""

from __future__ import annotations

import mir_eval
import numpy as np
import pytest

from fairhearing.core.playing import Plan, Player, hear_playing

CASES = {
    # name: limits (sounding), lowest note of the take, sounding − written, written tonics
    "trumpet": ((52, 86), 54, -2, ["C", "F", "G", "D"]),
    "clarinet": ((50, 94), 52, -2, ["F-sharp", "B", "D-flat", "A-flat"]),
    "saxophone": ((49, 81), 52, -9, ["D-flat", "F-sharp", "A-flat", "E-flat"]),
    "french-horn": ((41, 77), 46, -7, ["F", "B-flat", "C", "G"]),
}
PITCH_CLASS = {
    "C": 0, "D-flat": 1, "D": 2, "E-flat": 3, "E": 4, "F": 5, "F-sharp": 6,
    "G": 7, "A-flat": 8, "A": 9, "B-flat": 10, "B": 11,
}  # fmt: skip


@pytest.mark.parametrize("name", CASES)
def test_chromatic_and_four_major_scales(name, recorded):
    from benchmarks.playing.assemble import chromatic, in_a_row, major, perform

    bank = recorded(name)
    limits, low, shift, tonics = CASES[name]
    events = in_a_row(chromatic(low, low + 20), 1.0, 0.3)
    first_scale_s = None
    for tonic in tonics:
        sounding = low + (PITCH_CLASS[tonic] + shift - low) % 12
        start_s = events[-1].offset_s + (1.5 if first_scale_s is None else 0.5)
        first_scale_s = first_scale_s or start_s
        events += in_a_row(major(sounding), start_s, 0.28)
    rng = np.random.default_rng(11)
    sound = perform(events, bank, rng)
    sound = sound + rng.normal(0, 2e-4, len(sound)).astype(np.float32)

    playing = hear_playing(sound, player=Player(*limits, shift), plan=Plan())

    truth = np.array([[e.onset_s, e.offset_s] for e in events])
    heard = np.array([[n.onset_s, n.offset_s] for n in playing.notes])
    precision, recall, _, _ = mir_eval.transcription.precision_recall_f1_overlap(
        truth,
        mir_eval.util.midi_to_hz(np.array([e.midi for e in events])),
        heard,
        mir_eval.util.midi_to_hz(np.array([n.midi for n in playing.notes])),
        offset_ratio=None,
    )
    assert recall >= 0.9 and precision >= 0.9
    scales = playing.scales
    assert [s.tonic for s in scales.played] == tonics
    assert all(s.complete and s.octaves == 1 for s in scales.played)
    assert scales.window_start_s == pytest.approx(first_scale_s, abs=0.1)
    assert scales.window_end_s == pytest.approx(scales.window_start_s + 60)
    assert playing.chromatic is not None
    assert (playing.chromatic.lowest_midi, playing.chromatic.highest_midi) == (low, low + 20)
    assert playing.chromatic.complete_up and playing.chromatic.complete_down
    assert [s.kind for s in playing.sections] == ["chromatic", "scales"]
