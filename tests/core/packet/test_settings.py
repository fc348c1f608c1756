"""packet.toml: every wrong line is one sentence that names it."""

from __future__ import annotations

from pathlib import Path

import pytest

from fairhearing.core.errors import TableError
from fairhearing.core.packet.settings import Settings, read_settings


def saved(tmp_path: Path, text: str) -> Path:
    path = tmp_path / "packet.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_no_file_means_the_defaults(tmp_path: Path) -> None:
    assert read_settings(tmp_path / "packet.toml") == Settings()


def test_everything_is_read(tmp_path: Path) -> None:
    (tmp_path / "logo.svg").write_text("<svg/>")
    text = """
        paper = "a4"
        languages = ["es", "en"]
        address = "https://band.example.org/x"
        logo = "logo.svg"
        note = "Welcome!"
        [scales]
        concert_keys = ["Bb", "F"]
        modes = ["major", "harmonic minor"]
        octaves = 2
        [tracks]
        tempi = [72, 60]
        clicks = "both"
        sound = "own"
        count_in_bars = 2
        tuning_hz = 442
        formats = ["m4a"]
        [wording.en]
        record_lead = "Have fun."
    """
    settings = read_settings(saved(tmp_path, text))
    assert settings.paper == "a4"
    assert settings.languages == ("es", "en")
    assert settings.scales.concert_keys == (-2, -1)
    assert settings.tracks.tempi == (60, 72)
    assert settings.tracks.tuning_hz == 442
    assert settings.tracks.formats == ("m4a",)
    assert settings.wording["en"]["record_lead"] == "Have fun."


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("paper = 3 4", "not valid TOML"),
        ('paper = "legal"', "letter, a4"),
        ('papers = "a4"', 'no entry "papers"'),
        ('languages = ["fr"]', "en, es"),
        ('languages = "en"', "list of words"),
        ('logo = "gone.svg"', "is not there"),
        ("note = 3", "text in quotation marks"),
        ("scales = 1", "is a table"),
        ("[scales]\noctaves = 9", "1, 2 or 3 octaves"),
        ('[scales]\nconcert_keys = ["H"]', "is not a key"),
        ('[scales]\nmodes = ["dorian"]', "not a scale we print"),
        ("[tracks]\ntempi = [1]", "from 20 to 300"),
        ('[tracks]\nclicks = "maybe"', "with, without, both"),
        ("[tracks]\ncount_in_bars = 0", "1, 2, 3 or 4"),
        ("[tracks]\ntuning_hz = 220", "from 400 to 480"),
        ('[wording.en]\nnonsense = "x"', "no line called"),
        ('[wording]\nen = "x"', "table of lines"),
    ],
)
def test_wrong_lines_are_named(tmp_path: Path, text: str, says: str) -> None:
    with pytest.raises(TableError) as caught:
        read_settings(saved(tmp_path, text))
    assert says in str(caught.value)
    assert str(caught.value).startswith("packet.toml")
