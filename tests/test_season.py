"""season.toml, roster.csv and whose take is whose. The documented example is itself the fixture."""

from __future__ import annotations

import re
from datetime import date, timedelta
from pathlib import Path

import pytest

from fairhearing.core.errors import TableError
from fairhearing.season import Season, match_takes, read_roster, read_season

DOCS = Path(__file__).parents[1] / "docs" / "season.md"

SMALL = """
name = "Spring"
[[section]]
kind = "scales"
[[ensemble]]
name = "Wind Ensemble"
[ensemble.seats]
flute = 2
"""


def documented(folder: Path) -> Path:
    """Write the season.toml that docs/season.md shows."""
    found = re.search(r"```toml\n(.*?)```", DOCS.read_text(encoding="utf-8"), re.DOTALL)
    assert found
    (folder / "scores").mkdir()
    (folder / "scores" / "flute-etude.musicxml").write_text("<score-partwise/>")
    path = folder / "season.toml"
    path.write_text(found[1], encoding="utf-8")
    return path


@pytest.fixture
def season(tmp_path: Path) -> Season:
    return read_season(documented(tmp_path))


def test_the_documented_season(season: Season, tmp_path: Path) -> None:
    assert season == read_season(tmp_path)
    assert season.invented
    assert season.dates.due is not None
    assert season.dates.due.isoformat() == "2027-05-14T21:00:00-05:00"  # daylight saving in Chicago
    assert season.dates.due.utcoffset() == timedelta(hours=-5)
    assert season.dates.delete_takes == date(2027, 8, 31)
    assert season.school("Alder Creek Secondary") == season.schools[0]
    names = {
        instrument: [section.name for section in season.sections_for(instrument)]
        for instrument in ("flute", "snare-drum", "timpani", "xylophone")
    }
    assert names == {
        "flute": ["introduction", "chromatic", "scales", "etude", "honors"],
        "snare-drum": ["introduction", "rudiments", "etude", "timpani etude", "honors"],
        "timpani": ["introduction", "etude", "honors"],
        "xylophone": ["introduction", "chromatic", "scales", "etude", "timpani etude", "honors"],
    }
    scales = season.sections_for("flute")[2]
    assert (scales.limit_s, scales.optional, season.sections[-1].optional) == (60.0, False, True)
    piece = season.piece_for("etude", "oboe")
    assert piece is not None
    assert (piece.file.name, piece.tempo_bpm) == ("flute-etude.musicxml", 84)
    assert season.piece_for("etude", "oboe", "advanced") is None
    assert season.piece_for("etude", "tuba") is None
    assert [one.name for one in season.criteria_for("flute")] == ["tone"]
    assert season.criteria_for("snare-drum") == ()


def test_the_documented_chairs(season: Season) -> None:
    (ensemble,) = season.ensembles
    assert (ensemble.id, ensemble.level, ensemble.grades, ensemble.honors) == (
        "wind-ensemble",
        1,
        (9, 12),
        True,
    )
    seats = {one.instrument: one for one in ensemble.seats}
    assert (seats["piccolo"].least, seats["piccolo"].ideal, seats["piccolo"].most) == (0, 1, 1)
    assert [(part.name, part.chairs) for part in seats["clarinet"].parts] == [
        ("1st", 3),
        ("2nd", 3),
        ("3rd", 3),
    ]
    assert seats["euphonium"].accepts == ("euphonium", "euphonium-treble")
    assert "timpani" in seats["percussion"].accepts
    assert seats["tuba"].accepts == ("tuba", "euphonium")


