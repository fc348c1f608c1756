"""The demo's papers can be read by the program's own season reader, and the marks make sense."""

from __future__ import annotations

import csv
import io
import tomllib
from pathlib import Path

import numpy as np
import pytest

from fairhearing import season as reader
from fairhearing.demo import papers
from fairhearing.demo.cast import CRITERIA, INVENTED, JUDGES, PLAYERS, SCHOOLS

TERMS = """
fermata segno ossia rubato cadenza tenuto portato basso continuo toccata sforzando legato sordino
arpeggio vivace da capo volta ostinato glissando staccato caesura pedal tremolo anacrusis young
tacet breve longa hemiola neume clavis
"""


@pytest.fixture(scope="module")
def folder(tmp_path_factory) -> Path:
    path = tmp_path_factory.mktemp("season")
    papers.write_papers(path)
    return path


def rows(text: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(text)))


def test_the_season_reads_it(folder: Path):
    season = reader.read_season(folder)
    roster = reader.read_roster(folder, season)
    assert season.invented
    assert len(roster.students) == len(PLAYERS)
    assert len(season.schools) == 2
    assert all(school.staff for school in season.schools)
    for student in roster.students:
        for section in ("etude", "honors"):
            piece = season.piece_for(section, student.instrument)
            assert piece is not None
            assert piece.file.is_file()


def test_the_season_can_be_spanish(tmp_path: Path):
    papers.write_papers(tmp_path, "es")
    season = reader.read_season(tmp_path)
    roster = reader.read_roster(tmp_path, season)
    assert season.language == "es"
    assert [s.instruments for s in roster.students] == [(who.instrument,) for who in PLAYERS]
    named = {row["criterion"] for row in rows((tmp_path / "marks.csv").read_text("utf-8"))}
    assert named == {criterion.name for criterion in season.criteria}
    assert not named & set(CRITERIA)


def test_takes_find_their_students(folder: Path):
    takes = folder / "takes"
    takes.mkdir(exist_ok=True)
    for who in PLAYERS:
        if who.take:
            (takes / who.take).touch()
    roster = reader.read_roster(folder, reader.read_season(folder))
    matched = reader.match_takes(takes, roster, folder / "takes.csv")
    assert len(matched.takes) == 24
    assert matched.files_without_student == ()
    assert list(matched.students_without_file) == ["225"]


def test_everything_is_marked_as_invented(folder: Path):
    assert "Invented" in INVENTED
    assert tomllib.loads((folder / "season.toml").read_text(encoding="utf-8"))["invented"] is True
    assert (folder / "season.toml").read_text(encoding="utf-8").startswith(f"# {INVENTED}\n")
    assert INVENTED in (folder / "INVENTED.txt").read_text(encoding="utf-8")
    assert all("(invented)" in school.name for school in SCHOOLS)
    sheets = sorted((folder / "scores").glob("*.musicxml"))
    assert len(sheets) == 24
    assert all(INVENTED in sheet.read_text(encoding="utf-8") for sheet in sheets)


def test_family_names_are_words_of_sheet_music():
    """Nobody's name: each family name is made of terms of notation, common practice."""
    terms = set(TERMS.split())
    staff = [name for school in SCHOOLS for name in school.staff]
    for name in [*(who.name for who in PLAYERS), *staff, *JUDGES]:
        family = name.removesuffix(" (guest)").split(" ", 1)[1]
        assert set(family.casefold().split("-")) <= terms, name


def test_three_judges_hear_each_student_and_all_are_linked():
    table = rows(papers.marks())
    panels: dict[str, set[str]] = {}
    for row in table:
        panels.setdefault(row["student"], set()).add(row["judge"])
    assert all(len(judges) == 3 for judges in panels.values())
    assert set().union(*panels.values()) == set(JUDGES)
    together = {frozenset((a, b)) for judges in panels.values() for a in judges for b in judges}
    assert len([pair for pair in together if len(pair) == 2]) == 15
    assert len({frozenset(judges) for judges in panels.values()}) > 12


def test_marks_follow_skill_and_severity():
    """Peer: statsmodels' least squares finds the severities that were put in."""
    smf = pytest.importorskip("statsmodels.formula.api")
    pandas = pytest.importorskip("pandas")
    table = pandas.DataFrame(rows(papers.marks()))
    table["mark"] = table["mark"].astype(float)
    assert table["mark"].between(1, 10).all()
    assert set(table["criterion"]) == set(CRITERIA)
    fit = smf.ols("mark ~ C(student) + C(judge) + C(criterion)", table).fit()
    found = np.array([fit.params.get(f"C(judge)[T.{name}]", 0.0) for name in JUDGES])
    wanted = np.array([-severity for severity, _ in JUDGES.values()])
    assert np.abs((found - found.mean()) - (wanted - wanted.mean())).max() < 0.3
    students = [who for who in PLAYERS if who.take]
    level = [fit.params.get(f"C(student)[T.{who.number}]", 0.0) for who in students]
    assert np.corrcoef(level, [who.skill for who in students])[0, 1] > 0.95


def test_papers_are_the_same_every_time(folder: Path):
    assert (folder / "marks.csv").read_text(encoding="utf-8") == papers.marks()
    assert (folder / "roster.csv").read_text(encoding="utf-8") == papers.roster()
    assert (folder / "season.toml").read_text(encoding="utf-8") == papers.season_toml()
