"""How right it is: notes by mir_eval, scales and tuning against the truth."""

from __future__ import annotations

from collections.abc import Sequence

import mir_eval
import numpy as np
from benchmarks.playing.assemble import Event
from benchmarks.playing.exercises import ScaleTruth

from fairhearing.core.playing import Playing, Scale

Found = list[tuple[float, float, float]]
"""Onset, offset (seconds) and fractional MIDI pitch of each note found."""


def note_f1(events: Sequence[Event], found: Found) -> float:
    """Return mir_eval's note F1 at 50 ms and 50 cents, offsets left out."""
    if not found or not events:
        return 0.0
    truth = np.array([[e.onset_s, e.offset_s] for e in events])
    heard = np.array([[a, max(b, a + 0.01)] for a, b, _ in found])
    return float(
        mir_eval.transcription.precision_recall_f1_overlap(
            truth,
            mir_eval.util.midi_to_hz(np.array([e.midi for e in events])),
            heard,
            mir_eval.util.midi_to_hz(np.array([m for _, _, m in found])),
            offset_ratio=None,
        )[2]
    )


def notes_of(playing: Playing) -> Found:
    """Return the notes of a hearing with their pitch in cents where it is stated."""
    common = (playing.tuning.cents or 0.0) / 100
    return [
        (n.onset_s, n.offset_s, n.midi + (common if n.cents is None else n.cents / 100))
        for n in playing.notes
    ]


def scales_right(truth: Sequence[ScaleTruth], played: Sequence[Scale]) -> dict[str, int]:
    """Count complete scales found, false ones among those called complete, and exact lists."""
    wanted = [t for t in truth if t.complete]
    called = [s for s in played if s.complete]
    free = list(called)
    found = 0
    for one in wanted:
        match = next(
            (
                s
                for s in free
                if abs(s.start_s - one.start_s) < 1.0
                and (s.tonic_midi - one.tonic_midi) % 12 == 0
                and s.octaves == one.octaves
            ),
            None,
        )
        if match is not None:
            free.remove(match)
            found += 1
    exact = [(t.tonic_midi % 12, t.octaves) for t in wanted] == [
        (s.tonic_midi % 12, s.octaves) for s in called
    ]
    return {"wanted": len(wanted), "found": found, "false": len(free), "exact": int(exact)}
