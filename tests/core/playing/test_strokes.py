"""Drums: strokes, rolls and tempo of generated drumming whose truth is known.

A stroke is a burst of noise that dies away, as that of a snare drum does; the truth is where the
bursts were put. mir_eval's onset and tempo measures do the counting.
"""

from __future__ import annotations

import mir_eval
import numpy as np
import pytest

from fairhearing.core.playing import RATE_HZ, Plan, Player, hear_playing
from fairhearing.core.playing.strokes import hear_drumming, measure_tempo


def drummed(times, rng, *, decay_s=0.06, duration_s=None, loudness=None, noise=1e-3):
    length = round((duration_s or max(times) + 1.0) * RATE_HZ)
    out = rng.normal(0, noise, length)
    burst = np.exp(-np.arange(round(0.5 * RATE_HZ)) / (decay_s * RATE_HZ))
    for k, time in enumerate(times):
        begin = round(time * RATE_HZ)
        stroke = burst * rng.normal(0, 0.1, len(burst))
        stroke *= 1.0 if loudness is None else loudness[k]
        stroke = stroke[: length - begin]
        out[begin : begin + len(stroke)] += stroke
    return out.astype(np.float32)


def pattern(bpm, beats, rng, spread_s=0.004):
    """Quarters, eighths and sixteenths in turn."""
    beat = 60 / bpm
    times = []
    for k in range(beats):
        times += [1.0 + beat * (k + step) for step in ([0], [0, 0.5], [0, 0.25, 0.5, 0.75])[k % 3]]
    return np.array(times) + rng.normal(0, spread_s, len(times))


@pytest.mark.parametrize("bpm", [72, 96, 120])
def test_strokes_and_tempo(bpm):
    rng = np.random.default_rng(bpm)
    times = pattern(bpm, 30, rng)
    loudness = rng.uniform(0.3, 1.0, len(times))
    heard = hear_drumming(drummed(times, rng, loudness=loudness))
    onsets = np.array([s.onset_s for s in heard.strokes])
    f1, _, _ = mir_eval.onset.f_measure(times, onsets, window=0.025)
    assert f1 >= 0.95
    ratio = heard.tempo_bpm / bpm
    assert min(abs(ratio - allowed) for allowed in (0.5, 1.0, 2.0)) < 0.03
    assert heard.tempo_steadiness > 0.97
    assert heard.rolls == ()


def test_accents_are_louder():
    rng = np.random.default_rng(1)
    times = 1.0 + 0.5 * np.arange(16)
    loudness = np.where(np.arange(16) % 4 == 0, 1.0, 0.25)
    strokes = hear_drumming(drummed(times, rng, loudness=loudness)).strokes
    assert len(strokes) == 16
    strong = [s.strength_db for s in strokes[::4]]
    weak = [s.strength_db for k, s in enumerate(strokes) if k % 4]
    assert min(strong) - max(weak) > 6


def test_an_open_roll_between_strokes():
    rng = np.random.default_rng(2)
    single = [1.0, 1.5, 2.0, 2.5]
    roll = list(3.0 + np.arange(20) / 14.0)
    after = [5.5, 6.0, 6.5, 7.0]
    heard = hear_drumming(drummed([*single, *roll, *after], rng, decay_s=0.02))
    assert len(heard.rolls) == 1
    assert heard.rolls[0].start_s == pytest.approx(3.0, abs=0.03)
    assert heard.rolls[0].end_s == pytest.approx(roll[-1], abs=0.08)
    assert heard.rolls[0].strokes_per_s == pytest.approx(14.0, rel=0.05)
    assert [round(s.onset_s, 1) for s in heard.strokes] == [*single, *after]


def test_a_buzz_roll_is_one_roll_without_a_count():
    rng = np.random.default_rng(3)
    sound = drummed([1.0, 1.6, 5.0], rng, duration_s=6.5)
    begin, end = round(2.2 * RATE_HZ), round(3.7 * RATE_HZ)
    sound[begin:end] += rng.normal(0, 0.05, end - begin).astype(np.float32)
    heard = hear_drumming(sound)
    assert len(heard.rolls) == 1
    assert heard.rolls[0].start_s == pytest.approx(2.2, abs=0.05)
    assert heard.rolls[0].end_s == pytest.approx(3.7, abs=0.1)


def test_tempo_that_speeds_up_is_less_steady():
    steady = np.cumsum(np.full(80, 0.5))
    rushed = np.cumsum(np.linspace(0.6, 0.45, 80))
    assert measure_tempo(steady)[1] > measure_tempo(rushed)[1] + 0.03


def test_too_little_to_say_is_said():
    tempo, steadiness, reason = measure_tempo(np.array([1.0, 2.0, 2.6]))
    assert tempo is None and steadiness is None and "3 strokes" in reason


def test_a_drum_take_has_no_notes_but_sections():
    rng = np.random.default_rng(4)
    first = 1.0 + 0.4 * np.arange(24)
    second = first[-1] + 5.0 + 0.3 * np.arange(24)
    sound = drummed([*first, *second], rng)
    plan = Plan(order=("introduction", "etude", "honors"))
    heard = hear_playing(sound, player=Player(kind="drum"), plan=plan)
    assert heard.notes == () and heard.chromatic is None and heard.scales.played == ()
    assert "without pitch" in heard.scales.reason
    assert [s.kind for s in heard.sections] == ["etude", "honors"]
    assert heard.sections[1].start_s == pytest.approx(second[0], abs=0.05)
    assert heard.remarks == ()
