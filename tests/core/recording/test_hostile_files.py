"""Files that are broken, disguised or meant to do harm: one plain sentence, nothing else."""

from __future__ import annotations

import os
import subprocess
import textwrap
import wave

import av
import pytest

from fairhearing.core.errors import RecordingError
from fairhearing.core.recording import Limits, guard, listen

H264 = ("-c:v", "libx264", "-preset", "ultrafast", "-pix_fmt", "yuv420p", "-c:a", "aac")


def says(path, **given) -> str:
    """The sentence with which a file is refused."""
    with pytest.raises(RecordingError) as caught:
        listen(path, [], **given)
    sentence = str(caught.value)
    assert "\n" not in sentence
    assert sentence.endswith(".")
    assert os.path.basename(path) in sentence  # noqa: PTH119 - str or Path
    assert os.path.dirname(path) not in sentence  # noqa: PTH120
    return sentence


def test_missing_folder_empty_and_special(tmp_path):
    assert "does not exist" in says(tmp_path / "none.mp4")
    folder = tmp_path / "takes.mp4"
    folder.mkdir()
    assert "is a folder" in says(folder)
    empty = tmp_path / "empty.mp4"
    empty.touch()
    assert "is empty" in says(empty)


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="named pipes exist on POSIX only")
def test_a_named_pipe_is_not_waited_for(tmp_path):
    os.mkfifo(tmp_path / "pipe.mp4")
    assert "not an ordinary file" in says(tmp_path / "pipe.mp4")


@pytest.mark.parametrize(
    "content",
    [
        "Dear judges, please find attached …\n",
        "#EXTM3U\n#EXTINF:10,\nsecret.txt\n",
        "ffconcat version 1.0\nfile secret.txt\n",
        "v=0\no=- 0 0 IN IP4 127.0.0.1\nc=IN IP4 127.0.0.1\nm=audio 5004 RTP/AVP 0\n",
        "1\n00:00:00,000 --> 00:00:09,000\nsubtitle\n",
        '<?xml version="1.0"?><MPD><BaseURL>secret.txt</BaseURL></MPD>',
        "\ufefftext with a mark\n",
    ],
)
def test_text_playlists_and_session_files_renamed(content, tmp_path):
    path = tmp_path / "take.mp4"
    path.write_text(content, encoding="utf-8")
    assert "holds text" in says(path)


@pytest.mark.parametrize(
    "head", [b"\x89PNG\r\n\x1a\n", b"%PDF-1.7\n\xff", b"PK\x03\x04", b"RIFF\0\0\0\0AVI LIST", b"\0"]
)
def test_other_kinds_of_file(head, tmp_path):
    path = tmp_path / "take.mp4"
    path.write_bytes(head + bytes(range(256)) * 40)
    assert "not a kind of recording" in says(path)


def test_a_film_that_breaks_off_before_its_table_of_contents(clip, tmp_path):
    path = tmp_path / "cut.mp4"
    path.write_bytes(clip("plain.mp4", *H264).read_bytes()[:60_000])
    assert "breaks off" in says(path)


