"""The pages in a real browser: nothing runs off a small screen, fails, or is fetched."""

from __future__ import annotations

import shutil
from collections.abc import Iterator

import pytest

from fairhearing.report.season_page import (
    HeardTake,
    SeasonFacts,
    SeatedEnsemble,
    SeatedStudent,
    season_page,
)
from fairhearing.report.take_page import Line, take_page

CHROMIUM = shutil.which("chromium")
QUIET = ["--no-sandbox", "--disable-gpu", "--no-first-run", "--disable-background-networking"]
NASTY = "<script>alert(1)</script>.mp4"


def note(onset_s: float, midi: int) -> dict:
    return {
        "onset_s": onset_s,
        "offset_s": onset_s + 0.4,
        "midi": midi,
        "cents": None,
        "confidence": 0.9,
    }


def section(kind: str, start_s: float, end_s: float) -> dict:
    return {
        "kind": kind,
        "start_s": start_s,
        "end_s": end_s,
        "announced": True,
        "confidence": 0.9,
    }


def scale(tonic: str, start_s: float, *, late: bool = False) -> dict:
    return {
        "tonic": tonic,
        "tonic_concert": "B-flat",
        "mode": "major",
        "octaves": 1,
        "start_s": start_s,
        "end_s": start_s + 8,
        "complete": True,
        "in_window": not late,
        "at_the_bell": late,
        "wrong_notes": 1,
    }


def finding(start_s: float, strength: float) -> dict:
    says = f"At {start_s} s picture and sound change together. A light switched does this too."
    return {
        "channel": "picture and sound",
        "start_s": start_s,
        "end_s": start_s + 0.1,
        "strength": strength,
        "says": says,
    }


@pytest.fixture
def report() -> dict:
    return {
        "version": 1,
        "invented": True,
        "student": "214",
        "file": {
            "name": NASTY,
            "sha256": "0" * 64,
            "bytes": 12_345_678,
            "container": "mp4",
            "duration_s": 100.0,
            "video": {
                "codec": "hevc",
                "width": 1920,
                "height": 1080,
                "rotation_deg": 90,
                "frame_rate": 29.97,
                "variable_rate": True,
            },
            "audio": {"codec": "aac", "sample_rate_hz": 48000, "channels": 2},
        },
        "instrument": {
            "id": "clarinet",
            "name": "B-flat clarinet",
            "kind": "melodic",
            "clef": "treble",
            "sounding_minus_written": -2,
        },
        "continuity": {
            "summary": "look here",
            "findings": [finding(61.2, 0.9), finding(12.0, 0.3)],
        },
        "quality": {
            "loudness_lufs": -21.3,
            "true_peak_dbtp": -0.2,
            "clipped_ms": 12.0,
            "background_dbfs": -48.0,
            "snr_db": None,
            "advice": ["Move the phone two or three steps away and put it on a shelf."],
            "picture": {"brightness": 0.5, "upright": True, "somebody_share": 0.8},
        },
        "sections": [
            section("introduction", 1, 6),
            section("chromatic", 8, 20),
            section("scales", 25, 88),
            section("etude", 90, 99),
        ],
        "notes": [note(8 + i * 0.5, 50 + i) for i in range(20)]
        + [note(25 + i, 58 + i % 12) for i in range(60)]
        + [note(90 + i * 0.5, 60 + i % 5) for i in range(16)],
        "tuning": {"reference_hz": None, "spread_cents": None},
        "chromatic": {
            "lowest_midi": 50,
            "highest_midi": 69,
            "missing_midi": [55],
            "complete_up": True,
            "complete_down": False,
        },
        "scales": {
            "window_start_s": 25.0,
            "window_end_s": 85.0,
            "played": [scale("C", 25), scale("F-sharp", 80, late=True)],
        },
        "etude": {
            "notes_right": 14,
            "notes_wrong": 1,
            "notes_missed": 1,
            "notes_extra": 0,
            "restarts": 1,
            "tempo_bpm": 96.0,
        },
        "remarks": ["The file ends at 1:40 although it announces 1:50; the rest is missing."],
        "tape": {"peaks": [0.2, 0.9] * 200},
    }


@pytest.fixture
def pages(report: dict) -> dict[str, str]:
    season = season_page(
        SeasonFacts("Spring auditions", ["A school (invented)"], "takes due", invented=True),
        takes=[HeardTake("214", report, "hearings/214.html")],
        scores={
            "students": [{"student": "214", "fair_score": 8.2}],
            "judges": [{"judge": "J1", "takes": 9, "severity": 0.3, "precision": None}],
            "agreement": {"krippendorff_alpha": {"interval": 0.7}},
        },
        ensembles=[
            SeatedEnsemble("Wind Ensemble", "1 player", "", [Line("B-flat clarinet", "214")])
        ],
        students=[SeatedStudent("214", "B-flat clarinet", "chair 1", "8.20", "Place 1 of 1.")],
    )
    return {"take": take_page(report, media="214.mp4"), "season": season}


def test_what_comes_from_outside_is_text(pages):
    for page in pages.values():
        assert "<script>alert" not in page


def test_a_take_says_what_was_measured_and_what_was_not(pages):
    take = pages["take"]
    for said in (
        "E3 to B4",  # sounding D3 and A4, read a tone higher
        "1 complete scale in the minute",
        "after the bell",
        "not measurable",
        "14 notes as written",
        "Faint traces, as unbroken takes have them too (1)",
    ):
        assert said in " ".join(take.split()), said
    assert "Invented data" in take


@pytest.fixture(scope="module")
def browser() -> Iterator[object]:
    sync_api = pytest.importorskip("playwright.sync_api")
    if CHROMIUM is None:
        pytest.skip("Chromium is not installed")
    with sync_api.sync_playwright() as playwright:
        running = playwright.chromium.launch(executable_path=CHROMIUM, args=QUIET)
        yield running
        running.close()


@pytest.mark.parametrize("name", ["take", "season"])
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_nothing_runs_off_a_small_screen_and_nothing_fails(name, scheme, pages, browser, tmp_path):
    file = tmp_path / f"{name}.html"
    file.write_text(pages[name], encoding="utf-8")
    page = browser.new_page(viewport={"width": 320, "height": 640}, color_scheme=scheme)
    problems: list[str] = []
    asked: list[str] = []
    page.on("pageerror", lambda error: problems.append(str(error)))
    page.on("request", lambda request: asked.append(request.url))
    page.goto(file.as_uri())
    page.wait_for_timeout(200)
    assert page.evaluate("document.documentElement.scrollWidth") <= 320
    assert problems == []
    assert all(url.startswith("file:") for url in asked)
    if name == "take":
        # The take is not there: no dead button, one sentence instead.
        assert page.locator("button:visible").count() == 0
        assert page.locator("#player-missing").is_visible()
    page.close()
