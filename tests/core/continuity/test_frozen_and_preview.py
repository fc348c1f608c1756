from fractions import Fraction

import cv2
import numpy as np
import pytest

from fairhearing.core.continuity.finding import Channel, summary
from fairhearing.core.continuity.frozen_picture import frozen_findings, frozen_spans
from fairhearing.core.continuity.observer import ContinuityObserver
from fairhearing.core.continuity.picture_jump import PictureTracer
from fairhearing.core.recording.types import AudioStream, Picture, Probe, SoundBlock, VideoStream


def trace_of(pictures):
    tracer = PictureTracer()
    for i, luma in enumerate(pictures):
        tracer.add(Picture(Fraction(i, 30), luma, False))
    return tracer.trace()


def test_a_long_stand_still_is_found_where_it_is(takes):
    pictures = takes.pictures(6, 1)
    stopped = pictures[:60] + [pictures[60]] * 90 + pictures[60:]
    ((start_s, end_s),) = frozen_spans(trace_of(stopped))
    assert (start_s, end_s) == (pytest.approx(2.0, abs=0.04), pytest.approx(5.0, abs=0.04))
    (finding,) = frozen_findings(trace_of(stopped))
    assert finding.channel == Channel.FROZEN_PICTURE and "busy" in finding.says


def test_a_stutter_and_a_doubled_frame_rate_are_not_mentioned(takes):
    pictures = takes.pictures(6, 2)
    assert frozen_findings(trace_of(pictures)) == ()
    assert frozen_findings(trace_of(pictures[:60] + [pictures[60]] * 20 + pictures[60:])) == ()
    assert frozen_findings(trace_of([p for p in pictures for _ in (0, 1)])) == ()


def test_a_photo_in_place_of_a_film_is_one_finding(takes):
    (finding,) = frozen_findings(trace_of(takes.pictures(1, 3)[:1] * 200))
    assert finding.end_s - finding.start_s > 6


def test_a_preview_shows_the_frames_on_either_side(tmp_path, takes):
    observer = ContinuityObserver()
    video, audio = VideoStream("h264", 320, 180, 0, 30.0, False), AudioStream("aac", 48000, 1)
    observer.begin(Probe("a.mp4", "0", 1, "mp4", 6.0, video, audio))
    dark = np.full((180, 320), 60, np.uint8)
    dark[:, ::7] = 90
    bright = np.full((180, 320), 60, np.uint8)
    bright[::5] = 220
    sound = takes.sound(6, 1)
    for i in range(180):
        grain = np.random.default_rng(i).integers(0, 6, (180, 320)).astype(np.uint8)
        observer.picture(Picture(Fraction(i, 30), (dark if i < 91 else bright) + grain, False))
        part = sound[i * 1600 : (i + 1) * 1600, None]
        observer.sound(SoundBlock(Fraction(i, 30), part))
    observer.finish()
    jump = next(f for f in observer.findings if f.channel == Channel.PICTURE)
    png = observer.preview(jump)
    sheet = cv2.imdecode(np.frombuffer(png, np.uint8), cv2.IMREAD_GRAYSCALE)
    assert sheet.shape[1] == 960 and 200 < sheet.shape[0] < 300
    left, right = sheet[4:60, 364:470], sheet[4:60, 490:590]
    assert right.mean() > left.mean() + 15  # the last old frame and the first new one


def test_no_preview_without_anything_kept():
    observer = ContinuityObserver()
    observer.begin(Probe("a.wav", "0", 1, "wav", 5.0, None, AudioStream("pcm", 48000, 1)))
    observer.finish()
    assert summary(observer.findings) == "nothing unusual"
    from fairhearing.core.continuity.finding import Finding

    assert observer.preview(Finding(Channel.SOUND, 1.0, 1.1, 0.3, "Listen.")) is None
