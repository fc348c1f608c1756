"""``fairhearing seat`` from files to files; invented students."""

from __future__ import annotations

import csv
import json
from pathlib import Path

import openpyxl
import pytest

from fairhearing.cli import main

SEASON = """
name = "Spring Placement Auditions"
invented = true
[[section]]
kind = "scales"
[[section]]
kind = "honors"
[seating]
tie_break = ["scales"]
[[ensemble]]
name = "Wind Ensemble"
grades = [9, 12]
honors = true
minimum_score = 60
[ensemble.seats]
flute = { least = 1, ideal = 2, parts = ["1st", "2nd"], doubles = ["piccolo"] }
baritone-saxophone = 1
percussion = 2
[[ensemble]]
name = "Symphonic Band"
[ensemble.seats]
flute = { least = 2, ideal = 2, most = 9 }
alto-saxophone = { ideal = 2, most = 9 }
percussion = { ideal = 1, most = 9 }
tuba = { least = 1, ideal = 1 }
"""
ROSTER = """student,name,grade,instrument,second_instrument,would_switch,honors
101,"Ash, Ana",9,flute,,,yes
102,Bo Birk,10,flute,,,yes
103,Cy Cole,11,flute,,,yes
104,Dee Dorn,12,flute,,,no
105,"=cmd|' /c calc'!A0",9,alto sax,,bari sax,yes
106,Fay Frost,10,snare,,,yes
107,Gus Gale,10,marimba,,,yes
108,Hal Hart,10,xylophone,,,yes
109,Ivy Iver,10,flute,,,yes
"""
SCORES = """student,fair_score,raw_mean,se,judges,scales
101,80,80,2,3,5
102,90.5,90,2,3,5
103,80,80,2,3,7
104,95,95,2,3,9
105,70,70,2,3,4
106,66,66,2,3,4
107,88,88,2,3,4
108,59,59,2,3,4
109,,,,0,
"""


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "season.toml").write_text(SEASON, encoding="utf-8")
    (tmp_path / "roster.csv").write_text(ROSTER, encoding="utf-8")
    (tmp_path / "scores.csv").write_text(SCORES, encoding="utf-8")
    return tmp_path


def _seat(folder: Path, *more: str) -> int:
    return main(["seat", str(folder / "scores.csv"), str(folder), *more])


