"""``fairhearing packet`` from the season's folder to the files, and its refusals."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from fairhearing.cli import main

SEASON = """
name = "Invented auditions"
invented = true
language = "en"
time_zone = "America/Chicago"
level = "intermediate"
[dates]
due = 2027-05-14T21:00:00
[[school]]
id = "alder-creek"
name = "Alder Creek Secondary"
[[section]]
kind = "chromatic"
for = ["melodic"]
[[section]]
kind = "etude"
for = ["melodic"]
[[piece]]
section = "etude"
for = ["melodic"]
file = "etude.musicxml"
title = "Invented etude"
"""

ETUDE = """<score-partwise version="4.0"><part-list><score-part id="P1"><part-name>Etude</part-name>
</score-part></part-list><part id="P1"><measure number="1"><attributes><divisions>1</divisions>
<key><fifths>-2</fifths></key><time><beats>4</beats><beat-type>4</beat-type></time>
<clef><sign>G</sign><line>2</line></clef></attributes>
<note><pitch><step>B</step><alter>-1</alter><octave>4</octave></pitch><duration>4</duration>
<voice>1</voice><type>whole</type></note></measure></part></score-partwise>"""


@pytest.fixture
def season(tmp_path: Path) -> Path:
    folder = tmp_path / "season"
    folder.mkdir()
    (folder / "season.toml").write_text(SEASON, encoding="utf-8")
    (folder / "etude.musicxml").write_text(ETUDE, encoding="utf-8")
    return folder


def packet(season: Path, out: Path, *more: str) -> int:
    return main(["packet", str(season), "-o", str(out), "--workers", "0", *more])


def test_a_packet_for_one_instrument(
    season: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = tmp_path / "packet"
    (season / "packet.toml").write_text('[tracks]\ntempi = [120]\nformats = ["mp3"]\n')
    assert packet(season, out, "--instrument", "trumpet") == 0
    said = capsys.readouterr().out
    assert "1 packets" in said
    assert (out / "trumpet/packet-en.pdf").read_bytes().startswith(b"%PDF")
    assert (out / "trumpet/tracks/etude-120.mp3").is_file()
    assert packet(season, out, "--instrument", "trumpet") == 0
    assert "0 files made" in capsys.readouterr().out


def test_the_roster_decides_what_is_made_and_for_whom(season: Path, tmp_path: Path) -> None:
    (season / "roster.csv").write_text(
        "student,school,instrument,level\n214,alder-creek,tuba,\n"
        "215,alder-creek,flute,beginner\n216,alder-creek,tuba,\n",
        encoding="utf-8",
    )
    out = tmp_path / "packet"
    assert packet(season, out, "--no-tracks", "--each-student") == 0
    folders = {path.name for path in out.iterdir() if path.is_dir()}
    assert folders == {"tuba-intermediate", "flute-beginner"}
    own = sorted(p.name for p in (out / "tuba-intermediate/students").iterdir())
    assert own == ["214-en.pdf", "216-en.pdf"]
    assert not list(out.rglob("*.mp3"))


def test_two_languages(season: Path, tmp_path: Path) -> None:
    out = tmp_path / "packet"
    arguments = ["--no-tracks", "--instrument", "horn", "--language", "en", "--language", "es"]
    assert packet(season, out, *arguments) == 0
    assert sorted(p.name for p in (out / "horn").glob("*.pdf")) == [
        "packet-en.pdf",
        "packet-es.pdf",
    ]


@pytest.mark.parametrize(
    "case",
    [
        ("etude.musicxml", "<score-partwise/>", "etude.musicxml: the score has no bars"),
        ("etude.musicxml", ETUDE.replace("<step>B", "<step>H"), "bar 1"),
        ("packet.toml", 'paper = "legal"', "packet.toml"),
        ("season.toml", "name = ", "season.toml"),
    ],
)
def test_bad_input_is_one_sentence_and_nothing_half_written(
    season: Path,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    case: tuple[str, str, str],
) -> None:
    file, text, says = case
    (season / file).write_text(text, encoding="utf-8")
    out = tmp_path / "packet"
    assert packet(season, out, "--instrument", "trumpet") == 2
    said = capsys.readouterr().err
    assert says in said
    assert "Traceback" not in said
    assert not out.exists()


def test_unknown_instrument(
    season: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert packet(season, tmp_path / "p", "--instrument", "trumpt") == 2
    assert 'did you mean "B-flat trumpet"' in capsys.readouterr().err
    assert packet(season, tmp_path / "p", "--instrument", "snare drum") == 2
    assert "no section of the audition is for snare drum" in capsys.readouterr().err


@pytest.mark.long
def test_from_a_terminal_with_workers(season: Path, tmp_path: Path) -> None:
    words = ["packet", str(season), "-o", str(tmp_path / "p"), "--no-tracks"]
    done = subprocess.run(
        [sys.executable, "-m", "fairhearing", *words, "--workers", "2"],
        capture_output=True, text=True, timeout=300, check=False, env=os.environ,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    assert len(list((tmp_path / "p").glob("*/packet-en.pdf"))) == 17