def test_the_narrowest_piece_wins(tmp_path: Path) -> None:
    for name in ("all", "brass", "kind", "horn", "hornadv"):
        (tmp_path / f"{name}.musicxml").write_text("x")
    entries = [
        'for = ["everyone"]\nfile = "all.musicxml"',
        'for = ["horn"]\nfile = "horn.musicxml"',
        'for = ["brass"]\nfile = "brass.musicxml"',
        'for = ["mallet"]\nfile = "kind.musicxml"',
        'for = ["horn"]\nlevel = "advanced"\nfile = "hornadv.musicxml"',
    ]
    pieces = "".join(f'[[piece]]\nsection = "scales"\n{entry}\n' for entry in entries)
    (tmp_path / "season.toml").write_text(SMALL.replace("[[ensemble]]", pieces + "[[ensemble]]"))
    season = read_season(tmp_path)

    def file(instrument: str, level: str | None = None) -> str | None:
        piece = season.piece_for("scales", instrument, level)
        return piece and piece.file.stem

    assert [file(one) for one in ("flute", "tuba", "marimba", "horn")] == [
        "all",
        "brass",
        "kind",
        "horn",
    ]
    assert file("horn", "advanced") == "hornadv"


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ('name = "Spring"', "name = Spring", "line 2: this line cannot be read"),
        ('name = "Spring"', "", 'the entry "name" is missing'),
        ('name = "Spring"', 'name = "S"\ntimezone = "UTC"', 'did you mean "time_zone"'),
        ('name = "Spring"', 'name = "S"\ntime_zone = "Mars"', '"Mars" is no time zone'),
        ('name = "Spring"', 'name = "S"\nlanguage = "tlh"', '"language" must be one of en, es'),
        ('kind = "scales"', 'kind = "scale"', '"kind" must be one of introduction'),
        ('kind = "scales"', 'kind = "scales"\nfor = ["flut"]', 'line 5: section "scales": "flut"'),
        (
            'kind = "scales"',
            'kind = "scales"\nlimit_s = -1',
            '"limit_s" must be a number, 1 or more',
        ),
        ("flute = 2", "flut = 2", '"flut" is not an instrument of the table; did you mean "flute"'),
        ("flute = 2", "flute = { leest = 1 }", 'did you mean "least"'),
        ("flute = 2", "flute = { least = 3, ideal = 2 }", "least 3, ideal 2, most 3 must not fall"),
        ("flute = 2", "flute = -2", "must be a whole number of chairs"),
        ("flute = 2", 'flute = 2\n"fl." = 3', "stand twice"),
        ("[ensemble.seats]\nflute = 2", "", "it has no chairs"),
        ('name = "Wind Ensemble"', 'name = "W"\ngrades = [12, 9]', '"grades" must be [from, to]'),
        ('name = "Wind Ensemble"', 'name = "W"\nschools = ["x"]', '"x" is not a school'),
        ("[[section]]", "[dates]\ndue = 2027-05-01\n[[section]]", '"due" needs day and hour'),
        (
            "[[section]]",
            "[dates]\nopens = 2027-05-02T00:00:00\ndue = 2027-05-01T00:00:00\n[[section]]",
            '"due" must come after "opens"',
        ),
        ('[[section]]\nkind = "scales"', "", "no [[section]]"),
        (
            "[[ensemble]]",
            '[[piece]]\nsection = "scales"\nfile = "none.xml"\n[[ensemble]]',
            "there is no such file",
        ),
    ],
)
def test_a_wrong_season_is_one_sentence(tmp_path: Path, old: str, new: str, says: str) -> None:
    assert old in SMALL
    (tmp_path / "season.toml").write_text(SMALL.replace(old, new))
    with pytest.raises(TableError) as raised:
        read_season(tmp_path)
    assert str(raised.value).startswith("season.toml")
    assert says in str(raised.value)


def test_no_season(tmp_path: Path) -> None:
    with pytest.raises(TableError, match="there is no season here"):
        read_season(tmp_path)


def _roster(tmp_path: Path, text: str, season: Season | None = None):  # type: ignore[no-untyped-def]
    path = tmp_path / "roster.csv"
    path.write_text(text, encoding="utf-8")
    return read_roster(path, season)


def test_roster(tmp_path: Path, season: Season) -> None:
    roster = _roster(
        tmp_path,
        "Number;Name;Grade;School;Instrument;Second Instrument;Would switch;Declines;Honors\n"
        "214;Ana Lind;9;ALDER-CREEK;Bb Clarinet;;bass clarinet, clarinet;;yes\n"
        "215;ana  lind;10;;French Horn;Trumpet;;wind ensemble;no\n"
        "216;Olu Ade;11;;percussion;;;;\n"
        "216;Olu Ade;11;;marimba;;;;yes\n",
        season,
    )
    ana, other, olu = roster.students
    assert (ana.instruments, ana.would_switch, ana.school) == (
        ("clarinet",),
        ("bass-clarinet",),
        "alder-creek",
    )
    assert (other.instrument, other.second_instrument, other.honors) == ("horn", "trumpet", False)
    assert other.declines == ("wind-ensemble",)
    assert (olu.instruments, olu.honors, olu.line) == (("snare-drum", "marimba"), True, 4)
    assert roster.notes == (
        "Numbers 214 and 215 have the same name; they are kept apart by number.",
    )
    assert roster["216"] is olu