def test_from_scores_to_seats(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out, table = folder / "plan.json", folder / "seats.csv"
    assert _seat(folder, "--json", str(out), "-o", str(table)) == 0
    said = capsys.readouterr().out
    assert "Spring Placement Auditions (invented data): 8 of 9 seated" in said
    assert "tuba in Symphonic Band: 0 of at least 1, 1 short; 0 students could sit there" in said
    assert "Not scored and therefore not seated on it: 109 (flute)." in said
    plan = json.loads(out.read_text(encoding="utf-8"))
    assert (plan["version"], plan["invented"], plan["proven"]) == (1, True, True)
    sections = {
        section["chairs"]: section["players"]
        for ensemble in plan["ensembles"]
        for section in ensemble["sections"]
    }
    assert sections == {
        "wind-ensemble/flute": ["102", "103"],  # 103 before 101 by the scales, both with 80
        "wind-ensemble/baritone-saxophone": ["105"],
        "wind-ensemble/percussion": ["107", "106"],
        "symphonic-band/flute": ["104", "101"],
        "symphonic-band/alto-saxophone": [],
        "symphonic-band/percussion": ["108"],
        "symphonic-band/tuba": [],
    }
    students = {one["student"]: one for one in plan["students"]}
    assert students["102"]["doubles"] == ["piccolo"]
    assert students["104"]["why"].endswith("flute in Wind Ensemble (it needs the honors excerpt).")
    assert students["104"]["changes"][0]["kind"] == "eligibility"
    assert students["108"]["changes"][0]["score"] == 66.01
    assert "59.00 is below the minimum of 60" in students["108"]["why"]
    with table.open(encoding="utf-8-sig", newline="") as lines:
        rows = {row["student"]: row for row in csv.DictReader(lines)}
    assert rows["105"]["name"] == "'=cmd|' /c calc'!A0"
    assert (rows["103"]["part"], rows["103"]["chair"], rows["101"]["alternate_for"]) == (
        "2nd",
        "1",
        "1: flute in Wind Ensemble",
    )
    assert sorted(one.name for one in folder.iterdir()) == [
        "plan.json",
        "roster.csv",
        "scores.csv",
        "season.toml",
        "seats.csv",
    ]


def test_a_workbook_in_and_out_is_the_same(folder: Path) -> None:
    for name in ("roster", "scores"):
        book = openpyxl.Workbook()
        with (folder / f"{name}.csv").open(newline="") as lines:
            for cells in csv.reader(lines):
                assert book.active is not None
                book.active.append([float(c) if c.replace(".", "").isdigit() else c for c in cells])
                for cell in book.active[book.active.max_row]:
                    cell.data_type = "s" if isinstance(cell.value, str) else cell.data_type
        book.save(folder / f"{name}.xlsx")
    out = [folder / "a.json", folder / "b.json"]
    assert _seat(folder, "--json", str(out[0])) == 0
    (folder / "roster.csv").unlink()
    arguments = ["seat", str(folder / "scores.xlsx"), str(folder / "season.toml")]
    assert main([*arguments, "--json", str(out[1]), "-o", str(folder / "seats.xlsx")]) == 0
    assert out[0].read_bytes() == out[1].read_bytes()
    sheet = openpyxl.load_workbook(folder / "seats.xlsx").active
    assert sheet is not None
    assert {cell.data_type for row in sheet for cell in row} <= {"s", "n"}


def test_shuffled_tables_give_the_same_plan(folder: Path) -> None:
    assert _seat(folder, "--json", str(folder / "a.json")) == 0
    for name in ("roster.csv", "scores.csv"):
        head, *lines = (folder / name).read_text().splitlines()
        (folder / name).write_text(
            "\r\n".join([head, *reversed(lines)]).replace(",", ";")
            if name == "scores.csv"
            else "\n".join([head, *reversed(lines)])
        )
    assert _seat(folder, "--json", str(folder / "b.json")) == 0
    a, b = (json.loads((folder / name).read_text()) for name in ("a.json", "b.json"))
    assert {**a, "notes": None} == {**b, "notes": None}


def test_pins_are_shown_with_their_envy(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (folder / "pins.csv").write_text(
        "student,ensemble,reason\n101,Wind Ensemble,section leader\n109,,ill\n"
    )
    assert _seat(folder, "--pins", str(folder / "pins.csv")) == 0
    said = capsys.readouterr().out
    assert "103 would rather sit on flute in Wind Ensemble, where 101 is seated by hand" in said


def test_a_withdrawal_before_and_after_release(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    first, second = folder / "first.json", folder / "second.json"
    assert _seat(folder, "--json", str(first)) == 0
    for more in ([], ["--released"]):
        capsys.readouterr()
        assert (
            _seat(folder, "--after", str(first), "--withdrawn", "102", "--json", str(second), *more)
            == 0
        )
        said = capsys.readouterr().out
        assert "102 has left: flute in Wind Ensemble." in said
        assert "101 moves up: flute in Symphonic Band to flute in Wind Ensemble." in said
        plan = json.loads(second.read_text())
        assert [(move["student"], move["way"]) for move in plan["moves"]] == [
            ("101", "up"),
            ("102", "leaves"),
        ]
        assert plan["envy"] == []


def test_a_corrected_score_after_release_takes_no_seat_away(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    first = folder / "first.json"
    assert _seat(folder, "--json", str(first)) == 0
    (folder / "scores.csv").write_text(SCORES.replace("101,80,", "101,99,"))
    capsys.readouterr()
    assert _seat(folder, "--after", str(first), "--released") == 0
    said = capsys.readouterr().out
    assert "101 would rather sit on flute in Wind Ensemble, where 103 keeps an announced" in said
    assert _seat(folder, "--after", str(first)) == 0
    assert "103 moves down" in capsys.readouterr().out
    first.write_text("[]")
    assert _seat(folder, "--after", str(first)) == 2
    assert "first.json: is not a seat plan" in capsys.readouterr().err
    assert _seat(folder, "--released") == 2
    assert _seat(folder, "--after", str(first), "--withdrawn", "999") == 2
    assert "student 999 cannot withdraw" in capsys.readouterr().err


def test_drawings(folder: Path) -> None:
    assert _seat(folder, "--drawings", str(folder)) == 0
    assert sorted(one.name for one in folder.glob("*.svg")) == [
        "symphonic-band-instrumentation.svg",
        "symphonic-band.svg",
        "wind-ensemble-instrumentation.svg",
        "wind-ensemble.svg",
    ]
    assert ">102<" in (folder / "wind-ensemble.svg").read_text(encoding="utf-8")


def test_the_folder_for_drawings_is_made(folder: Path) -> None:
    assert _seat(folder, "--drawings", str(folder / "new" / "pictures")) == 0
    assert len(list((folder / "new" / "pictures").glob("*.svg"))) == 4


@pytest.mark.parametrize(
    ("more", "says"),
    [
        (["--drawings", "roster.csv"], "roster.csv: is a file; give a folder for the drawings"),
        (["--drawings", "roster.csv/deep"], "roster.csv: is a file; give a folder for the"),
        (["--drawings", "taken"], "wind-ensemble.svg: is a folder, and a file is to be"),
        (["-o", "absent/seats.csv"], "seats.csv: cannot be written: there is no folder"),
        (["-o", "taken"], "taken: is a folder, and a file is to be written there"),
        (["-o", "plan.json"], "plan.json: is named for two outputs; give each its own file"),
    ],
)
def test_nothing_is_written_unless_everything_can_be(
    folder: Path, capsys: pytest.CaptureFixture[str], *, more: list[str], says: str
) -> None:
    (folder / "taken" / "wind-ensemble.svg").mkdir(parents=True)
    option, name = more
    before = sorted(folder.rglob("*"))
    assert _seat(folder, "--json", str(folder / "plan.json"), option, str(folder / name)) == 2
    captured = capsys.readouterr()
    assert says in captured.err
    assert captured.err.count("\n") == 1
    assert not captured.out
    assert sorted(folder.rglob("*")) == before


def _with_places(*places: int | str) -> str:
    head, *lines = SCORES.splitlines()
    return "\n".join([f"{head},place", *(f"{a},{b}" for a, b in zip(lines, places, strict=True))])


def test_places_that_follow_the_scores_leave_the_plan_as_it_is(folder: Path) -> None:
    assert _seat(folder, "--json", str(folder / "a.json"), "-o", str(folder / "a.csv")) == 0
    (folder / "scores.csv").write_text(_with_places(4, 2, 3, 1, 1, 1, 1, 1, ""))
    assert _seat(folder, "--json", str(folder / "b.json"), "-o", str(folder / "b.csv")) == 0
    assert (folder / "a.json").read_bytes() == (folder / "b.json").read_bytes()
    assert (folder / "a.csv").read_bytes() == (folder / "b.csv").read_bytes()


def test_announced_places_are_kept(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (folder / "scores.csv").write_text(_with_places(1, 3, 2, 4, 1, 1, 1, 1, ""))
    out = folder / "plan.json"
    assert _seat(folder, "--json", str(out)) == 0
    said = capsys.readouterr().out
    assert "Nobody is passed over for a lower place or score." in said
    assert "Places from the scores table, not scores, order the students of: flute." in said
    plan = json.loads(out.read_text(encoding="utf-8"))
    assert plan["ensembles"][0]["sections"][0]["players"] == ["101", "103"]
    students = {one["student"]: one for one in plan["students"]}
    assert "the last chair went to 103 with a better place" in students["102"]["why"]
    assert students["102"]["share"] is None


@pytest.mark.parametrize(
    ("file", "old", "new", "says"),
    [
        ("scores.csv", "101,80", "999,80", "scores.csv, line 2: number 999 is not on the roster"),
        ("scores.csv", "102,90.5", "101,90.5", "line 3: number 101 on flute has a score already"),
        ("scores.csv", "fair_score", "points", 'line 1: there is no column "fair_score"'),
        ("scores.csv", "90.5", "ninety", 'line 3: "ninety" under "fair_score" is not a number'),
        ("roster.csv", "xylophone", "xylophon", 'line 9: "xylophon" is not an instrument of the'),
        ("season.toml", "tuba = {", "tuba = { fill = 2, ", '"fill" must be one of top, leaders'),
        ("season.toml", "least = 1, ideal = 1", "least = 3, ideal = 1", "least 3, ideal 1"),
    ],
)
def test_wrong_input_is_one_sentence_and_writes_nothing(
    folder: Path, capsys: pytest.CaptureFixture[str], *, file: str, old: str, new: str, says: str
) -> None:
    text = (folder / file).read_text()
    assert old in text
    (folder / file).write_text(text.replace(old, new, 1))
    assert _seat(folder, "--json", str(folder / "p.json"), "-o", str(folder / "s.csv")) == 2
    captured = capsys.readouterr()
    assert says in captured.err
    assert captured.err.count("\n") == 1
    assert not captured.out
    assert not (folder / "p.json").exists()
    assert not (folder / "s.csv").exists()


def test_two_plans_are_compared(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    first = folder / "first.json"
    assert _seat(folder, "--json", str(first)) == 0
    (folder / "season.toml").write_text(SEASON.replace("ideal = 2, parts", "ideal = 1, parts"))
    capsys.readouterr()
    assert _seat(folder, "--compare", str(first)) == 0
    said = capsys.readouterr().out
    assert "Beside first.json: 1 sit elsewhere" in said
    assert "103 moves down: flute in Wind Ensemble to flute in Symphonic Band." in said
