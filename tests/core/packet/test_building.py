"""All files of a season's packets: what changed is made again, honors leave no trace in sound."""

from __future__ import annotations

import dataclasses
import hashlib
from pathlib import Path

import pytest

from fairhearing.core.errors import ScoreFileError
from fairhearing.core.packet import building
from fairhearing.core.packet.building import PacketJob, build
from fairhearing.core.packet.instruments import load
from fairhearing.core.packet.parts import part_for
from fairhearing.core.packet.reading import read_score
from fairhearing.core.packet.settings import TrackWish
from fairhearing.core.packet.spec import PacketSpec, Piece, Step
from fairhearing.core.packet.tracks import tuning_note

QUICK = TrackWish(tempi=(200,), formats=("mp3",))


@pytest.fixture
def etude(write_score) -> Path:  # type: ignore[no-untyped-def]
    """Two bars, because every test here makes sound files."""
    path: Path = write_score("etude.musicxml", "Bb4:4 C5:4 D5:4 Eb5:4", "F5:4 G5:4 Bb4:8")
    return path


@pytest.fixture(autouse=True)
def _short_tuning_notes(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(building, "tuning_note", lambda hz: tuning_note(hz, 2.0))


def job_for(etude: Path, honors: Path, name: str = "trumpet", **changes: object) -> PacketJob:
    spec = PacketSpec(
        title="Invented auditions",
        schools="Alder Creek Secondary",
        invented=True,
        instrument=load()[name],
        level="intermediate",
        steps=(
            Step("chromatic", "chromatic"),
            Step("etude", "etude", piece=Piece(etude, "Invented etude")),
            Step("honors", "honors", piece=Piece(honors, "Invented excerpt")),
        ),
    )
    return PacketJob(name, dataclasses.replace(spec, **changes), QUICK)  # type: ignore[arg-type]


def digests(folder: Path) -> dict[str, str]:
    return {
        str(path.relative_to(folder)): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in sorted(folder.rglob("*"))
        if path.is_file() and path.name != ".made.json"
    }


def test_only_what_changed_is_made_again(etude: Path, write_score, tmp_path: Path) -> None:  # type: ignore[no-untyped-def]
    honors = write_score("honors.musicxml", "G4:4 A4:4 Bb4:8", tempo=120)
    out = tmp_path / "packet"
    first = build([job_for(etude, honors)], out, workers=0)
    made = digests(out)
    assert set(made) == {
        "tuning/tuning-A.mp3",
        "tuning/tuning-Bb.mp3",
        "trumpet/packet-en.pdf",
        "trumpet/parts/etude.musicxml",
        "trumpet/parts/honors.musicxml",
        "trumpet/practice-etude-en.html",
        "trumpet/tracks/etude-200.mp3",
    }
    assert sum(done.made for done in first) == 7
    again = build([job_for(etude, honors)], out, workers=0)
    assert sum(done.made for done in again) == 0
    assert sum(done.kept for done in again) == 7
    # A new title is printed and shown, and in the tags; the part's notes are what they were.
    changed = build([job_for(etude, honors, note="Welcome!")], out, workers=0)
    assert sum(done.made for done in changed) == 1
    (out / "trumpet/packet-en.pdf").unlink()
    assert sum(done.made for done in build([job_for(etude, honors)], out, workers=0)) == 1


def test_no_note_of_the_honors_excerpt_is_in_any_track_or_page(
    etude: Path,
    write_score,  # type: ignore[no-untyped-def]
    tmp_path: Path,
) -> None:
    """Whatever the excerpt holds, every sound file and page is the same to the last byte."""
    one = write_score("one.musicxml", "G4:4 A4:4 Bb4:8", tempo=120)
    other = write_score("other.musicxml", "C#6:2 E3:2 F#5:4 B3:8", "D4:8 Ab5:8", tempo=60)
    names = []
    for name, honors in (("a", one), ("b", other)):
        build([job_for(etude, honors)], tmp_path / name, workers=0)
        names.append(digests(tmp_path / name))
    first, second = names
    heard = [name for name in first if name.endswith((".mp3", ".html"))]
    assert len(heard) == 4
    assert all(first[name] == second[name] for name in heard)
    assert first["trumpet/parts/honors.musicxml"] != second["trumpet/parts/honors.musicxml"]
    assert not [name for name in first if "honors" in name and "parts/" not in name]
    page = (tmp_path / "a/trumpet/practice-etude-en.html").read_text(encoding="utf-8")
    assert "Invented excerpt" not in page


def test_parts_that_are_written_are_the_parts(etude: Path, tmp_path: Path) -> None:
    out = tmp_path / "packet"
    build([dataclasses.replace(job_for(etude, etude), tracks=None)], out, workers=0)
    written = read_score(out / "trumpet/parts/etude.musicxml")
    part = part_for(etude, load()["trumpet"], "intermediate")
    assert [n.sounding for n in written.notes] == [n.sounding for n in part.score.notes]
    assert written.parts[0].sounding_minus_written == -2


def test_misfits_and_missing_music_are_told(etude: Path, tmp_path: Path) -> None:
    steps = (
        Step("etude", "etude", piece=Piece(etude, "Invented etude")),
        Step("honors", "honors"),
    )
    job = job_for(etude, etude, "horn", level="beginner", steps=steps)
    done = build([dataclasses.replace(job, tracks=None)], tmp_path / "p", workers=0)[0]
    assert any("outside the player's range" in remark for remark in done.remarks)
    assert any("no music is named for the honors" in remark for remark in done.remarks)


def test_a_wrong_source_stops_everything_before_anything_is_written(
    etude: Path, snare: Path, tmp_path: Path
) -> None:
    jobs = [job_for(etude, etude), job_for(snare, etude, "flute"), job_for(etude, etude, "timpani")]
    with pytest.raises(ScoreFileError, match=r"snare.musicxml.*flute.*1 more source cannot"):
        build(jobs, tmp_path / "p", workers=0)
    assert not (tmp_path / "p").exists()


@pytest.mark.long
def test_workers_make_the_same_files(
    etude: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.undo()  # the workers do not see it
    jobs = [job_for(etude, etude), job_for(etude, etude, "tuba")]
    build(jobs, tmp_path / "a", workers=0)
    build(jobs, tmp_path / "b", workers=2)
    assert digests(tmp_path / "a") == digests(tmp_path / "b")
