"""Digital silence, suppressed pauses, a room that changes: made on purpose, against untouched."""

import numpy as np
import pytest
from scipy import signal

from fairhearing.core.continuity.digital_silence import silence_findings, silent_spans
from fairhearing.core.continuity.finding import LOOK_STRENGTH, Channel
from fairhearing.core.continuity.processed_sound import processed_findings, sudden_ends
from fairhearing.core.continuity.room_change import floor_steps, room_findings
from fairhearing.core.continuity.sound_joint import SoundTracer

RATE_HZ = 48000


def trace_of(mono):
    tracer = SoundTracer(RATE_HZ)
    for start in range(0, len(mono), 48_000):
        tracer.add(mono[start : start + 48_000].astype(np.float32))
    return tracer.trace(0.0)


def notes_in_a_room(seconds=20, seed=0):
    """Half-second notes and pauses with half a second of reverberation and a room's noise."""
    random = np.random.default_rng(seed)
    n = seconds * RATE_HZ
    t = np.arange(n) / RATE_HZ
    pitch_hz = 300 * 2 ** (random.integers(0, 12, seconds) / 12)
    dry = np.where(t % 1 < 0.5, np.sin(2 * np.pi * pitch_hz[t.astype(int)] * t), 0)
    decay = np.arange(RATE_HZ // 2) / RATE_HZ
    echo = random.standard_normal(len(decay)) * 10 ** (-3 * decay / 0.5)
    echo *= 0.3 / np.sqrt(np.sum(echo**2))
    echo[0] = 1
    wet = signal.fftconvolve(0.2 * dry, echo)[:n]
    return wet + 0.0006 * random.standard_normal(n)


def suppressed(sound):
    """Close the sound wherever its level over 20 ms is under −45 dBFS."""
    step = RATE_HZ // 50
    level = np.sqrt(np.mean(sound.reshape(-1, step) ** 2, axis=1))
    return sound * np.repeat(np.where(level > 10 ** (-45 / 20), 1, 0), step)


def test_an_untouched_take_has_none_of_it():
    trace = trace_of(notes_in_a_room())
    assert silent_spans(trace) == []
    assert processed_findings(trace) == ()
    assert room_findings(trace) == ()


def test_a_hole_is_found_where_it_is():
    sound = notes_in_a_room()
    sound[round(7.3 * RATE_HZ) : round(7.9 * RATE_HZ)] = 0
    (finding,) = silence_findings(trace_of(sound))
    assert finding.channel == Channel.DIGITAL_SILENCE
    assert finding.start_s == pytest.approx(7.3, abs=0.011)
    assert finding.end_s == pytest.approx(7.9, abs=0.011)
    assert finding.strength >= LOOK_STRENGTH and "call" in finding.says


def test_silence_at_the_ends_and_a_silent_take_are_no_holes():
    sound = notes_in_a_room()
    sound[: RATE_HZ // 2] = sound[-RATE_HZ // 2 :] = 0
    assert silence_findings(trace_of(sound)) == ()
    assert silence_findings(trace_of(np.zeros(5 * RATE_HZ))) == ()


def test_suppressed_pauses_are_processed_sound_and_no_holes():
    trace = trace_of(suppressed(notes_in_a_room()))
    assert silence_findings(trace) == ()
    (finding,) = processed_findings(trace)
    assert finding.channel == Channel.PROCESSED_SOUND
    assert finding.strength < LOOK_STRENGTH
    assert finding.says.startswith("Processed sound, cause unknown")


def test_dry_staccato_in_a_noisy_room_is_not_processed():
    t = np.arange(20 * RATE_HZ) / RATE_HZ
    shape = np.where(t % 0.5 < 0.2, 1, np.exp(-(t % 0.5 - 0.2) / 0.02))
    sound = 0.2 * shape * np.sin(2 * np.pi * 440 * t)
    sound += 0.0006 * np.random.default_rng(0).standard_normal(len(t))
    assert processed_findings(trace_of(sound)) == ()
    assert len(sudden_ends(trace_of(sound))) == 0


def test_a_room_that_becomes_louder_is_mentioned_weakly():
    sound = notes_in_a_room(24)
    sound[12 * RATE_HZ :] += 0.006 * np.random.default_rng(1).standard_normal(12 * RATE_HZ)
    (finding,) = room_findings(trace_of(sound))
    assert (finding.start_s + finding.end_s) / 2 == pytest.approx(12.0, abs=1.0)
    assert finding.strength < LOOK_STRENGTH and "louder" in finding.says


def test_too_short_to_compare():
    assert len(floor_steps(trace_of(notes_in_a_room(3)))[0]) == 0
