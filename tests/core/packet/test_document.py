"""The packet PDF: pages, tags, fonts, languages, papers; read back by poppler."""

from __future__ import annotations

import dataclasses
import re
import shutil
import subprocess
from datetime import UTC, date, datetime
from pathlib import Path

import cv2
import numpy as np
import pytest

from fairhearing.core.errors import FairHearingError, ScoreFileError, TableError
from fairhearing.core.packet.document import Press, engrave_packet, print_packet
from fairhearing.core.packet.engraving import engrave
from fairhearing.core.packet.fonts import music_font
from fairhearing.core.packet.instruments import load
from fairhearing.core.packet.opening import open_tree
from fairhearing.core.packet.parts import part_for
from fairhearing.core.packet.spec import PacketSpec, Piece, ScaleWish, Step
from fairhearing.core.packet.square_code import square_code
from fairhearing.core.packet.wording import LANGUAGES, Wording

poppler = pytest.mark.skipif(
    shutil.which("pdftotext") is None, reason="poppler-utils (apt) reads the PDF back"
)


def spec_for(etude: Path, **changes: object) -> PacketSpec:
    steps = (
        Step("introduction", "introduction"),
        Step("chromatic", "chromatic"),
        Step("scales", "scales", 60.0),
        Step("etude", "etude", piece=Piece(etude, "Invented etude", 96)),
        Step("honors", "honors", optional=True, piece=Piece(etude, "Invented excerpt")),
    )
    spec = PacketSpec(
        title="Invented auditions",
        schools="Alder Creek Secondary",
        invented=True,
        instrument=load()["trumpet"],
        level="intermediate",
        steps=steps,
        dates=(("due", datetime(2027, 5, 14, 21, tzinfo=UTC)), ("delete_takes", date(2027, 8, 31))),
        address="https://band.example.org/auditions",
    )
    return dataclasses.replace(spec, **changes)  # type: ignore[arg-type]


def read_by(program: str, pdf: bytes, tmp_path: Path, *options: str) -> str:
    path = tmp_path / "packet.pdf"
    path.write_bytes(pdf)
    out = subprocess.run(
        [program, *options, str(path), *(["-"] if program == "pdftotext" else [])],
        capture_output=True, check=True,
    )  # fmt: skip
    return out.stdout.decode("utf-8", "replace")


@poppler
@pytest.mark.parametrize(
    ("language", "paper", "size"),
    [("en", "letter", "612 x 792"), ("es", "a4", r"595.\d+ x 841.\d+")],
)
def test_the_packet_is_tagged_in_its_language_with_fonts_embedded(
    etude: Path, tmp_path: Path, language: str, paper: str, size: str
) -> None:
    pdf = print_packet(spec_for(etude, language=language, paper=paper))
    info = read_by("pdfinfo", pdf, tmp_path)
    assert re.search(r"Tagged:\s+yes", info)
    assert re.search(rf"Page size:\s+{size}", info)
    assert "Invented auditions" in info
    # ISO 14289-1: the metadata names PDF/UA-1, the catalog the language.
    assert re.search(rb"pdfuaid:part>\s*1|pdfuaid:part=.1", pdf)
    assert re.search(rf"/Lang ?\({language}".encode(), pdf)
    fonts = read_by("pdffonts", pdf, tmp_path).splitlines()[2:]
    assert fonts
    assert all(re.search(r"\s(yes)\s+(yes)\s+(yes)\s+\d+", line) for line in fonts)
    text = read_by("pdftotext", pdf, tmp_path, "-layout")
    wording = Wording(language)
    for name in ("record", "cue", "one_take_head", "quiet_head", "hearing_care"):
        assert wording(name)[:20] in text, name
    assert "Invented etude" in text
    assert wording("invented") in text


