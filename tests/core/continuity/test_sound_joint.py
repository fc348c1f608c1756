"""Linear prediction against SciPy's Toeplitz solver; a step in the wave against one unbroken."""

import numpy as np
import pytest
from scipy import linalg

from fairhearing.core.continuity.sound_joint import (
    BIN_S,
    SoundTracer,
    joint_scores,
    linear_prediction,
)

RATE_HZ = 48000


def trace_of(mono, block=1024):
    tracer = SoundTracer(RATE_HZ)
    for start in range(0, len(mono), block):
        tracer.add(mono[start : start + block].astype(np.float32))
    return tracer.trace(0.0)


def test_predictor_solves_the_normal_equations():
    # scipy.linalg.solve_toeplitz is an independent implementation of the same equations.
    random = np.random.default_rng(7)
    frames = np.cumsum(random.standard_normal((5, 1920)), axis=1).astype(np.float32) * 0.01
    poly = linear_prediction(frames, order=12)
    for frame, got in zip(frames, poly, strict=True):
        windowed = (frame * np.hanning(1920).astype(np.float32)).astype(np.float64)
        lags = np.correlate(windowed, windowed, "full")[1919 : 1919 + 13]
        lags[0] = lags[0] * (1 + 1e-6) + 1e-12
        expected = linalg.solve_toeplitz(lags[:12], -lags[1:13])
        assert got[0] == 1
        assert got[1:] == pytest.approx(expected, abs=2e-3)


def test_a_silent_frame_predicts_nothing():
    assert linear_prediction(np.zeros((2, 480), np.float32))[0] == pytest.approx(
        np.eye(1, 33)[0], abs=1e-9
    )


def test_a_cut_in_a_line_stands_out_where_it_is(takes):
    hits = 0
    for seed in range(8):
        line = takes.sound(8, seed)
        cut = round(3.217 * RATE_HZ)
        joined = np.concatenate([line[:cut], line[cut + 33_333 :]])
        trace = trace_of(joined)
        scores = joint_scores(trace)
        scores[:60] = scores[-60:] = 0
        hits += abs(trace.start_s[np.argmax(scores)] - 3.217) <= 2 * BIN_S
        unbroken = joint_scores(trace_of(line))[60:-60]
        assert unbroken.max() < 1.5
    assert hits >= 7


def test_the_size_of_the_blocks_does_not_matter(takes):
    line = takes.sound(20, 1)
    small, large = trace_of(line, 1024), trace_of(line, 480_000)
    n = min(len(small.peak), len(large.peak))
    assert small.peak[: n - 8] == pytest.approx(large.peak[: n - 8], rel=1e-3, abs=1e-6)


def test_a_take_too_short_to_judge_scores_nothing():
    assert not joint_scores(trace_of(np.zeros(4800))).any()
