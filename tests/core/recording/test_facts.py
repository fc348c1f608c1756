"""Raw boxes and elements against independent readers: PyAV's packets, another FFmpeg's trace."""

from __future__ import annotations

import io
import re
import subprocess
from fractions import Fraction
from itertools import accumulate

import av
import pytest

from fairhearing.core.recording import listen, screen
from fairhearing.core.recording.facts import NO_FACTS, TrackFacts, in_runs, plain_text
from fairhearing.core.recording.iso_facts import read_iso

H264 = ("-c:v", "libx264", "-preset", "veryfast", "-pix_fmt", "yuv420p", "-g", "20", "-c:a", "aac")
VP9 = ("-c:v", "libvpx-vp9", "-deadline", "realtime", "-cpu-used", "8", "-c:a", "libopus")
VARIABLE = ("-vf", "select='not(eq(mod(n,7),3))*not(between(n,20,24))'", "-fps_mode", "vfr")
ISO = {
    "plain.mp4": (*H264, "-bf", "0"),
    "b-frames.mov": (*H264, "-bf", "3"),
    "variable.mov": (*VARIABLE, *H264, "-video_track_timescale", "600"),
    "front.mp4": (*H264, "-movflags", "+faststart"),
    "fragments.mp4": (*H264, "-movflags", "+frag_keyframe+empty_moov+default_base_moof"),
}
MATROSKA = {
    "vp9.webm": VP9,
    "variable.webm": (*VARIABLE, *VP9),
    "h264.mkv": H264,
    "live.webm": ("-f", "webm", "-live", "1", *VP9),
}


def expanded(runs) -> list[int]:
    return [ticks for count, ticks in runs for _ in range(count)]


def packets(path, kind):
    """Decoding and showing times in ticks, and the key frames; the edit list taken out again."""
    with av.open(str(path), options={"ignore_editlist": "1"} if kind == "iso" else {}) as container:
        for stream in container.streams:
            yield stream.type, [p for p in container.demux(stream) if p.size]
            container.seek(0)


def of_kind(facts, kind) -> TrackFacts:
    return next(track for track in facts.tracks if track.kind == kind)


@pytest.mark.parametrize("name", ISO)
def test_sample_tables_agree_with_the_packets(name, clip):
    path = clip(name, *ISO[name])
    facts = listen(path, []).facts
    assert facts.container == "iso"
    assert facts.fragmented == (name == "fragments.mp4")
    for kind, given in packets(path, "iso"):
        track = of_kind(facts, kind)
        ticks = expanded(track.durations)
        assert len(ticks) == len(given)
        decoded = [track.starts_at, *accumulate(ticks[:-1], initial=track.starts_at)][1:]
        first = given[0].dts - decoded[0]  # FFmpeg starts decoding early instead of showing late
        assert [p.dts - first for p in given] == decoded
        offsets = expanded(track.offsets) or [0] * len(ticks)
        assert [p.pts - p.dts + first for p in given] == offsets
        keys = track.key_frames
        assert [n for n, p in enumerate(given) if p.is_keyframe] == (
            list(range(len(given))) if keys is None else list(keys)
        )
        assert given[0].time_base == Fraction(1, track.timescale)


@pytest.mark.parametrize("name", ["plain.mp4", "b-frames.mov", "variable.mov"])
def test_edit_lists_agree_with_another_reader(name, clip, tmp_path):
    imageio_ffmpeg = pytest.importorskip("imageio_ffmpeg")
    program = imageio_ffmpeg.get_ffmpeg_exe()
    path = tmp_path / f"cut-{name}"
    cut = [program, "-v", "error", "-ss", "0.8", "-i", str(clip(name, *ISO[name])), "-c", "copy"]
    subprocess.run([*cut, str(path)], check=True)
    trace = subprocess.run(
        [program, "-v", "trace", "-i", str(path)], check=False, capture_output=True
    ).stderr.decode(errors="replace")
    # The other FFmpeg's trace: "duration=… time=… rate=…" for each entry, in file order.
    seen = [
        (int(lasts), int(time))
        for lasts, time in re.findall(r"duration=(\d+) time=(-?\d+) ", trace)
    ]
    edits = [edit for track in screen(path).facts.tracks for edit in track.edits]
    assert [edit.media_time for edit in edits] == [time for _, time in seen]
    movie = int(re.search(r"time scale = (\d+)", trace)[1])
    assert [edit.lasts_s for edit in edits] == [Fraction(lasts, movie) for lasts, _ in seen]