def test_a_film_that_breaks_off_later_is_heard_up_to_there(clip, tmp_path, keeper):
    whole = clip("front.mp4", *H264, "-movflags", "+faststart", seconds=6).read_bytes()
    path = tmp_path / "cut.mp4"
    path.write_bytes(whole[: len(whole) // 2])
    probe = listen(path, [keeper])
    assert 2 < probe.duration_s < 4
    assert any("announces 0:06" in warning for warning in probe.warnings)


def test_a_webm_that_breaks_off_is_heard_up_to_there(clip, tmp_path, keeper):
    vp9 = ("-c:v", "libvpx-vp9", "-deadline", "realtime", "-cpu-used", "8", "-c:a", "libopus")
    whole = clip("whole.webm", *vp9, seconds=6).read_bytes()
    path = tmp_path / "cut.webm"
    path.write_bytes(whole[: len(whole) // 2])
    probe = listen(path, [keeper])
    assert 2 < probe.duration_s < 4
    assert any("announces 0:06" in warning for warning in probe.warnings)


def test_no_sound_track(clip, keeper):
    path = clip("mute.mp4", *H264[:6], "-an")
    assert "no sound track" in says(path)
    probe = listen(path, [keeper], sound_required=False)
    assert probe.audio is None
    assert len(keeper.pictures) == 60


def test_a_sound_track_of_no_length(tmp_path):
    path = tmp_path / "nothing.wav"
    with wave.open(str(path), "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(2)
        file.setframerate(8000)
    assert "nothing in it" in says(path)


def test_a_codec_that_is_not_read(clip):
    path = clip("old.mov", "-c:v", "mpeg4", "-c:a", "aac")
    assert "mpeg4" in says(path)


def test_limits_on_size_length_and_number(clip):
    path = clip("plain.mp4", *H264)
    assert "larger than" in says(path, limits=Limits(file_bytes=1000))
    assert "larger than 4K" in says(path, limits=Limits(picture_pixels=1000))
    assert "320 × 180" in says(path, limits=Limits(picture_pixels=1000))
    assert "longer than" in says(path, limits=Limits(duration_s=1))
    assert "more than 30 pictures" in says(path, limits=Limits(pictures=30))


def test_an_unannounced_length_is_bounded_too(clip):
    live = ("-f", "webm", "-live", "1", "-c:v", "libvpx", "-deadline", "realtime", "-cpu-used", "8")
    path = clip("live.webm", *live, "-c:a", "libopus")
    assert "longer than" in says(path, limits=Limits(duration_s=1))


def test_a_picture_of_8192_by_8192(ffmpeg, tmp_path):
    path = tmp_path / "bomb.mp4"
    ffmpeg("-f", "lavfi", "-i", "color=black:s=8192x8192:r=30", "-f", "lavfi", "-i", "anullsrc",
           "-frames:v", "2", "-shortest", *H264, path)  # fmt: skip
    assert "8192 × 8192" in says(path)
    huge = Limits(picture_pixels=1 << 28, memory_bytes=300 << 20)
    assert any(word in says(path, limits=huge) for word in ("memory", "damaged", "ended"))


def test_waiting_has_an_end(clip):
    path = clip("plain.mp4", *H264)
    assert "far longer" in says(path, limits=Limits(start_s=0.0, pace=0.0))


@pytest.fixture
def started(monkeypatch) -> list[subprocess.Popen]:
    """Every child that is started."""
    children = []
    popen = subprocess.Popen

    def start(*given, **named):
        children.append(popen(*given, **named))
        return children[-1]

    monkeypatch.setattr(guard.subprocess, "Popen", start)
    return children


@pytest.mark.parametrize("when", ["begin", "sound", "picture", "finish"])
def test_an_observers_error_comes_through_and_the_child_is_gone(when, clip, keeper, started):
    def fail(*_):
        raise ZeroDivisionError("the observer's own")

    setattr(keeper, when, fail)
    with pytest.raises(ZeroDivisionError, match="the observer's own"):
        listen(clip("plain.mp4", *H264), [keeper])
    assert len(started) == 1
    assert started[0].poll() is not None


def child_that(monkeypatch, tmp_path, code: str) -> None:
    """Put another program in the place of the decoder, as a hostile file might."""
    path = tmp_path / "child.py"
    path.write_text("import os, sys, struct, json, time\n" + textwrap.dedent(code))
    monkeypatch.setattr(guard, "_CHILD", path)


PROBE = """
def say(kind, payload):
    os.write(1, kind + struct.pack("<I", len(payload)) + payload)
FACTS = {"container": "other", "brands": [], "order": [], "created": None, "writers": [],
    "fragmented": False, "tracks": []}
say(b"P", json.dumps({"facts": FACTS, "duration_s": 1,
    "video": {"codec": "h264", "width": 2, "height": 2, "rotation_deg": 0, "frame_rate": 30},
    "audio": {"codec": "aac", "sample_rate_hz": 8000,
    "channels": 1}}).encode())
"""


@pytest.mark.parametrize(
    "code",
    [
        "os.abort()",
        "sys.exit(0)",
        "os.write(1, b'nonsense' * 1000)",
        "os.write(1, b'P' + struct.pack('<I', 2**32 - 1))",
        "os.write(1, b'P' + struct.pack('<I', 9) + b'no json !')",
        "os.write(1, b'P' + struct.pack('<I', 2) + b'[]')",
        "os.write(1, b'P' + struct.pack('<I', 100) + b'short')",
        "os.write(1, b'E' + struct.pack('<I', 2) + b'{}')",
        PROBE + "say(b'S', struct.pack('<qqIB', 0, 0, 1, 1) + bytes(4))",
        PROBE + "say(b'S', struct.pack('<qqIB', 0, 1, 1, 2) + bytes(8))",
        PROBE + "say(b'S', struct.pack('<qqIB', 0, 1, 9, 1) + bytes(4))",
        PROBE + "say(b'V', struct.pack('<qqHHB', 0, 1, 3, 3, 1) + bytes(4))",
        PROBE + "say(b'V', struct.pack('<qqHHB', 0, 1, 0, 0, 1))",
        PROBE + "say(b'V', b'')",
        PROBE + "say(b'?', b'')",
        PROBE.replace("8000", "0"),
        PROBE.replace('"tracks": []', '"tracks": [{}]'),
        PROBE.replace('"tracks": []', '"tracks": 7'),
        PROBE.replace('"h264"', '"<script>"'),
    ],
)
def test_a_child_that_was_taken_over_cannot_do_harm(code, clip, monkeypatch, tmp_path, started):
    child_that(monkeypatch, tmp_path, code)
    assert "ended without a result" in says(clip("plain.mp4", *H264))
    assert started[0].poll() is not None


def test_a_well_behaved_child_in_that_place_would_be_heard(clip, monkeypatch, tmp_path, keeper):
    child_that(
        monkeypatch,
        tmp_path,
        PROBE
        + "say(b'S', struct.pack('<qqIB', 0, 1, 1, 1) + bytes(4))\n"
        + "say(b'V', struct.pack('<qqHHB', 0, 1, 2, 2, 1) + bytes(4))\n"
        + "say(b'E', b'{\"sound_end_s\": 1, \"spoiled\": 0}')\n",
    )
    assert listen(clip("plain.mp4", *H264), [keeper]).duration_s == 1
    assert len(keeper.pictures) == 1


def test_words_of_the_child_do_not_reach_the_screen(clip, monkeypatch, tmp_path):
    words = {"reason": "codec", "figures": {"codec": "\x1b[2J<b>owned</b>" * 50}}
    child_that(
        monkeypatch,
        tmp_path,
        f"""
        words = json.dumps({words!r}).encode()
        os.write(1, b"X" + struct.pack("<I", len(words)) + words)
        """,
    )
    sentence = says(clip("plain.mp4", *H264))
    assert "\x1b" not in sentence
    assert "<" not in sentence
    assert len(sentence) < 250


def test_the_child_sees_no_secret_and_no_other_file(clip, monkeypatch, tmp_path):
    monkeypatch.setenv("DATABASE_PASSWORD", "hunter2")
    child_that(
        monkeypatch,
        tmp_path,
        """
        more = [n for n in range(3, 200) if os.path.exists(f"/proc/self/fd/{n}")]
        seen = "secret" if "DATABASE_PASSWORD" in os.environ or len(more) > 1 else "nothing"
        words = json.dumps({"reason": "codec", "figures": {"codec": seen}}).encode()
        os.write(1, b"X" + struct.pack("<I", len(words)) + words)
        """,
    )
    assert "(nothing)" in says(clip("plain.mp4", *H264))


def with_reference_outside(film: bytes, target: bytes) -> bytes:
    """Make every data reference (QuickTime File Format, "alis") point to another file.

    The table of contents lies behind the media data, so that no offset moves.
    """
    path = target + bytes(len(target) % 2)
    alias = bytes(10) + bytes(28) + bytes(12) + bytes(64) + bytes(16) + bytes(4) + bytes(16)
    alias += (2).to_bytes(2) + len(target).to_bytes(2) + path + b"\xff\xff\0\0"

    def grown(start: int, end: int) -> bytes:
        out, place = b"", start
        while place + 8 <= end:
            size = int.from_bytes(film[place : place + 4])
            kind, stop = film[place + 4 : place + 8], place + size
            if kind == b"dref":
                entry = b"alis" + bytes(4) + alias
                entry = (len(entry) + 4).to_bytes(4) + entry
                content = bytes(4) + (1).to_bytes(4) + entry
            elif kind in (b"moov", b"trak", b"mdia", b"minf", b"dinf"):
                content = grown(place + 8, stop)
            else:
                content = film[place + 8 : stop]
            out += (len(content) + 8).to_bytes(4) + kind + content
            place = stop
        return out

    return grown(0, len(film))


def test_a_film_that_points_to_another_file_does_not_get_it(clip, tmp_path, keeper):
    secret = clip("secret.mov", *H264[:6], "-c:a", "pcm_s16le")
    film = with_reference_outside(secret.read_bytes(), os.fsencode(secret))
    path = tmp_path / "points.mov"
    # The pointing film's own media data are zeros; what is heard can only come from elsewhere.
    start = film.index(b"mdat") + 4
    length = int.from_bytes(film[start - 8 : start - 4]) - 8
    path.write_bytes(film[:start] + bytes(length) + film[start + length :])
    # Unguarded and willing, a player would hear the other file's sound.
    willing = {"enable_drefs": "1", "use_absolute_path": "1"}
    with av.open(str(path), options=willing) as container:
        assert any(frame.to_ndarray().any() for frame in container.decode(audio=0))
    try:
        listen(path, [keeper])
    except RecordingError:
        return
    assert not any(block.samples.any() for block in keeper.blocks)