@poppler
def test_every_picture_of_music_says_which_bars_it_shows(etude: Path, tmp_path: Path) -> None:
    pdf = print_packet(spec_for(etude))
    tree = read_by("pdfinfo", pdf, tmp_path, "-struct-text")
    assert "Figure" in tree
    made = engrave_packet(spec_for(etude))
    alts = [system["alt"] for music in made.data["music"] for system in music["systems"]]
    assert alts[0].startswith("Invented etude, bars 1 to ")
    covered = [int(n) for alt in alts[: len(alts) // 2] for n in re.findall(r"\d+", alt)]
    assert covered[0] == 1
    assert covered[-1] == 8


def test_every_note_of_the_part_is_in_the_picture(etude: Path) -> None:
    part = part_for(etude, load()["trumpet"], "intermediate")
    made = engrave(part.tree, width_mm=180)
    drawn = set(re.findall(r'id="(p0n\d+)"', "".join(system.svg for system in made.systems)))
    assert drawn == {note.id for note in part.score.notes}
    assert len(part.score.notes) == made.note_count == 35


def test_a_note_lost_in_print_is_refused(etude: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    import verovio

    whole = verovio.toolkit.renderToSVG
    monkeypatch.setattr(
        verovio.toolkit,
        "renderToSVG",
        lambda self, page: whole(self, page).replace('id="p0n5"', 'id="lost"'),
    )
    with pytest.raises(FairHearingError, match=r"bar 2: 1 of 35 notes would be missing in print"):
        engrave(open_tree(etude), width_mm=180, label="etude")


def test_one_system_after_another_covers_every_bar_once(etude: Path) -> None:
    made = engrave(open_tree(etude), width_mm=120)
    assert len(made.systems) > 1
    bars = [b for s in made.systems for b in range(s.first_bar, s.last_bar + 1)]
    assert bars == list(range(8))
    assert all(abs(system.width_mm - 120) < 1 for system in made.systems)


def test_a_students_packet_differs_only_in_number_and_address(etude: Path) -> None:
    with Press() as press:
        loaded = press.load(engrave_packet(spec_for(etude)))
        shared = loaded.pdf()
        own = loaded.pdf("214", "https://band.example.org/214")
        assert loaded.pdf() == shared
    assert own != shared


@poppler
def test_the_cue_card_carries_the_number(etude: Path, tmp_path: Path) -> None:
    text = read_by("pdftotext", print_packet(spec_for(etude, number="214")), tmp_path)
    assert "my audition number is 214" in " ".join(text.split())


def test_the_square_code_is_read_by_another_program() -> None:
    """OpenCV's decoder, which knows nothing of the encoder."""
    address = "https://band.example.org/auditions/spring"
    svg = square_code(address).decode()
    rows = re.search(r'width="(\d+)" height="(\d+)"', svg)
    assert rows is not None
    import segno

    matrix = np.array(list(segno.make_qr(address, error="m").matrix_iter(scale=6, border=4)))
    picture = np.where(matrix > 0, 0, 255).astype(np.uint8)
    found, *_ = cv2.QRCodeDetector().detectAndDecode(picture)
    assert found == address
    with pytest.raises(TableError, match="not a web address"):
        square_code("band page")


def test_snare_and_scan_packets(snare: Path, tmp_path: Path) -> None:
    scan = tmp_path / "old.png"
    cv2.imwrite(str(scan), np.full((300, 200), 255, np.uint8))
    steps = (
        Step("other", "rudiments"),
        Step("etude", "etude", piece=Piece(snare, "Street beat")),
        Step("honors", "honors", piece=Piece(scan, "Old march")),
    )
    spec = spec_for(snare, instrument=load()["snare-drum"], steps=steps)
    made = engrave_packet(spec)
    assert [sheet["heading"] for sheet in made.data["sheets"]] == ["Rudiments for snare drum"]
    assert "judged by ear only" in made.data["music"][1]["note"]
    assert print_packet(spec).startswith(b"%PDF")


def test_a_scanned_pdf_is_attached_page_by_page(etude: Path, tmp_path: Path) -> None:
    scan = tmp_path / "old.pdf"
    scan.write_bytes(print_packet(spec_for(etude)))
    steps = (Step("etude", "etude", piece=Piece(scan, "Old march")),)
    made = engrave_packet(spec_for(etude, steps=steps))
    scans = made.data["music"][0]["scans"]
    assert [entry["alt"] for entry in scans][:2] == [
        "Old march, page 1 of a scan.",
        "Old march, page 2 of a scan.",
    ]
    assert len(scans) == 6
    assert made.parts == ()
    with Press() as press:
        assert press.load(made).pdf().startswith(b"%PDF")
    scan.write_bytes(b"%PDF-1.4 nonsense")
    with pytest.raises(ScoreFileError, match=r"old.pdf: page 1 cannot be printed"):
        engrave_packet(spec_for(etude, steps=steps))
    scan.write_bytes(b"nonsense")
    with pytest.raises(ScoreFileError, match="not a PDF"):
        engrave_packet(spec_for(etude, steps=steps))


def test_wrong_settings_are_refused(etude: Path, tmp_path: Path) -> None:
    with pytest.raises(TableError, match='"letter" or "a4"'):
        spec_for(etude, paper="legal")
    with pytest.raises(TableError, match='"en" or "es"'):
        engrave_packet(spec_for(etude, language="fr"))
    with pytest.raises(TableError, match="no line called"):
        engrave_packet(spec_for(etude, wording={"nonsense": "x"}))
    with pytest.raises(TableError, match="not a scale we print"):
        ScaleWish(modes=("lydian",))  # type: ignore[arg-type]
    broken = tmp_path / "logo.png"
    broken.write_bytes(b"not a picture")
    with pytest.raises(FairHearingError, match="could not be set"):
        print_packet(spec_for(etude, logo=broken))
    with pytest.raises(TableError, match="logo is an SVG, PNG or JPEG"):
        engrave_packet(spec_for(etude, logo=tmp_path / "logo.bmp"))


def test_both_languages_say_everything() -> None:
    english, spanish = (Wording(language).lines() for language in LANGUAGES)
    assert set(english) == set(spanish)
    for name, line in english.items():
        if isinstance(line, str):
            blanks = sorted(re.findall(r"{(\w+)}", line))
            others = sorted(re.findall(r"{(\w+)}", spanish[name]))
            if not name.startswith("date"):
                assert blanks == others, name


def test_dates_are_written_as_people_write_them() -> None:
    when = datetime(2027, 5, 14, 21, 5, tzinfo=UTC)
    assert Wording("en").day(when) == "Friday, May 14, 9:05 p.m. (UTC)"
    assert Wording("es").day(when) == "viernes 14 de mayo, 21:05 (UTC)"
    assert Wording("en").day(date(2027, 8, 31)) == "Tuesday, August 31, 2027"
    noon = datetime(2027, 1, 1, 12, tzinfo=UTC)
    assert "12:00 p.m." in Wording("en").day(noon)
    assert "12:00 a.m." in Wording("en").day(noon.replace(hour=0))


def test_the_music_font_is_whole() -> None:
    assert music_font()[:4] in {b"\x00\x01\x00\x00", b"OTTO"}
