"""Scale sheets against music21's scales and the published rules of keys."""

from __future__ import annotations

from itertools import pairwise
from xml.etree.ElementTree import tostring

import pytest

from fairhearing.core.errors import TableError
from fairhearing.core.packet.instruments import LEVELS, load
from fairhearing.core.packet.scales import (
    CONCERT_KEYS,
    MODES,
    chromatic_line,
    parse_key,
    scale_line,
    scale_range,
    sheet_lines,
)

music21 = pytest.importorskip("music21", reason="music21's scales are the outside check")

PITCHED = [i for i in load().values() if i.kind in {"melodic", "mallet"}]
MAJOR_STEPS = [2, 2, 1, 2, 2, 2, 1]  # any theory text


@pytest.mark.parametrize("level", LEVELS)
def test_every_scale_of_every_sheet_is_right_and_in_range(level: str) -> None:
    for instrument in PITCHED:
        low, high = scale_range(instrument, level)
        for line in sheet_lines(instrument, level)[1:]:
            midi = [spelling.midi for spelling in line.spellings]
            top = 7 * line.octaves
            steps = [b - a for a, b in pairwise(midi[: top + 1])]
            assert steps == MAJOR_STEPS * line.octaves
            assert midi == midi[: top + 1] + midi[:top][::-1]
            assert low <= min(midi) <= max(midi) <= high
            sounding = (midi[0] + instrument.sounding_minus_written) % 12
            concert = music21.pitch.Pitch(line.concert_tonic.replace("b", "-")).pitchClass
            assert sounding == concert, (instrument.id, line.tonic)


@pytest.mark.parametrize("mode", MODES)
@pytest.mark.parametrize("name", ["flute", "trumpet", "alto-saxophone", "horn"])
def test_spelling_is_music21s(mode: str, name: str) -> None:
    kinds = {
        "major": music21.scale.MajorScale,
        "natural minor": music21.scale.MinorScale,
        "harmonic minor": music21.scale.HarmonicMinorScale,
        "melodic minor": music21.scale.MelodicMinorScale,
    }
    for key in CONCERT_KEYS["advanced"]:
        line = scale_line(load()[name], "advanced", key, mode)  # type: ignore[arg-type]
        tonic = line.tonic.replace("b", "-")
        rising = music21.scale.Direction.ASCENDING
        up = kinds[mode](tonic).getPitches(f"{tonic}4", f"{tonic}5", direction=rising)
        ours = [f"{s.step}{'#' * int(s.alter)}{'-' * -int(s.alter)}" for s in line.spellings[:8]]
        assert ours == [pitch.name for pitch in up], (tonic, mode)


def test_written_keys_are_the_ones_players_know() -> None:
    trumpet, alto, horn = (load()[n] for n in ("trumpet", "alto-saxophone", "horn"))
    assert scale_line(trumpet, "intermediate", -2).tonic == "C"
    assert scale_line(alto, "intermediate", -2).tonic == "G"
    assert scale_line(horn, "intermediate", -2).tonic == "F"
    # Six signs: sharps in sharp keys, flats in flat keys.
    assert scale_line(alto, "advanced", 3).tonic == "F#"
    assert scale_line(load()["flute"], "advanced", -6).tonic == "Gb"


def test_published_requirements_are_the_levels() -> None:
    """Georgia's middle-school keys (concert F, B-flat, E-flat, A-flat); Florida's twelve."""
    flute = load()["flute"]
    beginner = [line.concert_tonic for line in sheet_lines(flute, "beginner")[1:]]
    assert beginner == ["F", "Bb", "Eb", "Ab"]
    advanced = {line.spellings[0].midi % 12 for line in sheet_lines(flute, "advanced")[1:]}
    assert len(advanced) == 12


@pytest.mark.parametrize("level", LEVELS)
def test_the_chromatic_scale_goes_through_the_range_and_back(level: str) -> None:
    for instrument in PITCHED:
        line = chromatic_line(instrument, level)
        low, high = instrument.ranges[level]
        assert [s.midi for s in line.spellings] == [
            *range(low, high + 1),
            *range(high - 1, low - 1, -1),
        ]
        ups = high - low + 1
        assert all(s.alter >= 0 for s in line.spellings[1:ups])
        assert line.spellings[0] == line.spellings[-1]
        assert all(s.alter <= 0 for s in line.spellings[ups:])
        bars = line.tree.findall("part/measure")
        assert all(len(bar.findall("note")) <= 18 for bar in bars)


def test_a_sheet_read_back_by_music21_says_the_same() -> None:
    for name in ("clarinet", "tuba"):
        for line in sheet_lines(load()[name], "intermediate"):
            xml = tostring(line.tree, encoding="unicode")
            theirs = music21.converter.parseData(xml, format="musicxml").flatten().notes
            assert [n.pitch.midi for n in theirs] == [s.midi for s in line.spellings]
            shown = sum(
                n.pitch.accidental is not None and bool(n.pitch.accidental.displayStatus)
                for n in theirs
            )
            assert (shown > 0) == (line.kind == "chromatic")


def test_wrong_wishes_are_refused() -> None:
    assert parse_key("B♭") == parse_key("bb") == parse_key("B-flat") == -2
    with pytest.raises(TableError, match='"H" is not a key'):
        parse_key("H")
    with pytest.raises(TableError, match="plays no scales"):
        sheet_lines(load()["snare-drum"], "beginner")