@pytest.mark.parametrize(
    ("lines", "says"),
    [
        ("1,A,,flute\n1,B,,flute\n", "line 3: number 1 stands already in line 2"),
        ("1,A,,flute\n1,A,,flute\n", "line 3: number 1 stands already in line 2"),
        ("1,A,,Clarinett\n", 'line 2: "Clarinett" is not an instrument of the table; did you mean'),
        (",A,,flute\n", 'line 2: the cell under "student" is empty'),
        ("1,A,Elm,flute\n", 'line 2: "Elm" is not a school of the season'),
        ("", "there are no students in it"),
    ],
)
def test_a_wrong_roster_is_one_sentence(
    tmp_path: Path, season: Season, lines: str, says: str
) -> None:
    with pytest.raises(TableError) as raised:
        _roster(tmp_path, "student,name,school,instrument\n" + lines, season)
    assert says in str(raised.value)


def test_several_schools_need_a_school(tmp_path: Path) -> None:
    schools = '[[school]]\nid = "elm"\n[[school]]\nid = "oak"\n[[section]]'
    (tmp_path / "season.toml").write_text(SMALL.replace("[[section]]", schools))
    with pytest.raises(TableError, match="every student needs one of elm, oak"):
        _roster(tmp_path, "student,instrument\n1,flute\n", read_season(tmp_path))


def test_takes_by_form_table_number_and_name(tmp_path: Path) -> None:
    roster = _roster(
        tmp_path,
        "student,name,instrument\n"
        "101,Ana Lind,flute\n102,Ana Lind,oboe\n103,Björn Åse,tuba\n104,Mo Diaz,horn\n"
        "105,Kai Ode,horn\n106,Zed Ray,horn\n",
    )
    takes = tmp_path / "takes"
    (takes / "more").mkdir(parents=True)
    for name in (
        *(
            "IMG_0001.MOV",
            "more/clip.mp4",
            "103 again.mp4",
            "diaz_mo_audition.webm",
            "ana lind.mp4",
        ),
        *("104-105.mp4", "stranger.mp4", "notes.txt", "kai.mp4"),
    ):
        (takes / name).write_bytes(b"x")
    table = tmp_path / "form.csv"
    table.write_text(
        "Timestamp;Full name;Upload your video\n"
        "1;101;https://forms.example/u/0/open?id=IMG_0001.MOV\n"
        "2;Åse, Björn;C:\\takes\\clip.mp4\n"
        "3;Ana Lind;x.mp4\n"
        "4;106;lost.mp4\n"
        "5;Nobody;kai.mp4\n",
        encoding="utf-8",
    )
    matched = match_takes(takes, roster, table)
    assert {number: [file.name for file in files] for number, files in matched.takes.items()} == {
        "101": ["IMG_0001.MOV"],
        "103": ["clip.mp4", "103 again.mp4"],
        "104": ["diaz_mo_audition.webm"],
    }
    assert {file.name: why for file, why in matched.files_without_student} == {
        "ana lind.mp4": "it fits numbers 101, 102",
        "104-105.mp4": "numbers 104, 105 stand in its name",
        "stranger.mp4": "its name holds no number or name of the roster",
        "kai.mp4": "its name holds no number or name of the roster",
    }
    assert matched.students_without_file == ("102", "105", "106")
    assert matched.lines_without_file == (
        (4, '"Ana Lind" is the name of numbers 101, 102; use the number'),
        (5, 'the file "lost.mp4" is not in the folder'),
        (6, '"Nobody" is not on the roster'),
    )


def test_takes_columns_can_be_named(tmp_path: Path) -> None:
    roster = _roster(tmp_path, "student,name,instrument\n1,A B,flute\n")
    (tmp_path / "a.mp4").write_bytes(b"x")
    table = tmp_path / "form.csv"
    table.write_text("who is it,what was sent\n1,a.mp4\n")
    with pytest.raises(TableError, match='there is no column "student"'):
        match_takes(tmp_path, roster, table)
    matched = match_takes(
        tmp_path, roster, table, student_column="Who is it", file_column="what was sent"
    )
    assert list(matched.takes) == ["1"]
    with pytest.raises(TableError, match="no such folder"):
        match_takes(tmp_path / "none", roster)