@pytest.mark.parametrize("name", MATROSKA)
def test_blocks_agree_with_the_packets(name, clip):
    path = clip(name, *MATROSKA[name])
    facts = screen(path).facts
    assert facts.container == "matroska"
    with av.open(str(path)) as container:
        given = {"video": [], "audio": []}
        for packet in container.demux():
            if packet.size:
                given[packet.stream.type].append(packet)
    for kind, theirs in given.items():
        track = of_kind(facts, kind)
        times = [*accumulate(expanded(track.durations)[:-1], initial=track.starts_at)]
        shift = theirs[0].pts - times[0]  # Opus: FFmpeg takes the coder's delay off
        assert track.timescale == 1000
        assert [p.pts - shift for p in theirs] == pytest.approx(times, abs=1)
        if kind == "video":
            keys = track.key_frames or range(len(times))
            assert [n for n, p in enumerate(theirs) if p.is_keyframe] == list(keys)
    assert any("Lavf" in text for text in facts.writers)


def test_origin_of_a_film(ffmpeg, clip, tmp_path):
    path = tmp_path / "told.mov"
    ffmpeg("-i", clip("plain.mp4", *ISO["plain.mp4"]), "-c", "copy", "-metadata",
           "creation_time=2026-05-04T03:02:01Z", "-metadata", "make=Invented", "-movflags",
           "use_metadata_tags", path)  # fmt: skip
    facts = screen(path).facts
    assert facts.created == 1777863721  # date -ud 2026-05-04T03:02:01Z +%s
    assert facts.brands[0] == "qt"
    assert "make: Invented" in facts.writers
    assert facts.order[0] == "ftyp"
    assert {"moov", "mdat"} <= set(facts.order)
    assert {track.handler for track in facts.tracks} == {"VideoHandler", "SoundHandler"}


def test_debians_clips(debian_clip):
    cup = screen(debian_clip("cup.mp4")).facts
    assert cup.created == 1504232628  # PyAV reads 2017-09-01T02:23:48Z
    assert [track.handler for track in cup.tracks] == ["Core Media Audio", "Core Media Video"]
    assert of_kind(cup, "video").key_frames == tuple(range(0, 217, 30))
    box = screen(debian_clip("box.mp4")).facts
    assert [edit.media_time for edit in of_kind(box, "audio").edits] == [-1, 0]


def test_a_screened_file_is_told_like_a_heard_one(clip):
    path = clip("plain.mp4", *ISO["plain.mp4"])
    screened, heard = screen(path), listen(path, [])
    assert screened.facts == heard.facts
    assert screened.video == heard.video
    assert (screened.audio, screened.sha256) == (heard.audio, heard.sha256)


def test_sound_files_have_no_tables(clip):
    assert screen(clip("s.wav", "-vn")).facts == NO_FACTS


def test_runs_and_texts():
    assert in_runs([3, 3, 5, 3]) == ((2, 3), (1, 5), (1, 3))
    assert in_runs([]) == ()
    assert plain_text(b"a\x00\x1bb\xff\n c" + b"x" * 200) == "ab c" + "x" * 76


def test_no_file_and_half_a_file():
    assert read_iso(io.BytesIO(b"")).tracks == ()
    assert read_iso(io.BytesIO(b"\0\0\0\x08moov\0\0\0\x09trak")).tracks == ()
