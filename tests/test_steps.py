"""Take jobs from a season: whose take it is, what is asked, and whether a result is still true."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from fairhearing import steps

SEASON = """
name = "An invented season"
invented = true

[[section]]
kind = "introduction"

[[section]]
kind = "chromatic"

[[section]]
kind = "scales"
limit_s = 90

[[section]]
kind = "etude"

[[piece]]
section = "etude"
for = ["flute"]
file = "scores/flute.musicxml"

[[ensemble]]
name = "Wind Ensemble"
[ensemble.seats]
flute = 2
"""


@pytest.fixture
def season(tmp_path: Path) -> Path:
    (tmp_path / "season.toml").write_text(SEASON, encoding="utf-8")
    (tmp_path / "roster.csv").write_text(
        "student,name,instrument,second_instrument\n"
        "201,Mina Fermata,flute,piccolo\n202,Teo Segno,Bb Clarinet,\n",
        encoding="utf-8",
    )
    (tmp_path / "scores").mkdir()
    (tmp_path / "scores" / "flute.musicxml").write_text("<score-partwise/>")
    (tmp_path / "takes").mkdir()
    return tmp_path


def jobs(season: Path, *names: str) -> list[dict]:
    paths = [season / "takes" / name for name in names]
    for path in paths:
        path.write_bytes(b"not heard here")
    return steps.season_jobs(season, paths)


def test_a_take_gets_its_students_instrument_limits_and_scores(season):
    one, two = jobs(season, "201.mp4", "202 audition.mov")
    assert (one["student"], one["instrument"]) == ("201", "flute")
    assert one["plan"]["scales_limit_s"] == 90
    assert Path(one["scores"]["etude"]).name == "flute.musicxml"
    assert one["invented"] is True
    assert (two["student"], two["instrument"], two["scores"]) == ("202", "clarinet", {})
    json.dumps([one, two])


def test_of_two_instruments_the_file_name_decides(season):
    one, two = jobs(season, "201-flute.mp4", "201 Piccolo.mp4")
    assert [one["instrument"], two["instrument"]] == ["flute", "piccolo"]


def test_a_take_of_nobody_is_heard_all_the_same(season):
    (job,) = jobs(season, "IMG_4711.mp4")
    assert (job["student"], job["instrument"]) == (None, None)


def test_another_score_or_limit_makes_an_old_result_untrue(season):
    (before,) = jobs(season, "201.mp4")
    asked = steps.asked(before)
    assert steps.asked(jobs(season, "201.mp4")[0]) == asked
    (season / "scores" / "flute.musicxml").write_text("<score-partwise version='4.0'/>")
    assert steps.asked(jobs(season, "201.mp4")[0]) != asked
    (season / "season.toml").write_text(SEASON.replace("90", "60"))
    assert steps.asked(jobs(season, "201.mp4")[0])["plan"]["scales_limit_s"] == 60
