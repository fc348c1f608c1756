"""Times, samples and pictures of genuine recordings, against another FFmpeg and the packets."""

from __future__ import annotations

import hashlib
import shutil
from fractions import Fraction
from itertools import pairwise

import av
import numpy as np
import pytest

from fairhearing.core.recording import listen

H264 = ("-c:v", "libx264", "-preset", "ultrafast", "-pix_fmt", "yuv420p", "-c:a", "aac")
HEVC = ("-c:v", "libx265", "-preset", "ultrafast", "-x265-params", "log-level=error")
VP9 = ("-c:v", "libvpx-vp9", "-deadline", "realtime", "-cpu-used", "8", "-c:a", "libopus")
VP8 = ("-c:v", "libvpx", "-deadline", "realtime", "-cpu-used", "8", "-c:a", "libvorbis", "-ac", "2")
VARIABLE = ("-vf", "select='not(eq(mod(n,7),3))*not(between(n,20,24))'", "-fps_mode", "vfr")

KINDS = {
    "plain.mp4": H264,
    "b-frames.mov": ("-c:v", "libx264", "-bf", "2", "-c:a", "aac"),
    "hevc.mov": (*HEVC, "-tag:v", "hvc1", "-c:a", "aac"),
    "vp9.webm": VP9,
    "vp8.webm": VP8,
    "variable.mp4": (*VARIABLE, *H264),
    "variable.webm": (*VARIABLE, *VP9),
    "timescale.mov": (*VARIABLE, *H264, "-video_track_timescale", "600"),
    "late-sound.mp4": (*H264, "-af", "asetpts=PTS+0.3/TB"),
}

# Coders fill up the last frame; how much of the filling is cut off differs between players.
PADDING = 1152


def packet_times(path) -> list[Fraction]:
    """Presentation times of the picture track by its packets, undecoded."""
    with av.open(str(path)) as container:
        video = container.streams.video[0]
        packets = [p for p in container.demux(video) if p.pts is not None and not p.is_discard]
        return sorted(p.pts * p.time_base for p in packets)


@pytest.mark.parametrize("name", KINDS)
def test_picture_times_are_the_files_own(name, clip, keeper, shown_times):
    path = clip(name, *KINDS[name])
    listen(path, [keeper])
    times = [picture.time for picture in keeper.pictures]
    assert times == packet_times(path)
    assert times == shown_times(path)[0]
    assert keeper.finished


@pytest.mark.parametrize("name", KINDS)
def test_sound_is_the_other_decoders_sound_at_its_place(name, clip, keeper, ffmpeg, shown_times):
    path = clip(name, *KINDS[name])
    listen(path, [keeper])
    audio = keeper.probe.audio
    _, starts, counts = shown_times(path)
    assert float(keeper.blocks[0].start) == pytest.approx(float(starts[0]), abs=1e-3)
    samples = keeper.joined()
    assert len(samples) == pytest.approx(sum(counts), abs=PADDING)
    raw = ffmpeg("-i", path, "-vn", "-f", "f32le", "-af", "asetpts=N/SR/TB", "-").stdout
    other = np.frombuffer(raw, "<f4").reshape(-1, audio.channels)
    both = min(len(other), len(samples))
    assert np.abs(other[:both] - samples[:both]).max() < 1e-4
    for before, after in pairwise(keeper.blocks):
        assert after.start == before.start + Fraction(len(before.samples), audio.sample_rate_hz)


@pytest.mark.parametrize("name", ["cup.mp4", "box.mp4"])
def test_camera_files_that_nobody_here_made(name, debian_clip, keeper, shown_times):
    path = debian_clip(name)
    probe = listen(path, [keeper])
    pictures, sounds, counts = shown_times(path)
    times = [picture.time for picture in keeper.pictures]
    # box.mp4 has no table of composition offsets; its last two pictures share a time.
    assert times == sorted(set(pictures))
    assert float(keeper.blocks[0].start) == pytest.approx(float(sounds[0]), abs=1e-4)
    assert len(keeper.joined()) == pytest.approx(sum(counts), abs=PADDING)
    assert probe.sha256 == hashlib.sha256(path.read_bytes()).hexdigest()
    assert probe.bytes == path.stat().st_size
    assert probe.warnings == ()
    assert (probe.video.width, probe.video.height) == (640, 480)


