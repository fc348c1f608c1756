from fractions import Fraction

import cv2
import numpy as np
import pytest

from fairhearing.core.continuity.picture_jump import PictureTracer, jump_scores
from fairhearing.core.recording.types import Picture


def trace_of(pictures, times=None):
    tracer = PictureTracer()
    for i, luma in enumerate(pictures):
        tracer.add(Picture(times[i] if times else Fraction(i, 30), luma, False))
    return tracer.trace()


def highest(pictures, times=None):
    trace = trace_of(pictures, times)
    scores = jump_scores(trace)
    return trace.times_s[np.argmax(scores)], scores.max()


def test_a_join_is_where_it_is_and_above_every_unbroken_take(takes):
    usual = [highest(takes.pictures(6, seed))[1] for seed in range(6)]
    for seed in range(6):
        taken = takes.pictures(7, seed)
        joined = taken[:80] + taken[107:]
        at_s, score = highest(joined)
        assert at_s == pytest.approx(80 / 30, abs=1e-6)
        assert score > max(usual)


def test_a_flash_and_a_brighter_picture_are_no_jump(takes):
    pictures = takes.pictures(5, 3)
    ordinary = highest(pictures)[1]
    flash = list(pictures)
    flash[70] = np.clip(flash[70].astype(int) + np.linspace(0, 120, 320), 0, 255).astype(np.uint8)
    assert highest(flash)[1] < ordinary + 0.7
    brighter = [
        *pictures[:70],
        *(np.clip(p * 1.25, 0, 255).astype(np.uint8) for p in pictures[70:]),
    ]
    assert highest(brighter)[1] < ordinary + 0.7


def test_a_moved_camera_is_mostly_undone(takes):
    pictures = takes.pictures(5, 4)
    shift = np.float32([[1, 0, 6], [0, 1, 3]])
    moved = [
        cv2.warpAffine(p, shift, (320, 180), borderMode=cv2.BORDER_REFLECT) for p in pictures[70:]
    ]
    trace = trace_of(pictures[:70] + moved)
    plain = trace_of(pictures)
    assert trace.change[69] < 3 * np.nanmedian(plain.change)


def test_dropped_frames_with_true_time_stamps_are_expected_to_change_more(takes):
    pictures = takes.pictures(6, 5)
    keep = [i for i in range(180) if not 90 <= i < 96]
    honest = highest([pictures[i] for i in keep], [Fraction(i, 30) for i in keep])[1]
    hidden = highest([pictures[i] for i in keep], [Fraction(k, 30) for k in range(len(keep))])[1]
    assert honest < hidden


def test_repeated_frames_are_marked_and_do_not_count(takes):
    pictures = takes.pictures(5, 6)
    doubled = [p for p in pictures for _ in (0, 1)]
    trace = trace_of(doubled, [Fraction(i, 60) for i in range(len(doubled))])
    assert np.isnan(trace.change).mean() == pytest.approx(0.5, abs=0.01)
    assert jump_scores(trace).max() == pytest.approx(highest(pictures)[1], abs=0.05)


def test_few_frames_score_nothing():
    assert not jump_scores(trace_of([np.zeros((180, 320), np.uint8)] * 3)).any()
