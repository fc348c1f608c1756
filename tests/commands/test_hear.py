"""``fairhearing hear`` as a director types it: real files, broken files, folders."""

from __future__ import annotations

import gzip
import json
import math
import shutil
import struct
import subprocess
import wave
from pathlib import Path

import pytest

from fairhearing.cli import main

CUP = Path("/usr/share/doc/opencv-doc/opencv4/html/cup.mp4.gz")
KEYS = {
    *("version", "file", "continuity", "quality", "sections", "notes", "tuning"),
    *("chromatic", "scales", "etude", "timing"),
}


@pytest.fixture(scope="module")
def ffmpeg() -> str:
    return pytest.importorskip("imageio_ffmpeg").get_ffmpeg_exe()


def tone(path: Path, seconds: float = 2.0, rate: int = 44_100) -> Path:
    """A wav of one A4, as any recorder writes it."""
    samples = [
        round(9000 * math.sin(2 * math.pi * 440 * i / rate)) for i in range(int(seconds * rate))
    ]
    with wave.open(str(path), "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(2)
        file.setframerate(rate)
        file.writeframes(struct.pack(f"<{len(samples)}h", *samples))
    return path


def hear(path: Path, out: Path, *words: str) -> dict:
    assert main(["hear", str(path), "--json", str(out), *words]) == 0
    report = json.loads(out.read_text(encoding="utf-8"))
    assert report.keys() >= KEYS
    assert report["version"] == 1
    assert report["file"]["bytes"] == path.stat().st_size
    return report


def test_a_real_camera_file(tmp_path, capsys):
    if not CUP.exists():
        pytest.skip("Debian's opencv-doc is not installed")
    take = tmp_path / "cup.mp4"
    take.write_bytes(gzip.decompress(CUP.read_bytes()))
    report = hear(take, tmp_path / "cup.json", "--html", str(tmp_path / "cup.html"))
    assert report["file"]["video"]["codec"] == "h264"
    assert report["file"]["duration_s"] == pytest.approx(8.4, abs=0.5)
    page = (tmp_path / "cup.html").read_text(encoding="utf-8")
    assert 'src="cup.mp4"' in page
    assert "http://" not in page.replace("http://www.w3.org", "")
    assert "cup.mp4" in capsys.readouterr().out


def test_phone_like_files_webm_and_wav(tmp_path, ffmpeg):
    wav = tone(tmp_path / "tone.wav")
    report = hear(wav, tmp_path / "wav.json")
    assert report["file"]["video"] is None
    assert report["quality"]["picture"] is None
    picture = ["-f", "lavfi", "-i", "testsrc2=size=640x360:rate=30:duration=2", "-i", str(wav)]
    for name, codecs in {
        "phone.mov": ["-c:v", "libx265", "-x265-params", "log-level=none", "-c:a", "aac"],
        "browser.webm": ["-c:v", "libvpx", "-c:a", "libopus"],
    }.items():
        take = tmp_path / name
        subprocess.run([ffmpeg, "-v", "error", *picture, *codecs, str(take)], check=True)
        report = hear(take, tmp_path / f"{name}.json")
        assert (report["file"]["video"]["width"], report["file"]["video"]["height"]) == (640, 360)
        assert report["file"]["duration_s"] == pytest.approx(2.0, abs=0.1)
        assert report["quality"]["loudness_lufs"] is not None


def test_one_note_is_heard_where_it_is(tmp_path):
    report = hear(tone(tmp_path / "a4.wav"), tmp_path / "a4.json", "--instrument", "alto sax")
    assert [note["midi"] for note in report["notes"]] == [69]
    # ISO 16: A4 is 440 Hz. The alto saxophone reads nine semitones above what sounds.
    assert report["notes"][0]["written_midi"] == 78
    assert (
        report["tuning"]["reference_hz"] is None
        or abs(report["tuning"]["reference_hz"] - 440) < 1.0
    )


def bad_files(folder: Path) -> dict[str, Path]:
    text = folder / "text.mp4"
    text.write_text("This is a shopping list.\n" * 50)
    playlist = folder / "playlist.mp4"
    playlist.write_text("#EXTM3U\n#EXTINF:5,\n/etc/hostname\n")
    concat = folder / "concat.mp4"
    concat.write_text("ffconcat version 1.0\nfile /etc/hostname\n")
    empty = folder / "empty.mp4"
    empty.touch()
    return {
        "text": text,
        "playlist": playlist,
        "concat": concat,
        "empty": empty,
        "missing": folder / "missing.mp4",
    }


@pytest.mark.parametrize("kind", ["text", "playlist", "concat", "empty", "missing", "truncated"])
def test_a_bad_file_is_one_plain_sentence_and_nothing_is_written(kind, tmp_path, capfd, ffmpeg):
    if kind == "truncated":
        whole = tmp_path / "whole.mp4"
        source = ["-f", "lavfi", "-i", "testsrc2=size=320x180:rate=30:duration=2"]
        subprocess.run([ffmpeg, "-v", "error", *source, str(whole)], check=True)
        bad = tmp_path / "truncated.mp4"
        bad.write_bytes(whole.read_bytes()[: whole.stat().st_size // 2])
    else:
        bad = bad_files(tmp_path)[kind]
    out, page = tmp_path / "out" / "r.json", tmp_path / "out" / "r.html"
    out.parent.mkdir()
    assert main(["hear", str(bad), "--json", str(out), "--html", str(page)]) == 2
    said = capfd.readouterr().err.strip()
    assert said.startswith("fairhearing hear: ")
    assert len(said.splitlines()) == 1, said
    assert "Traceback" not in said
    assert list(out.parent.iterdir()) == []


def test_a_folder_goes_on_where_it_stopped_and_one_broken_file_stops_nothing(tmp_path, capfd):
    takes = tmp_path / "takes"
    takes.mkdir()
    tone(takes / "214.wav", 1.0)
    tone(takes / "215.wav", 1.5)
    bad_files(takes)["text"].rename(takes / "216.mp4")
    for left in ("playlist.mp4", "concat.mp4", "empty.mp4"):
        (takes / left).unlink()
    assert main(["hear", str(takes)]) == 1
    results = takes / "hearings"
    assert {p.name for p in results.iterdir()} == {
        f"{number}.wav.{kind}" for number in (214, 215) for kind in ("json", "html")
    }
    assert "216.mp4" in capfd.readouterr().err

    first = (results / "214.wav.json").stat().st_mtime_ns
    shutil.copy(takes / "214.wav", takes / "216.mp4")
    tone(takes / "215.wav", 1.2)  # another recording under the same name is heard again
    assert main(["hear", str(takes)]) == 0
    assert "1 of 3 were heard before" in capfd.readouterr().err
    assert (results / "214.wav.json").stat().st_mtime_ns == first
    changed = json.loads((results / "215.wav.json").read_text())
    assert changed["file"]["duration_s"] == pytest.approx(1.2, abs=0.01)


def test_a_wrong_word_is_answered_with_the_nearest(tmp_path, capsys):
    take = tone(tmp_path / "t.wav", 0.5)
    assert main(["hear", str(take), "--instrument", "trumpit"]) == 2
    assert 'did you mean "B-flat trumpet"' in capsys.readouterr().err
    assert main(["hear", str(take), "--score", str(tmp_path / "no.musicxml")]) == 2
    assert "no score file" in capsys.readouterr().err
    empty = tmp_path / "empty"
    empty.mkdir()
    assert main(["hear", str(empty)]) == 2
    assert "no recording in the folder" in capsys.readouterr().err