@pytest.mark.parametrize("turn", [0, 90, 180, 270])
def test_rotated_pictures_stand_upright(turn, clip, keeper, ffmpeg, tmp_path):
    flat = clip("plain.mp4", *H264)
    path = tmp_path / f"turned-{turn}.mp4"
    ffmpeg("-display_rotation", turn, "-i", flat, "-c", "copy", path)
    probe = listen(path, [keeper])
    width, height = (320, 180) if turn in (0, 180) else (180, 320)
    # The other FFmpeg turns pictures upright by itself, as players do.
    raw = ffmpeg("-i", path, "-an", "-f", "rawvideo", "-pix_fmt", "gray", "-").stdout
    other = np.frombuffer(raw, np.uint8).reshape(-1, height, width).astype(int)
    ours = np.stack([picture.luma for picture in keeper.pictures]).astype(int)
    assert ours.shape == other.shape
    # "gray" is full range, the file's luma 16…235.
    assert np.abs((ours - 16) * 255 / 219 - other).mean() < 1.5
    assert probe.video.rotation_deg == -turn % 360


@pytest.mark.parametrize(
    ("size", "shape"),
    [("1920x1080", (180, 320)), ("1080x1920", (320, 180)), ("854x480", (180, 320))],
)
def test_large_pictures_are_reduced_by_area(size, shape, clip, keeper, ffmpeg):
    path = clip("large.mp4", *H264, size=size, seconds=0.2)
    listen(path, [keeper])
    assert keeper.pictures[0].luma.shape == shape
    scale = f"scale={shape[1]}:{shape[0]}:flags=area,format=yuv420p"
    raw = ffmpeg("-i", path, "-an", "-vf", scale, "-f", "rawvideo", "-").stdout
    planes = np.frombuffer(raw, np.uint8).reshape(-1, shape[0] * shape[1] * 3 // 2)
    other = planes[:, : shape[0] * shape[1]].reshape(-1, *shape).astype(int)
    ours = np.stack([picture.luma for picture in keeper.pictures]).astype(int)
    assert np.abs(ours - other).mean() < 4


def test_ten_bit_pictures_and_frame_rate(clip, keeper):
    path = clip("deep.mov", *HEVC, "-pix_fmt", "yuv420p10le", "-c:a", "aac")
    flat = clip("flat.mov", *HEVC, "-pix_fmt", "yuv420p", "-c:a", "aac")
    probe = listen(path, [keeper])
    other = type(keeper)()
    listen(flat, [other])
    gap = [
        np.abs(a.luma.astype(int) - b.luma).mean()
        for a, b in zip(keeper.pictures, other.pictures, strict=True)
    ]
    assert max(gap) < 3
    assert probe.video.codec == "hevc"
    assert probe.video.frame_rate == pytest.approx(30)
    assert probe.video.variable_rate is False


def test_variable_frame_rate_is_seen(clip, keeper):
    assert listen(clip("v.mp4", *VARIABLE, *H264), [keeper]).video.variable_rate is True
    webm = clip("fixed.webm", *VP9)
    assert listen(webm, [type(keeper)()]).video.variable_rate is False


def test_key_frames_are_marked(clip, keeper):
    path = clip("keys.mp4", *H264, "-g", "15", "-sc_threshold", "0")
    listen(path, [keeper])
    keys = [n for n, picture in enumerate(keeper.pictures) if picture.key_frame]
    assert keys == [0, 15, 30, 45]


@pytest.mark.parametrize(
    ("name", "arguments", "container", "codec"),
    [
        ("s.m4a", ("-vn", "-c:a", "aac"), "m4a", "aac"),
        ("s.mp3", ("-vn", "-c:a", "libmp3lame"), "mp3", "mp3"),
        ("s.wav", ("-vn",), "wav", "pcm_s16le"),
        ("s24.wav", ("-vn", "-c:a", "pcm_s24le"), "wav", "pcm_s24le"),
        ("float.wav", ("-vn", "-c:a", "pcm_f32le"), "wav", "pcm_f32le"),
        ("alac.m4a", ("-vn", "-c:a", "alac"), "m4a", "alac"),
    ],
)
def test_sound_only_files(name, arguments, container, codec, clip, keeper, ffmpeg):  # noqa: PLR0917
    path = clip(name, *arguments, rate=44100)
    probe = listen(path, [keeper])
    assert (probe.container, probe.audio.codec, probe.video) == (container, codec, None)
    assert probe.audio.sample_rate_hz == 44100
    assert keeper.blocks[0].start == 0
    raw = ffmpeg("-i", path, "-f", "f32le", "-").stdout
    other = np.frombuffer(raw, "<f4")
    assert np.abs(other - keeper.joined()[:, 0]).max() < 1e-4
    assert probe.duration_s == pytest.approx(2, abs=0.05)


def test_the_name_does_not_matter_only_the_content(clip, keeper, tmp_path):
    path = tmp_path / "really a wav.mp4"
    shutil.copy(clip("s.wav", "-vn"), path)
    assert listen(path, [keeper]).container == "wav"


def test_six_channels_are_folded_to_two(clip, keeper):
    path = clip("surround.mp4", *H264, "-ac", "6")
    probe = listen(path, [keeper])
    assert probe.audio.channels == 2
    assert np.abs(keeper.joined()).max() > 0.05


def test_pictures_can_be_left_out(clip, keeper):
    probe = listen(clip("plain.mp4", *H264), [keeper], pictures=False)
    assert probe.video is None
    assert keeper.pictures == []
    assert len(keeper.joined()) > 90_000


def test_cover_art_is_not_a_picture_track(clip, keeper, ffmpeg, tmp_path):
    song = clip("s.mp3", "-vn", "-c:a", "libmp3lame")
    ffmpeg("-f", "lavfi", "-i", "color=red:s=64x64", "-frames:v", "1", tmp_path / "cover.png")
    path = tmp_path / "covered.mp3"
    ffmpeg("-i", song, "-i", tmp_path / "cover.png", "-map", "0", "-map", "1", "-c", "copy",
           "-disposition:v", "attached_pic", path)  # fmt: skip
    assert listen(path, [keeper]).video is None


def test_a_hole_in_the_sound_stays_where_it_is(clip, keeper):
    gap = "aselect='lt(t,0.7)+gt(t,1.3)'"
    path = clip("hole.webm", "-af", gap, *VP9)
    listen(path, [keeper])
    ends = [
        b.start + Fraction(len(b.samples), keeper.probe.audio.sample_rate_hz) for b in keeper.blocks
    ]
    holes = [
        (float(end), float(block.start))
        for end, block in zip(ends, keeper.blocks[1:], strict=False)
        if block.start > end
    ]
    assert len(holes) == 1
    assert holes[0] == pytest.approx((0.7, 1.3), abs=0.05)


def test_a_sound_track_that_changes_its_rate_midway(clip, keeper, tmp_path):
    first = clip("first.mp3", "-vn", "-c:a", "libmp3lame", rate=44100)
    second = clip("second.mp3", "-vn", "-c:a", "libmp3lame", rate=32000)
    path = tmp_path / "two.mp3"
    path.write_bytes(first.read_bytes() + second.read_bytes())
    probe = listen(path, [keeper])
    assert probe.audio.sample_rate_hz == 44100
    assert len(keeper.joined()) / 44100 == pytest.approx(4, abs=0.3)
    late = keeper.joined()[3 * 44100 : round(3.5 * 44100)]
    assert np.abs(late).max() > 0.2
